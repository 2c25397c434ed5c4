"""The tables and figures of the section."""

from collections.abc import Iterator, Sequence
from math import isfinite, isnan

import numpy as np

from benchwater.ledger import midnight
from benchwater.ledger.castings import casting_mass, castings_made
from benchwater.ledger.stock import FLOWS, table_unit
from benchwater.plugin import Bench, Cell, Figure, Season, Table
from benchwater.words import listed, make_columns, make_table

from .balance import Chain
from .compute import Line, MaterialBalance
from .findings import count_notes
from .metal import MoldYield

POUND_G = 453.59237
MOST_PRINTED = 40
BALANCE = make_columns(
    *(("item", "Item"), ("opening", "Opening"), ("received", "Received"), ("recovered", "Recovered")),
    *(("in_castings", "In castings"), ("used", "Used"), ("discarded", "Discarded")),
    *(("book_closing", "By the book"), ("counted_closing", "Counted"), ("unaccounted", "Unaccounted")),
    *(("std_uncertainty", "Give or take"), ("verdict", "Verdict"), ("unit", "Unit")),
    hidden="unit",
    unit_from=dict.fromkeys(
        ("opening", *FLOWS, "book_closing", "counted_closing", "unaccounted", "std_uncertainty"), "unit"
    ),
)
RECONCILED = make_columns(
    *(("item", "Item"), ("quantity", "Quantity"), ("date", "Date"), ("measured", "Measured")),
    *(("std_uncertainty", "Give or take"), ("reconciled", "Reconciled"), ("adjustment", "Adjustment")),
    *(("z", "z", None, 1), ("unit", "Unit")),
    hidden="unit",
    unit_from=dict.fromkeys(("measured", "std_uncertainty", "reconciled", "adjustment"), "unit"),
)
MASSES = make_columns(
    *(("mold", "Mold"), ("cavity", "Cavity"), ("material", "Material"), ("mass_g", "Mass", "g")),
    *(("std_uncertainty_g", "Give or take", "g"), ("nominal_g", "Nominal", "g")),
    *(("weighed", "Weighed", None, 0), ("basis", "Taken from")),
    hidden="weighed",
)
YIELDS = make_columns(
    *(("mold", "Mold"), ("good", "Good", None, 0), ("rejects", "Rejects", None, 0)),
    *(("blanks", "Blanks", None, 0), ("first_pass_yield", "First-pass yield", "1")),
    *(("first_pass_yield_low", "low", "1"), ("first_pass_yield_high", "high", "1")),
    *(
        ("metal_yield", "Metal yield", "1"),
        ("metal_yield_low", "low", "1"),
        ("metal_yield_high", "high", "1"),
    ),
    ("poured_g", "Poured", "g"),
)
BALANCE_NOTE = (
    "Unaccounted is book less counted: above 0 is missing. A book closes within twice what is under give or "
    "take (the standard uncertainty)."
)


def tables(result: MaterialBalance, season: Season) -> tuple[Table, ...]:
    """The tables of the section."""
    return (
        balance_table(result),
        *([reconciled_table(result.chains, result.bench)] if result.chains else []),
        *([yields_table(result.yields)] if result.yields else []),
        *masses_table(season),
    )


def figures(result: MaterialBalance, season: Season) -> tuple[Figure, ...]:
    """Where the main metal went, and its stock over the season; none of a month."""
    if not result.whole_season:
        return ()
    return (*flow_figure(result.lines, season), *stock_figure(result.lines, season))


def balance_table(result: MaterialBalance) -> Table:
    """Every item from opening to unaccounted, with its verdict; what lay still and closes is last."""
    notes = [note for line in result.lines for note in count_notes(line, result.span, result.bench)]
    still = [
        line for line in result.lines if line.verdict == "closes" and not any(line.balance.flows.values())
    ]
    lines = [*(line for line in result.lines if line not in still), *still]
    if still:
        notes[:0] = [f"Nothing moved, and all is there: {listed([line.item.name for line in still])}."]
    rows = []
    for line in lines:
        balance = line.balance
        spread = None if isnan(balance.unaccounted) else balance.u
        amounts = (balance.opening, *(balance.flows.get(kind, 0.0) for kind in FLOWS), balance.book)
        found = balance.counted, balance.unaccounted, spread
        rows.append((line.item.name, *amounts, *found, line.verdict, line.item.unit))
    return make_table(
        "balance",
        "Material balance",
        " ".join(BALANCE),
        rows,
        BALANCE,
        note=" ".join((BALANCE_NOTE, *result.notes, *notes)),
        paper_rows=len(lines) - len(still) or None,
        print_units=[table_unit(result.bench, line.item) for line in lines],
    )


def reconciled_table(chains: Sequence[tuple[Line, Chain]], bench: Bench) -> Table:
    """Every count and every flow as measured and as reconciled; only items that disagree are printed."""
    rows: list[tuple[Cell, ...]] = []
    units: list[str | None] = []
    printed = 0
    for line, chain in sorted(chains, key=lambda pair: pair[1].result.agrees):
        item, found, size = line.item, chain.result.reconciliation, len(chain.counts)
        measured = [*(count.amount for count in chain.counts), *chain.flows]
        for q in sorted(range(len(measured)), key=lambda q: 2 * q if q < size else 2 * (q - size) + 1):
            word, count = ("count", q) if q < size else ("net flow", q - size + 1)
            numbers = map(float, (found.reconciled[q], found.adjustment[q], found.measurement_z[q]))
            day = chain.counts[count].day
            rows.append((item.name, word, day, measured[q], chain.u[q], *numbers, item.unit))
            units.append(table_unit(bench, item))
        printed = printed if chain.result.agrees else len(rows)
    return make_table(
        "reconciled",
        "Counts and the rows between them, reconciled",
        " ".join(RECONCILED),
        rows,
        RECONCILED,
        note="A net flow is what the rows moved since the count before. Reconciled are the amounts that "
        "agree with one another and stray least from the logs; z is the adjustment in standard "
        "uncertainties, and the largest points to the error.",
        print_units=units,
        print_rows=min(printed, MOST_PRINTED),
        paper_rows=0,
    )


def masses_table(season: Season) -> Iterator[Table]:
    """What each casting is taken to weigh, and on what grounds."""
    rows = []
    cast = ((piece, material) for piece, made in castings_made(season).items() for material in made.good_of)
    for (mold, name), material in cast:
        if season.bench.items[material].unit == "g":
            mass, cavity = casting_mass(season, (mold, name), material), season.bench.cavity(mold, name)
            basis = f"mean of {mass.weighed} weighed"
            if not mass.weighed:
                basis = f"nominal mass ±{season.bench.show(cavity.tolerance, '1')}"
            rows.append((mold, name, material, mass.mass_g, mass.u, cavity.mass_g, mass.weighed, basis))
    if rows:
        note = "Without the insert, up to the last day. A weighed row enters the books as it was weighed."
        names, title = " ".join(MASSES), "What a casting is taken to weigh"
        rows.sort(key=lambda row: row[:3])
        yield make_table("casting_mass", title, names, rows, MASSES, note=note, paper_rows=0)


def yields_table(yields: Sequence[MoldYield]) -> Table:
    """Castings good, rejected and blank of each mold, and both yields."""
    rows = []
    for found in yields:
        cells: list[Cell] = [found.mold, found.good, found.rejects, found.blanks]
        for share in (found.first_pass, found.metal):
            cells += [None] * 3 if share is None else [share.estimate, share.low, share.high]
        rows.append((*cells, found.poured_g))
    note = "First-pass yield is by castings, good of good and rejected. Metal yield is by mass, rejects "
    note += "and blank fills in what was poured; sprues are not weighed. Low and high are 95 % limits."
    return make_table("yields", "What each mold gave", " ".join(YIELDS), rows, YIELDS, note=note)


def stock_figure(lines: Sequence[Line], season: Season) -> tuple[Figure, ...]:
    """The stock of the metal that most was poured of: the book from each count on, and the counts."""
    metals = [line for line in lines if line.item.kind == "metal" and line.chain is not None]
    main = max(metals, key=lambda line: line.balance.flows.get("in_castings", 0.0), default=None)
    if main is None or main.chain is None or main.item.unit != "g":
        return ()
    from benchwater import plots

    size, label = (POUND_G, "lb") if season.bench.system == "us" else (1000.0, "kg")
    counts, name = main.chain.counts, main.item.name
    figure, axes = plots.new_figure(plots.HALF_MM, 62)
    ends = [*(count.moment for count in counts[1:]), midnight(season.end)]
    for number, (count, end) in enumerate(zip(counts, ends, strict=True)):
        moved = main.book.between(count.moment, end)
        moved = moved.take(np.argsort(moved.when, kind="stable"))
        begin, close = np.array([[count.moment], [end]], dtype="datetime64[us]")
        days = np.concatenate([begin, moved.when, close])
        stock = np.cumsum(np.concatenate([[count.amount], moved.amount, [0.0]]) / size)
        drawn = plots.thinned_steps(days, stock)
        plots.steps(axes, days[drawn], stock[drawn], label="" if number else "by the book")
    found = [count.amount / size for count in counts]
    plots.points(axes, [count.moment for count in counts], found, series=1, label="counted")
    plots.date_axis(axes)
    plots.legend(axes)
    axes.set_ylabel(f"{name}, {label}")
    axes.set_ylim(bottom=0)
    gaps = [main.chain.gap(stretch) for stretch in range(len(counts) - 1)]
    widest = max(range(len(gaps)), key=lambda stretch: abs(gaps[stretch]))
    gap, after = gaps[widest], counts[widest + 1]
    if main.verdict in {"missing", "surplus"}:
        words = f"{season.bench.show(abs(gap), 'g')} {'missing' if gap > 0 else 'too many'}"
        plots.beside(axes, words, after.moment, (after.amount + gap / 2) / size, either=True)
    alt = (
        f"The book of {name} misses its count most on {main.day(after.day)}, by "
        f"{season.bench.show(abs(gap), 'g')}. Drawn is its stock from each of {len(counts)} "
        "counts to the next."
    )
    title = f"Stock of {name} by the book, and counted"
    return (Figure(id="stock", title=title, alt=alt, svg=plots.to_svg(figure)),)


def flow_figure(lines: Sequence[Line], season: Season) -> tuple[Figure, ...]:
    """Where the metal that most was poured of came from and went, from its first count to its last."""
    metals = [line for line in lines if line.item.kind == "metal" and isfinite(line.balance.unaccounted)]
    main = max(metals, key=lambda line: line.balance.flows.get("in_castings", 0.0), default=None)
    if main is None or not main.balance.flows.get("in_castings"):
        return ()
    from benchwater import plots

    balance, unit, name = main.balance, main.item.unit, main.item.name
    off = balance.unaccounted if main.verdict in {"missing", "surplus"} else 0.0
    flows, show = balance.flows, season.bench.show

    def stream(word: str, amount: float, odd: bool = False) -> plots.Flow:
        return plots.Flow(f"{word}\n{show(amount, unit)}", amount, odd)

    into = [
        stream("at the start", balance.opening),
        stream("bought", flows.get("received", 0.0)),
        stream("melted back", flows.get("recovered", 0.0)),
        stream("came in\nwithout a row", -off, odd=True),
    ]
    out = [
        stream("good castings", flows["in_castings"]),
        stream("used", flows.get("used", 0.0)),
        stream("thrown away", flows.get("discarded", 0.0)),
        stream("went without a row", off, odd=True),
        stream("counted at the end", balance.counted),
    ]
    figure, axes = plots.new_figure(plots.HALF_MM, 62)
    plots.flow(axes, into, out, name)
    names = [each.name.replace("\n", " ") for each in (*into, *out) if each.amount > 0]
    odd = [each.name.replace("\n", " ") for each in (*into, *out) if each.odd and each.amount > 0]
    text = f"{odd[0].capitalize()} of {name}. " if odd else f"What went into and out of the {name} agrees. "
    text += f"Its season: {', '.join(names)}."
    title = f"Where the {name} came from, and what became of it"
    return (Figure(id="flow", title=title, alt=text, svg=plots.to_svg(figure)),)
