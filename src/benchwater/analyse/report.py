"""The whole report as plain data: what rendering is given."""

from dataclasses import dataclass
from typing import Literal

from benchwater.plugin.bench import Bench
from benchwater.plugin.season import Span
from benchwater.plugin.section import Action, Section, Status
from benchwater.plugin_host.loaded import PluginProblem
from benchwater.read.outcome import NotRead, Repeat, SetAside, Source


@dataclass(frozen=True, slots=True, kw_only=True)
class SpanSection:
    """What one analysis said about one span."""

    span: Span
    section: Section


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportSection:
    """One analysis in the report: its parts in order (the period, then the season to date)."""

    id: str
    title: str
    question: str
    status: Status
    why: str
    parts: tuple[SpanSection, ...]
    origin: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RankedAction:
    """An action on the front page, with the section it comes from."""

    action: Action
    section_id: str
    section_title: str


@dataclass(frozen=True, slots=True, kw_only=True)
class MonthVital:
    """What a vital was in one month, or in the whole season."""

    span: Span
    value: float | None
    n: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class VitalSeries:
    """One number of the front page, through the months of the season to the report's end."""

    id: str
    label: str
    unit: str | None
    better: Literal["up", "down"] | None
    section_id: str
    months: tuple[MonthVital, ...]
    season: MonthVital


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """Everything on the page and in the JSON twin.

    The parts of a section are for `period` and `season` in a monthly report, for `season` alone in a
    season report, whose `period` is the whole season.
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

    @property
    def failed(self) -> bool:
        """Whether any analysis broke or any plugin could not be loaded."""
        return bool(self.failures)

    @property
    def failures(self) -> tuple[str, ...]:
        """The plugins that could not be used, and the analyses that broke."""
        broken = [section.id for section in self.sections if section.status == "failed"]
        return tuple([problem.name for problem in self.plugin_problems] + broken)
