"""The month behind: the losses that its first day would have foreseen, and those that came."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from benchwater.plugin import Season, Span

from .bait_plan import LEAST_ENDS, Outlook, ends_and_hours, look_ahead, service_level


@dataclass(frozen=True, slots=True, kw_only=True)
class LookBack:
    """Outlooks at the span's start, resting on `ends_before` lost baits, and what came, by build.

    `fished` is in bait-hours, `ended` in baits; `level` is the service level.
    """

    outlooks: Sequence[Outlook]
    ends_before: int
    level: float
    fished: Mapping[str, float]
    ended: Mapping[str, int]

    @property
    def thin(self) -> bool:
        """Whether too few baits had ended before the span to foresee any loss."""
        return self.ends_before < LEAST_ENDS

    @property
    def planned_h(self) -> float:
        """Bait-hours planned for the span."""
        return sum(outlook.hours for outlook in self.outlooks)

    @property
    def expected_planned(self) -> float:
        """Losses expected in the hours planned."""
        return sum(outlook.expected for outlook in self.outlooks)

    @property
    def expected_fished(self) -> float:
        """Losses expected in the hours that were fished."""
        return sum(replace(each, hours=self.fished[each.build.name]).expected for each in self.outlooks)

    @property
    def beyond(self) -> list[str]:
        """Builds that lost more baits than a stock at the service level would have covered."""
        return [o.build.name for o in self.outlooks if self.ended[o.build.name] > o.at(self.level)]


def look_back(season: Season, span: Span) -> LookBack:
    """What was to be expected at the start of the span, and what happened."""
    outlooks, before = look_ahead(season, span.start)
    ended, fished = ends_and_hours(season, span.start, span.end)
    return LookBack(
        outlooks=outlooks,
        ends_before=before,
        level=service_level(season.bench),
        fished=fished,
        ended=ended,
    )
