"""What each bait cost: its material, the rejects it bears, its share of the mold, and what it saves.

A worked example from the bench. A quarter-ounce head takes 7.1 g of alloy at 0.012 a gram and a hook at 0.22:
0.31. Of 96 poured 20 were bad; their metal went back to the pot, their hooks did not: 20 hooks over 76 good
heads, 0.06 each. Pearl powder 0.02, two eyes 0.10 and a skirt 0.29: 0.78 to make. One costs 3.29 in the shop,
so each one made and not bought saves 2.51, and a mold for 42.00 is paid after 17 of them. Spread over the 76
good heads so far it is 0.55 a bait, and less with every further head.
"""

from collections.abc import Iterable

from benchwater.plugin import Action, Analysis, Season, Section, Span, Vital, hookimpl


def analyse(season: Season, span: Span) -> Section:
    """What the baits cost at the report's end, and what was saved, spent and lost in the span."""
    from .compute import compute
    from .findings import METHODS, UNSAID, actions, cards, findings
    from .show import figures, tables

    whole_season = span.name == "season"
    found = compute(season, span)
    if found is None:
        return Section.empty("Nothing was bought, poured, coated or fished in these days.")
    return Section(
        status="thin" if found.why_thin else "ok",
        why=found.why_thin,
        unsaid="" if found.why_thin else UNSAID,
        findings=tuple(findings(found, season, whole_season)),
        tables=tables(found, season.bench, whole_season),
        figures=figures(found, season) if whole_season else (),
        actions=tuple(actions(found, season.bench)) if whole_season and not found.why_thin else (),
        methods=METHODS,
        cards=tuple(cards(found, season.bench, season.end)) if whole_season and not found.why_thin else (),
    )


def advise(season: Season, span: Span) -> Iterable[Action]:
    """The actions of `analyse`: none but for a whole season."""
    from .compute import compute
    from .findings import actions

    found = compute(season, span) if span.name == "season" else None
    return () if found is None or found.why_thin else actions(found, season.bench)


def vitals(season: Season, span: Span) -> tuple[Vital, ...]:
    """Saved from the season's start to the span's end, where any row up to then could have saved anything."""
    from .compute import saved_to_date

    baits, value = saved_to_date(season, span)
    return (Vital(id="saved", label="saved to date", value=value, unit="money", better="up", n=baits),)


@hookimpl
def analyses() -> list[Analysis]:
    """What the baits cost."""
    return [
        Analysis(
            id="cost",
            title="What each bait cost",
            question="What does a bait cost me, what have I saved, and has each mold paid for itself?",
            order=600,
            analyse=analyse,
            advise=advise,
            vitals=vitals,
        )
    ]
