"""What to pour and buy next: the losses to expect until the next report, less what is on hand.

A worked example from the bench. 17 guarded pond jigs ended in 66 hours of fishing, and the next month is to
see 40 more: about 10 will go, and to be 90 % sure of not running out takes 16. 11 are there, so 5 are to be
made. With 5 bare castings in the box nothing is poured. With none: losses and bad castings share the risk,
so 8 are to be made, and as 8 of 10 come out good it takes 11 fills and 11 hooks. 3 hooks on hand stop that;
one pack of 50 lifts it.
"""

from collections.abc import Iterable, Sequence
from dataclasses import replace

from benchwater.plugin import Analysis, Season, Section, Span, hookimpl


def analyse(season: Season, span: Span) -> Section:
    """The plan from the season's end on; for a month, what a plan at its start would have foreseen."""
    if not season.bench.builds:
        return Section.empty("bench.toml names no build to plan for.")
    return _look_back(season, span) if span.name == "period" else _plan(season, span)


def _plan(season: Season, span: Span) -> Section:
    from .compute import make_plan
    from .findings import METHODS, actions, findings, why_no_plan
    from .show import card, figures, tables

    plan = make_plan(season, span)
    return Section(
        status="thin" if plan.thin else "ok",
        why=why_no_plan(plan),
        findings=() if plan.thin else tuple(findings(plan, season.bench, span)),
        tables=tables(plan, season.bench),
        figures=() if plan.thin else figures(plan),
        actions=() if plan.thin else tuple(actions(plan, season.bench, span)),
        methods=METHODS,
        cards=() if plan.thin else (card(plan, season.bench, span),),
    )


def _look_back(season: Season, span: Span) -> Section:
    from .compute import look_back
    from .findings import METHODS, losses_finding, why_not_foreseen
    from .show import losses_table

    found = look_back(season, span)
    return Section(
        status="thin" if found.thin else "ok",
        why=why_not_foreseen(found),
        findings=(losses_finding(found, season.bench),),
        tables=(losses_table(found),),
        methods=METHODS,
    )


def analyse_ahead(season: Season, span: Span) -> Section:
    """The plan of the season ahead, from the season's end on."""
    from .ahead import METHODS, actions, findings, plan_ahead
    from .findings import why_no_plan
    from .show import ahead_card, ahead_tables

    until = season.bench.plan.until
    if until is None:
        return Section.empty("bench.toml does not say up to when to plan.")
    ahead = plan_ahead(season, span, until)
    if ahead is None:
        return Section.empty(f"No month up to {until} is one in which you fish.")
    if ahead.plan.thin:
        return Section(status="thin", why=why_no_plan(ahead.plan), methods=METHODS)
    return Section(
        status="ok",
        findings=tuple(findings(ahead, season.bench, span)),
        tables=ahead_tables(ahead, season.bench),
        actions=actions(ahead, span),
        cards=(ahead_card(ahead, season.bench, span),),
        methods=METHODS,
    )


AHEAD = Analysis(
    id="season_ahead",
    title="The season ahead",
    question="What must I pour, coat and buy before next season, and when at the latest?",
    order=710,
    needs=("pour", "fishing"),
    analyse=analyse_ahead,
    season_only=True,
)


def where_planned(season: Season) -> Sequence[Analysis]:
    """The analysis, where bench.toml asks for a plan that reaches beyond the report's end."""
    until = season.bench.plan.until
    fished = season.bench.builds and season.holds("pour") and season.holds("fishing")
    return [AHEAD] if until is not None and until >= season.end and fished else []


@hookimpl
def analyses() -> Iterable[Analysis]:
    """What to pour and buy next, and for the season ahead."""
    return [
        Analysis(
            id="pour_plan",
            title="What to pour and buy next",
            question="What must I pour, finish and buy so that I do not run out before the next report?",
            order=700,
            needs=("pour",),
            analyse=analyse,
        ),
        replace(AHEAD, split=where_planned),
    ]
