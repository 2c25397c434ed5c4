"""What the baits catch: fish per hour in use, by build, water, habitat and coat, and which differences hold.

Two grub heads and a guard jig go out on one trip; the perch take the grub, and nothing takes the other:

    date,trip,build,fished,fate,count          date,trip,species,build,count
    2026-05-09,1,perch-grub,1:30,kept,2        2026-05-09,1,yellow perch,perch-grub,3
    2026-05-09,1,pond-guard,2 h,kept,

Two grubs for 1:30 are 3 hours of fishing, so perch-grub made 1 fish per hour and pond-guard 0 in 2 h;
together that is 3 fish in 5 h, 0.6 per hour. A rate is always all the fish over all the hours, never the
mean of the trips' rates. A trip is the day and its `trip`, or the day and its water where no trip is
written. A trip without a fish counts with its hours. A fish whose build has no hours on that trip is in no
rate, and the section says so.
"""

from collections.abc import Iterable

from benchwater.plugin import Action, Analysis, Season, Section, Span, Vital, hookimpl


def analyse(season: Season, span: Span) -> Section:
    """Rates by group, the differences between builds and between waters, and the best-supported of them."""
    from .compute import compute
    from .findings import METHODS, actions, card, findings, unsaid, why_empty, why_thin
    from .show import figures, tables

    found = compute(season, span)
    if found is None:
        return Section.empty(why_empty(season, span))
    return Section(
        status="thin" if found.thin else "ok",
        why=why_thin(found),
        unsaid=unsaid(found),
        findings=tuple(findings(found, span)),
        tables=tables(found),
        figures=figures(found.rates),
        actions=actions(found),
        cards=tuple(filter(None, [card(found, span)])) if found.season else (),
        methods=METHODS,
    )


def advise(season: Season, span: Span) -> Iterable[Action]:
    """The actions of `analyse`, without findings, tables and figures."""
    from .compute import compute
    from .findings import actions

    found = compute(season, span)
    return () if found is None else actions(found)


def vitals(season: Season, span: Span) -> tuple[Vital, ...]:
    """Fish per hour of a bait, of the fish whose bait's hours are known."""
    from .compute import fish_per_hour

    value, trips = fish_per_hour(season, span)
    return (
        Vital(
            id="fish_per_hour",
            label="fish an hour",
            value=value,
            unit="fish/h",
            better="up",
            n=trips,
        ),
    )


@hookimpl
def analyses() -> Iterable[Analysis]:
    """One analysis."""
    return [
        Analysis(
            id="catch_rate",
            title="Catch rate",
            question="What do my baits catch per hour, and does it matter which one I fish?",
            order=400,
            analyse=analyse,
            advise=advise,
            vitals=vitals,
            needs=("fishing",),
        )
    ]
