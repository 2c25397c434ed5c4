"""The balance, the counts reconciled, and what castings are taken to weigh, as tables."""

from collections.abc import Iterator, Mapping, Sequence
from math import isfinite, nan

from benchwater.ledger import known
from benchwater.ledger.stock import Chain
from benchwater.ledger.stock_books import FLOWS, Book
from benchwater.plugin import Cell, Item, Season, Span, Table, TableColumn
from benchwater.words import listed

from .lines import Line

MOST_PRINTED = 40
BALANCE_NOTE = (
    "Unaccounted is book less counted: above 0 is missing. Std unc. is its standard uncertainty: a book "
    "closes within twice that."
)


def balance_table(lines: Sequence[Line], span: Span, notes: Sequence[str]) -> Table:
    """Every item from opening to unaccounted, with its verdict; what lay still and closes is last."""
    labels = {"in_castings": "In castings", "book_closing": "By the book", "counted_closing": "Counted"}
    amounts = ("opening", *FLOWS, "book_closing", "counted_closing", "unaccounted", "std_uncertainty")
    labels["std_uncertainty"] = "Std unc."
    still = [line for line in lines if line.verdict == "closes" and not any(line.balance.flows.values())]
    lines = [*(line for line in lines if line not in still), *still]
    rows = []
    for line in lines:
        balance = line.balance
        values = [balance.opening, *(balance.flows.get(kind, 0.0) for kind in FLOWS)]
        spread = balance.u if isfinite(balance.unaccounted) else nan
        values += [balance.book, balance.counted, balance.unaccounted, spread]
        cells = (known(value) for value in values)
        rows.append((line.item.name, *cells, line.verdict, line.item.unit))
    return Table(
        id="balance",
        title="Material balance",
        columns=(
            TableColumn(name="item", label="Item"),
            *(TableColumn(name=n, label=labels.get(n, n.capitalize()), unit_from="unit") for n in amounts),
            TableColumn(name="verdict", label="Verdict"),
            TableColumn(name="unit", label="Unit", hidden=True),
        ),
        rows=tuple(rows),
        note=" ".join((BALANCE_NOTE, *_lay_still(still), *notes)),
        each_span=True,
        paper_rows=len(lines) - len(still) or None,
        again_rows=sum(line.verdict not in ("closes", "not counted") for line in lines),
        print_units=tuple(print_unit(line.item) for line in lines),
    )


def _lay_still(still: Sequence[Line]) -> Iterator[str]:
    if still:
        yield f"Nothing moved, and all is there: {listed([line.item.name for line in still])}."


def reconciled_table(chains: Sequence[tuple[Item, Chain]]) -> Table:
    """Every count and every flow as measured and as reconciled; only items that disagree are printed."""
    rows: list[tuple[Cell, ...]] = []
    units: list[str | None] = []
    printed = 0
    for item, chain in sorted(chains, key=lambda pair: pair[1].result.agrees):
        found, size = chain.result.reconciliation, len(chain.counts)
        measured = [*(count.amount for count in chain.counts), *chain.flows]
        in_time = sorted(range(len(measured)), key=lambda q: 2 * q if q < size else 2 * (q - size) + 1)
        for q in in_time:
            word, count = ("count", q) if q < size else ("net flow", q - size + 1)
            numbers = (found.reconciled[q], found.adjustment[q], found.measurement_z[q])
            cells = (measured[q], chain.u[q], *(known(float(number)) for number in numbers))
            rows.append((item.name, word, chain.counts[count].day, *cells, item.unit))
            units.append(print_unit(item))
        printed = printed if chain.result.agrees else len(rows)
    amounts = {"measured": "Measured", "std_uncertainty": "Std unc.", "reconciled": "Reconciled"}
    amounts["adjustment"] = "Adjustment"
    return Table(
        id="reconciled",
        title="Counts and the rows between them, reconciled",
        columns=(
            TableColumn(name="item", label="Item"),
            TableColumn(name="quantity", label="Quantity"),
            TableColumn(name="date", label="Date"),
            *(TableColumn(name=name, label=label, unit_from="unit") for name, label in amounts.items()),
            TableColumn(name="z", label="z", digits=1),
            TableColumn(name="unit", label="Unit", hidden=True),
        ),
        rows=tuple(rows),
        note="A net flow is what the rows moved since the count before. Reconciled are the amounts that "
        "agree with one another and stray least from the logs; z is the adjustment in standard "
        "uncertainties, and the largest points to the error.",
        print_units=tuple(units),
        print_rows=min(printed, MOST_PRINTED),
        paper_rows=0,
    )


def masses_table(books: Mapping[str, Book], season: Season) -> Iterator[Table]:
    """What each casting is taken to weigh, and on what grounds."""
    rows: list[tuple[Cell, ...]] = []
    for name, book in books.items():
        for mass in book.masses.values():
            cavity = season.bench.cavity(mass.mold, mass.cavity)
            basis = f"mean of {mass.weighed} weighed"
            if not mass.weighed:
                basis = f"nominal mass ±{season.bench.show(cavity.tolerance, '1')}"
            cells = (mass.mass_g, mass.u, cavity.mass_g, mass.weighed, basis)
            rows.append((mass.mold, mass.cavity, name, *cells))
    if rows:
        yield Table(
            id="casting_mass",
            title="What a casting is taken to weigh",
            columns=(
                TableColumn(name="mold", label="Mold"),
                TableColumn(name="cavity", label="Cavity"),
                TableColumn(name="material", label="Material"),
                TableColumn(name="mass_g", label="Mass", unit="g"),
                TableColumn(name="std_uncertainty_g", label="Std unc.", unit="g"),
                TableColumn(name="nominal_g", label="Nominal", unit="g"),
                TableColumn(name="weighed", label="Weighed", digits=0, hidden=True),
                TableColumn(name="basis", label="Taken from"),
            ),
            rows=tuple(sorted(rows, key=lambda row: (str(row[0]), str(row[1]), str(row[2])))),
            note="Without the insert, up to the last day. A weighed row enters the books as it was weighed.",
            paper_rows=0,
        )


def print_unit(item: Item) -> str | None:
    """The unit an item's amounts are printed in; None for what is counted in pieces."""
    return None if item.unit == "pieces" else item.print_unit
