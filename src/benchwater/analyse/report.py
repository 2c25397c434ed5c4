"""The report as plain data, for rendering."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Literal

from benchwater.plugin.bench import Bench
from benchwater.plugin.season import Span
from benchwater.plugin.section import Action, Section, Status
from benchwater.plugin_host.loaded import PluginProblem
from benchwater.read.outcome import NotRead, ReadAs, Repeat, SetAside, Source, UnreadColumn


@dataclass(frozen=True, slots=True, kw_only=True)
class SpanSection:
    """The section of one analysis for one span."""

    span: Span
    section: Section


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportSection:
    """One analysis in the report, with its parts in order: the period, then the season to date."""

    id: str
    title: str
    question: str
    status: Status
    why: str
    parts: tuple[SpanSection, ...]
    origin: str


State = Literal["new", "open", "holds", "mended"]


@dataclass(frozen=True, slots=True, kw_only=True)
class RankedAction:
    """An action of the report, with the section it comes from and its state since earlier months.

    `new` is given for the first time and `open` was given the month before too; `holds` is to be kept doing;
    `mended` was given the month before and is no longer. `since` is the first day of the first of the months
    in a row that gave it so, as far back as the report looks (`or_earlier` where that was not to the end);
    `span` the recent months that its numbers are of.
    """

    action: Action
    section_id: str
    section_title: str
    state: State
    since: date
    span: Span
    or_earlier: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class MonthVital:
    """The value of a vital in one month, or in the whole season."""

    span: Span
    value: float | None
    n: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class VitalSeries:
    """One number of the front page, month by month up to the report's end."""

    id: str
    label: str
    unit: str | None
    better: Literal["up", "down"] | None
    section_id: str
    months: tuple[MonthVital, ...]
    season: MonthVital


@dataclass(frozen=True, slots=True, kw_only=True)
class MissingLog:
    """A log without rows: the columns it needs, and the ids of the sections that wait for it."""

    log: str
    columns: tuple[str, ...]
    sections: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """Everything on the page and in the JSON twin.

    `photos` holds the pictures that sections show, as small JPEGs by their file.
    A section has parts for `period` and `season` in a monthly report. In a season report `period` is the
    season, and a section has one part.
    """

    bench: Bench
    label: str
    period: Span
    season: Span
    sections: tuple[ReportSection, ...]
    actions: tuple[RankedAction, ...]
    sources: tuple[Source, ...]
    set_aside: tuple[SetAside, ...]
    repeats: tuple[Repeat, ...]
    not_read: tuple[NotRead, ...]
    plugin_problems: tuple[PluginProblem, ...] = ()
    version: str = ""
    vitals: tuple[VitalSeries, ...] = ()
    cells_set_aside: tuple[SetAside, ...] = ()
    read_as: tuple[ReadAs, ...] = ()
    unread_columns: tuple[UnreadColumn, ...] = ()
    missing_logs: tuple[MissingLog, ...] = ()
    photos: Mapping[str, bytes] = field(default_factory=dict)

    @property
    def failed(self) -> bool:
        """Whether any analysis failed or any plugin could not be used."""
        return bool(self.failures)

    @property
    def failures(self) -> tuple[str, ...]:
        """The plugins that could not be used, and the analyses that failed."""
        failed = [section.id for section in self.sections if section.status == "failed"]
        return tuple([problem.name for problem in self.plugin_problems] + failed)
