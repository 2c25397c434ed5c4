"""The hooks, all of them. A plugin implements those it needs with `@hookimpl`.

Hooks return descriptions; the host calls what they describe one by one, each in its own guard.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import pluggy

from benchwater.plugin.logs import LogKind
from benchwater.plugin.season import Season, Span
from benchwater.plugin.section import Section

CONTRACT_VERSION = 1
PROJECT = "benchwater"

hookspec = pluggy.HookspecMarker(PROJECT)
hookimpl = pluggy.HookimplMarker(PROJECT)


@dataclass(frozen=True, slots=True, kw_only=True)
class Analysis:
    """One analysis: what it is called, where it stands in the report, and the function that does it.

    `question` is the maker's question it answers, in one line. Sections are printed in the order of
    `order` (shipped ones use 100 to 900), ties by `id`. `needs` names the log kinds it cannot do
    without: when any of them holds no row the host writes an `empty` section and does not call it.
    `analyse(season, span)` is called once a span, touches no file, clock or network, and returns a
    Section; same input, same section.
    """

    id: str
    title: str
    question: str
    order: int
    analyse: Callable[[Season, Span], Section]
    needs: tuple[str, ...] = ()


class Hooks:
    """The specifications."""

    @hookspec
    def log_kinds(self) -> Iterable[LogKind]:  # type: ignore[empty-body]
        """Return the log kinds this plugin ingests."""

    @hookspec
    def analyses(self) -> Iterable[Analysis]:  # type: ignore[empty-body]
        """Return the analyses this plugin brings."""
