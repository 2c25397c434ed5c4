"""The hooks, all of them. A plugin implements those it needs with `@hookimpl`.

Hooks return descriptions; the host calls what they describe one by one, each in its own guard.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

import pluggy

from benchwater.plugin.field_types import Checked
from benchwater.plugin.logs import LogKind
from benchwater.plugin.season import Season, Span
from benchwater.plugin.section import Action, Section, Vital
from benchwater.units import Quantity

CONTRACT_VERSION = 1
PROJECT = "benchwater"

hookspec = pluggy.HookspecMarker(PROJECT)
hookimpl = pluggy.HookimplMarker(PROJECT)

OptionKind = Literal["text", "texts", "number", "whole", "yes_no", "word", Quantity]
OptionValue = str | float | int | bool | tuple[str, ...] | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Option(Checked):
    """One option: what it is called in bench.toml, what it means to the maker, and what it is left out as.

    `kind` says how the value is read, and what `Season.options` gives for it:

    - `text` a str; `texts` a tuple of them; `word` one of `words`; `yes_no` a bool (`true` or `"yes"`);
    - `number` a float, `whole` an int, both between `least` and `most` where these are given;
    - `temperature`, `mass`, `duration`, `length`, `volume` a quantity with its unit (`"55 F"`), given in
      degC, g, h, mm, mL.

    `default` is what the analysis gets where the maker says nothing: in the canonical unit, or None.
    """

    name: str
    meaning: str
    kind: OptionKind
    default: OptionValue = None
    words: tuple[str, ...] = ()
    least: float | None = None
    most: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Analysis(Checked):
    """One analysis: what it is called, where it stands in the report, and the function that does it.

    `question` is the maker's question it answers, in one line. Sections are printed in the order of
    `order` (shipped ones use 100 to 900), ties by `id`. `needs` names the log kinds it cannot do
    without: when any of them holds no row the host writes an `empty` section and does not call it.
    `analyse(season, span)` is called once a span, touches no file, clock or network, and returns a
    Section; same input, same section. `options` are what the maker may set under `[plugins.ID]`, ID being
    the `id` here; the values are in `season.options(id)`.

    `vitals(season, span)`, where given, names a few numbers for the front page. It is called for every month
    of the season up to the report's end and once for the whole season, so it must be cheap: a count or a
    ratio, no fit and no plot. It gives the same ids in the same order for every span, a value of None where
    the span holds nothing for it. One that raises is listed among the plugin problems; the report goes on.

    `split(season)`, where given, names the analyses that run in this one's place, one for each thing that the
    logs name (such as `trial:leader`); their ids are this id, or begin with it and a colon. Without any
    there is no section.

    `advise(season, span)`, where given, returns the actions of `analyse` and nothing else, so it draws no
    figure. The host asks it, rather than `analyse`, what was advised in earlier months.

    One that is `season_only` has nothing to say of a month: a month's report asks it of the season to date.
    """

    id: str
    title: str
    question: str
    order: int
    analyse: Callable[[Season, Span], Section]
    needs: tuple[str, ...] = ()
    options: tuple[Option, ...] = ()
    vitals: Callable[[Season, Span], Sequence[Vital]] | None = None
    split: "Callable[[Season], Sequence[Analysis]] | None" = None
    advise: Callable[[Season, Span], Iterable[Action]] | None = None
    season_only: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportWritten:
    """A report that now lies on disk, as a `report_written` hook is told of it.

    `label` names its period (`2026-05`, `season-2026`), `workspace` is the maker's folder, and `folder`
    the one that holds `files` (the PDF first, where it could be printed). `failed` says that an analysis
    or a plugin broke. `options` holds what the plugin's `report_options` declares, as bench.toml sets it
    under `[plugins.ID]`, ID being the name of the plugin's file without its ending, or of its entry point.
    """

    label: str
    workspace: Path
    folder: Path
    files: tuple[Path, ...]
    failed: bool = False
    options: Mapping[str, object] = field(default_factory=dict)


class HandOnError(Exception):
    """Raised by a `report_written` hook that cannot do its part: the message is a sentence for the maker.

    Anything else it raises is shown as well, with the name of its type.
    """


class Hooks:
    """The specifications."""

    @hookspec
    def log_kinds(self) -> Iterable[LogKind]:  # type: ignore[empty-body]
        """Return the log kinds this plugin ingests."""

    @hookspec
    def analyses(self) -> Iterable[Analysis]:  # type: ignore[empty-body]
        """Return the analyses this plugin brings."""

    @hookspec
    def report_options(self) -> Iterable[Option]:  # type: ignore[empty-body]
        """Return what the maker may set for `report_written`; see `ReportWritten.options`."""

    @hookspec
    def report_written(self, report: ReportWritten) -> None:
        """Do something with a report that was just written, such as copying it somewhere.

        It is called after the files are in place, once for each report, each plugin's in its own guard:
        one that raises is a warning and exit status 1, and the report stays as it is. `due` calls it
        again in its next run where it raised. A report of chosen analyses (`--only`) is not handed on.
        """
