"""Where the material went: opening stock, what the logs say came and went, and what was counted at the end.

A worked example from the bench. Four kilos of alloy on the shelf and a five-pound ingot bought. 240 good
heads weigh 7.9 g each with the hook in and the hook is 0.8 g, so 1.704 kg of alloy left in them; 110 g of
dross was skimmed. The book says 4.454 kg. The scale says 4.3 kg: 154 g went somewhere without a row, and
with a 5 g scale that is no rounding. The alloy of rejects and sprues went back to the pot and needs no row;
their hooks left when they were cast in, and those cut out and kept are `recovered`.
"""

from collections.abc import Iterable

from benchwater.plugin import Action, Analysis, Season, Section, Span, hookimpl

from .compute import compute
from .findings import actions, findings, methods, not_said
from .show import figures, tables

NOT_COUNTED = "No item was counted twice: a book closes between a count before and one in these days."


def analyse(season: Season, span: Span) -> Section:
    """The balance of every item over the span, the chain of its counts, and the yield of every mold."""
    if not _holds_rows(season, span):
        return Section.empty("Nothing was poured, coated, moved or counted in these days.")
    result = compute(season, span)
    return Section(
        status="ok" if result.counted else "thin",
        why="" if result.counted else NOT_COUNTED,
        unsaid=not_said(result),
        findings=findings(result),
        tables=tables(result, season),
        figures=figures(result, season),
        actions=actions(result, season),
        methods=methods(result),
    )


def _holds_rows(season: Season, span: Span) -> bool:
    kinds = [kind for kind in ("inventory", "pour", "finishing") if season.holds(kind)]
    return any(len(season.rows(kind, span)) for kind in kinds)


def advise(season: Season, span: Span) -> Iterable[Action]:
    """The actions of `analyse`, without findings, tables and figures."""
    return actions(compute(season, span), season) if _holds_rows(season, span) else ()


@hookimpl
def analyses() -> Iterable[Analysis]:
    """The material balance."""
    return [
        Analysis(
            id="material_balance",
            title="Where the material went",
            question="Does what I bought, poured, used and threw away explain what is left on the bench?",
            order=100,
            analyse=analyse,
            advise=advise,
            needs=("inventory",),
        )
    ]
