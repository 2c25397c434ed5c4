"""Where the material went: opening stock, what the logs say came and went, and what was counted at the end.

A worked example from the bench. Four kilos of alloy on the shelf and a five-pound ingot bought. 240 good
heads weigh 7.9 g each with the hook in and the hook is 0.8 g, so 1.704 kg of alloy left in them; 110 g of
dross was skimmed. The book says 4.454 kg. The scale says 4.3 kg: 154 g went somewhere without a row, and
with a 5 g scale that is no rounding. Rejects and sprues went back to the pot and need no row.
"""

from collections.abc import Iterable

from benchwater.ledger.casting_masses import odd_masses
from benchwater.ledger.stock_books import keep_books
from benchwater.plugin import Analysis, Season, Section, Span, hookimpl
from benchwater.words import listed

from .advice import advice, keep_logs
from .findings import (
    below_zero,
    closings,
    count_notes,
    imbalance,
    items_closed,
    unaccounted,
    weighed_oddly,
)
from .lines import balance_line, by_verdict
from .metal import dross_rates, mold_yields
from .methods import CHAIN_METHOD, METHODS
from .pictures import flow_figure, stock_figure
from .tables import balance_table, masses_table, reconciled_table
from .yields import dross_finding, yield_findings, yields_table


def analyse(season: Season, span: Span) -> Section:
    """The balance of every item over the span, the chain of its counts, and the yield of every mold."""
    kinds = [kind for kind in ("inventory", "pour", "finishing") if season.holds(kind)]
    if not any(len(season.rows(kind, span)) for kind in kinds):
        return Section.empty("Nothing was poured, coated, moved or counted in these days.")
    bench, told = season.bench, span.name == "season"
    books, notes = keep_books(season)
    kept = [book for book in books.values() if book.ledger.counts or book.ledger.movements]
    lines = sorted((balance_line(book, season, span) for book in kept), key=by_verdict)
    counted = [line for line in lines if line.verdict != "not counted"]
    chains = [(line.item, line.chain) for line in lines if told and line.chain is not None]
    yields, dross = mold_yields(season, span, books), dross_rates(season, span, books)
    actions = [action for line in lines for action in advice(line, season, told)]
    notes = (*notes, *(note for line in lines for note in count_notes(line, span, bench)))
    return Section(
        status="ok" if counted else "thin",
        why="" if counted else "No item has a count before and another in these days: no book can be closed.",
        unsaid=_unsaid(
            [line.item.name for line in lines if line.verdict == "not counted"] if counted else []
        ),
        findings=(
            *items_closed(counted, bench),
            *(unaccounted(line, bench, told) for line in lines),
            *(imbalance(line, line.chain, bench) for line in lines if told and line.chain is not None),
            *(found for line in lines for found in below_zero(line, bench)),
            *weighed_oddly(odd_masses(season, span), bench),
            *(found for each in yields for found in yield_findings(each, bench)),
            *(dross_finding(each, bench) for each in dross),
            *(entry for line in lines for entry in closings(line, bench)),
        ),
        tables=(
            balance_table(lines, span, notes),
            *([reconciled_table(chains)] if chains else []),
            *([yields_table(yields)] if yields else []),
            *masses_table(books, season),
        ),
        figures=(*flow_figure(lines, season), *stock_figure(lines, season)) if told else (),
        actions=(*actions, *keep_logs(lines, bench)) if counted else (),
        methods=(*METHODS, CHAIN_METHOD) if chains else METHODS,
    )


def _unsaid(names: list[str]) -> str:
    """Which items no balance can be struck of."""
    return (
        f"Whether all of {listed(names, 4)} is there: it takes a count before and one after." if names else ""
    )


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
            needs=("inventory",),
        )
    ]
