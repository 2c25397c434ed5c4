"""Where the material went: opening stock, what the logs say came and went, and what was counted at the end.

A worked example from the bench. Four kilos of alloy on the shelf and a five-pound ingot bought. 240 good
heads weigh 7.9 g each with the hook in and the hook is 0.8 g, so 1.704 kg of alloy left in them; 110 g of
dross was skimmed. The book says 4.454 kg. The scale says 4.3 kg: 154 g went somewhere without a row, and
with a 5 g scale that is no rounding. Rejects and sprues went back to the pot and need no row.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from math import isfinite, isnan, nan

from benchwater.books.log_rows import known, log_rows, midnight
from benchwater.books.prices import unit_prices
from benchwater.books.stock_books import COAT_SHARE, FEWEST_WEIGHED, FLOWS, NOMINAL, Book, keep_books
from benchwater.mathematics.proportions import wilson_interval
from benchwater.mathematics.stock import Balance, Chain, chain_counts, close_books
from benchwater.mathematics.uncertainty import resolution_uncertainty
from benchwater.plugin import (
    Action,
    Analysis,
    Bench,
    Cell,
    Figure,
    Finding,
    Item,
    Season,
    Section,
    Span,
    Table,
    TableColumn,
    hookimpl,
)

K = 2.0
SIGNIFICANCE = 0.01
FEWEST_FOR_YIELD = 20
MOST_PRINTED = 40
POUND_G = 453.59237

METHODS = (
    "Boundary: the shop. Book closing = opening + received + recovered − in good castings (coats: on coated "
    "pieces) − used − discarded; rejects, sprues and blank fills stay inside. Unaccounted = book − counted "
    "closing: above 0 is missing. A count stands for the end of its day or for its own moment; the very "
    "first count of an item for the start of its day.",
    "Standard uncertainties: a scale's step d gives d/√12 (JCGM 100:2008, F.2.2.1), a stated one wins; packs "
    "received and whole pieces count as exact. Combined by the law of propagation (JCGM 100:2008, 5.1 and "
    "5.2), errors that the castings of one cavity share added before they are squared; expanded with k = 2 "
    "(about 95 %). Beyond that an item is missing or surplus, within it the item closes.",
    "Castings: as weighed, less the insert where its item states a mass; else the mean of this season's "
    f"weighed castings of that cavity and material, from {FEWEST_WEIGHED} on; else the nominal mass, its "
    "tolerance a rectangular half-width (JCGM 100:2008, 4.3.7). A coat is its recipe's mass on every piece "
    f"dipped, taken as good to ±{COAT_SHARE:.0%}, or to half the range where recipes differ by more.",
    "First-pass yield: good castings over good and rejected ones, with the 95 % interval of Wilson 1927.",
)
CHAIN_METHOD = (
    "Stretches between counts (told for the season only): each count plus the rows up to the next must give "
    "the next. Weighted least squares and the global chi-square test of Narasimhan & Jordache 2000; the "
    "likeliest error by the measurement test of Mah & Tamhane 1982 with serial elimination, named only at "
    f"p < {SIGNIFICANCE:g} and if the rest then agrees. No count and no stretch is taken as surer than one "
    "step of the scale, one piece for counted items; stretches are taken as independent of each other."
)


@dataclass(frozen=True, slots=True)
class Line:
    """One item's balance over the span, and the chain of its counts since the season opened."""

    book: Book
    balance: Balance
    chain: Chain | None

    @property
    def item(self) -> Item:
        """The item."""
        return self.book.item

    @property
    def verdict(self) -> str:
        """`closes`, `missing`, `surplus` or `not counted`."""
        off = self.balance.unaccounted
        if isnan(off):
            return "not counted"
        if abs(off) <= K * self.balance.u + 1e-9 * max(1.0, abs(self.balance.book)):
            return "closes"
        return "missing" if off > 0 else "surplus"


# --- what it means -------------------------------------------------------------------------------------


def analyse(season: Season, span: Span) -> Section:
    """The balance of every item over the span, the chain of its counts, and the yield of every mold."""
    kinds = [kind for kind in ("inventory", "pour", "finishing") if season.holds(kind)]
    if not any(len(season.rows(kind, span)) for kind in kinds):
        return Section.empty("Nothing was poured, coated, moved or counted in these days.")
    bench, told = season.bench, span.name == "season"
    books, notes = keep_books(season)
    kept = [book for book in books.values() if book.ledger.counts or book.ledger.movements]
    lines = sorted((_line(book, season, span) for book in kept), key=_rank)
    counted = [line for line in lines if line.verdict != "not counted"]
    chains = [(line.item, line.chain) for line in lines if told and line.chain is not None]
    yields = _yields(season, span)
    actions = [action for line in lines for action in _actions(line, season, told)]
    return Section(
        status="ok" if counted else "thin",
        why="" if counted else "No item has a count before and another in these days: no book can be closed.",
        findings=(
            *_summary(counted, bench),
            *(_unaccounted(line, bench) for line in lines),
            *(_imbalance(item, chain, bench) for item, chain in chains),
            *(_yield_finding(mold, good, total, bench) for mold, good, total in yields),
            *(entry for line in lines for entry in _closings(line, bench)),
        ),
        tables=(_balance_table(lines, span, notes), *([_reconciled_table(chains)] if chains else [])),
        figures=_stock_figure(lines, season) if told else (),
        actions=tuple(actions) if counted else (),
        methods=(*METHODS, CHAIN_METHOD) if chains else METHODS,
    )


def _line(book: Book, season: Season, span: Span) -> Line:
    end, chain = midnight(span.end), None
    opened = close_books(book.ledger, midnight(season.start), end).first
    if opened is not None:
        step = 1.0 if book.item.unit == "pieces" else book.step or 1.0
        least = resolution_uncertainty(step)
        chain = chain_counts(book.ledger, opened.moment, least_u=least, significance=SIGNIFICANCE)
    return Line(book, close_books(book.ledger, midnight(span.start), end), chain)


def _rank(line: Line) -> int:
    return ("missing", "surplus", "closes", "not counted").index(line.verdict)


def _summary(counted: Sequence[Line], bench: Bench) -> Iterator[Finding]:
    if counted:
        off = [f"{line.item.name} ({_how_much(line, bench)})" for line in counted if line.verdict != "closes"]
        closed = len(counted) - len(off)
        said = f"Not so: {', '.join(off)}." if off else "The rows explain what is on the bench."
        text = f"{closed} of {len(counted)} items with two counts close. {said}"
        yield Finding(id="items_closed", text=text, value=float(closed), unit="pieces", n=len(counted))


def _how_much(line: Line, bench: Bench) -> str:
    amount = bench.show(abs(line.balance.unaccounted), line.item.unit)
    return f"{amount} missing" if line.verdict == "missing" else f"{amount} more than the book says"


def _finding(
    id: str, text: str, item: Item, value: float, u: float, n: int | None = None, quiet: bool = False
) -> Finding:
    """A finding about an item, with the interval value ± K u; an unknown value has neither."""
    low, high = known(value - K * u), known(value + K * u)
    return Finding(
        id=id,
        text=text,
        value=known(value),
        low=low,
        high=high,
        unit=item.unit,
        n=n,
        group=item.name,
        quiet=quiet,
    )


def _unaccounted(line: Line, bench: Bench) -> Finding:
    balance, unit, name = line.balance, line.item.unit, line.item.name
    off, spread = balance.unaccounted, K * balance.u
    book, counted = bench.show(balance.book, unit), bench.show(balance.counted, unit)
    if balance.first is None:
        text = f"{name} was never counted."
    elif balance.last is None:
        text = f"{name} was not counted again after {balance.first.day}; {book} by the book."
    elif isnan(off):
        text = f"{name} cannot be balanced: see the note with the table."
    elif line.verdict == "closes":
        exact = "" if spread else ", 0 unaccounted"
        text = f"{name} closes: {book} by the book, {counted} counted{exact}."
    else:
        range_ = f"{bench.show(off - spread, unit)} to {bench.show(off + spread, unit)}"
        text = (
            f"{name}: {_how_much(line, bench)} since the count of {balance.first.day} (unaccounted "
            f"{range_ if spread else bench.show(off, unit)}): {book} by the book, {counted} from the count "
            f"of {balance.last.day}."
        )
        first, last = balance.first.moment, balance.last.moment
        rejects = sum(count for when, count in line.book.rejected if first <= when < last)
        if rejects and line.verdict == "missing":
            text += f" {rejects} went into rejects: those thrown away need a `discarded` row."
    rows = len(balance.closed) + 2 if balance.last is not None else None
    return _finding("unaccounted", text, line.item, off, balance.u, rows, quiet=line.verdict == "closes")


def _closings(line: Line, bench: Bench) -> Iterator[Finding]:
    balance, item = line.balance, line.item
    for id, value, u, words in (
        ("book_closing", balance.book, balance.book_u, "by the book at the close"),
        ("counted_closing", balance.counted, balance.counted_u, "from the last count"),
    ):
        if isfinite(value):
            text = f"{item.name}: {bench.show(value, item.unit)} {words}."
            yield _finding(id, text, item, value, u, quiet=True)


def _imbalance(item: Item, chain: Chain, bench: Bench) -> Finding:
    result = chain.result.reconciliation
    p = 1.0 if result.p_value is None else result.p_value
    shown = f"p = {p:.2g}" if p >= 0.0001 else "p < 0.0001"
    text = f"{item.name}: its {len(chain.counts)} counts and the rows between them agree ({shown})."
    if not chain.result.agrees:
        words = "; and ".join(_suspect_words(item, chain, each, bench) for each in chain.result.suspects)
        likely = f"Most likely {words}." if words else "No one or two of them explain it."
        text = f"{item.name}: its counts and rows cannot all be right ({shown}). {likely}"
    more = {"p": p, "df": result.degrees_of_freedom}
    n = len(chain.counts)
    return Finding(
        id="imbalance_chi2",
        text=text,
        value=result.statistic,
        n=n,
        group=item.name,
        more=more,
        quiet=chain.result.agrees,
    )


def _suspect_words(item: Item, chain: Chain, suspect: Sequence[int], bench: Bench) -> str:
    said = []
    for quantity in sorted(suspect, reverse=True):
        stretch = quantity - len(chain.counts)
        if stretch < 0:
            said.append(f"the count of {chain.counts[quantity].day} looks mistyped")
            continue
        gap, days = chain.gap(stretch), [count.day for count in chain.counts[stretch : stretch + 2]]
        how = "left" if gap > 0 else "came in"
        amount = bench.show(abs(gap), item.unit)
        said.append(f"{amount} {how} without a row between {days[0]} and {days[1]}")
    return ", or ".join(said)


def _yields(season: Season, span: Span) -> list[tuple[str, int, int]]:
    """Mold, good castings, and good and rejected ones, of every mold poured in the span."""
    good: Counter[str] = Counter()
    total: Counter[str] = Counter()
    for when, mold, outcome, count in log_rows(season, "pour", "date", "mold", "outcome", "count"):
        if outcome != "blank" and span.start <= when.date() < span.end:
            total[mold] += count
            good[mold] += count if outcome == "good" else 0
    return [(mold, good[mold], total[mold]) for mold in season.bench.molds if total[mold]]


def _yield_finding(mold: str, good: int, total: int, bench: Bench) -> Finding:
    found = wilson_interval(good, total)
    text = f"{mold}: {bench.show(good / total, '1')} of {total} castings were good at the first pour."
    if total < FEWEST_FOR_YIELD:
        text = f"{mold}: {good} of {total} castings were good at the first pour, too few to judge by."
    return Finding(
        id="first_pass_yield",
        text=text,
        value=found.estimate,
        low=found.low,
        high=found.high,
        unit="1",
        n=total,
        group=mold,
    )


# --- what to do ----------------------------------------------------------------------------------------


def _actions(line: Line, season: Season, told: bool) -> Iterator[Action]:
    """`told` where the chain of counts is reported, and with it the counts it blames."""
    bench, item, balance, chain = season.bench, line.item, line.balance, line.chain
    suspects = chain.result.suspects if chain is not None else ()
    counts = chain.counts if chain is not None else ()
    blamed = [counts[each[0]] for each in suspects if len(each) == 1 and each[0] < len(counts)]
    for count in blamed if told else ():
        yield Action(
            id=f"recount-{item.name}-{count.day}",
            text=f"Look again at the count of {item.name} of {count.day}: the row says "
            f"{bench.show(count.amount, item.unit)}.",
            because="Without this one count the others agree with the rows between them.",
        )
    if line.verdict == "not counted":
        return
    if line.verdict != "closes" and balance.first not in blamed and balance.last not in blamed:
        yield _search(line, season)
    shared: defaultdict[str, float] = defaultdict(float)
    for movement in balance.closed:
        if movement.source.startswith(NOMINAL):
            shared[movement.source.removeprefix(NOMINAL)] += movement.shared_u
    worst = max(shared, key=lambda source: shared[source], default="")
    if worst and shared[worst] ** 2 > balance.u**2 / 2:
        yield Action(
            id=f"weigh-castings-{item.name}",
            text=f"Weigh {FEWEST_WEIGHED} or more good castings of {worst} and log their mass.",
            because=f"Its nominal mass makes most of the ±{bench.show(K * balance.u, item.unit)} that the "
            f"balance of {item.name} leaves open.",
        )


def _search(line: Line, season: Season) -> Action:
    """What to do about an item that is missing or surplus, in the stretch that the chain points to."""
    bench, balance, item, chain = season.bench, line.balance, line.item, line.chain
    assert balance.first is not None
    assert balance.last is not None
    first, last, again = balance.first, balance.last, " Count it once more first."
    pointed = [each for each in chain.result.suspects if each[-1] >= len(chain.counts)] if chain else []
    if chain is not None and len(pointed) == 1:
        stretch = pointed[0][-1] - len(chain.counts)
        before, after = chain.counts[stretch : stretch + 2]
        if first.moment <= before.moment and after.moment <= last.moment:
            first, last = before, after
            if len(pointed[0]) == 1:
                again = ""
            elif pointed[0][0] == 0:
                again = f" Or its count of {first.day} was off."
    amount = bench.show(abs(balance.unaccounted), item.unit)
    amount = f"{amount} {item.name}" if item.unit == "pieces" else f"{amount} of {item.name}"
    when = f"without a row between {first.day} and {last.day}"
    room = f"the rows leave room for ±{bench.show(K * balance.u, item.unit)}"
    book, counted = bench.show(balance.book, item.unit), bench.show(balance.counted, item.unit)
    because = f"{book} by the book, {counted} counted; {room if balance.u else 'pieces are exact'}."
    if line.verdict == "surplus":
        text = f"Log what brought {amount}: it came in {when}.{again}"
        return Action(id=f"log-{item.name}", text=text, because=because)
    price = unit_prices(season, midnight(season.end))[item.name].per_unit
    return Action(
        id=f"look-for-{item.name}",
        text=f"Look for {amount} that left {when}.{again}",
        because=because,
        worth=None if price is None else balance.unaccounted * price,
        worth_unit=None if price is None else "money",
    )


# --- tables and figure ---------------------------------------------------------------------------------


def _balance_table(lines: Sequence[Line], span: Span, notes: Sequence[str]) -> Table:
    labels = {"in_castings": "In castings", "book_closing": "By the book", "counted_closing": "Counted"}
    amounts = ("opening", *FLOWS, "book_closing", "counted_closing", "unaccounted", "std_uncertainty")
    labels["std_uncertainty"] = "Std unc."
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
        note=" ".join(("Unaccounted is book less counted: above 0 is missing.", *notes)),
        each_span=True,
        print_units=tuple(_print_unit(line.item) for line in lines),
    )


def _reconciled_table(chains: Sequence[tuple[Item, Chain]]) -> Table:
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
            units.append(_print_unit(item))
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
        note="A net flow is what the rows moved since the count before. The largest z points to the error.",
        print_units=tuple(units),
        print_rows=min(printed, MOST_PRINTED),
    )


def _stock_figure(lines: Sequence[Line], season: Season) -> tuple[Figure, ...]:
    """The stock of the metal that most was poured of: the book from each count on, and the counts."""
    metals = [line for line in lines if line.item.kind == "metal" and line.chain is not None]
    main = max(metals, key=lambda line: line.balance.flows.get("in_castings", 0.0), default=None)
    if main is None or main.chain is None or main.item.unit != "g":
        return ()
    from benchwater import plots

    size, label = (POUND_G, "lb") if season.bench.system == "us" else (1000.0, "kg")
    counts, name = main.chain.counts, main.item.name
    figure, axes = plots.new_figure()
    ends = [*(count.moment for count in counts[1:]), midnight(season.end)]
    for number, (count, end) in enumerate(zip(counts, ends, strict=True)):
        days, stock = [count.moment], [count.amount / size]
        for movement in sorted(main.book.ledger.between(count.moment, end), key=lambda each: each.when):
            days.append(movement.when)
            stock.append(stock[-1] + movement.amount / size)
        plots.steps(axes, [*days, end], [*stock, stock[-1]], label="" if number else "by the book")
    found = [count.amount / size for count in counts]
    plots.points(axes, [count.moment for count in counts], found, series=1, label="counted")
    plots.date_axis(axes)
    plots.legend(axes)
    axes.set_ylabel(f"{name}, {label}")
    axes.set_ylim(bottom=0)
    gaps = [abs(main.chain.gap(stretch)) for stretch in range(len(counts) - 1)]
    widest = gaps.index(max(gaps))
    alt = (
        f"Stock of {name} by the book from each count to the next, and {len(counts)} counts; the widest gap, "
        f"{season.bench.show(gaps[widest], 'g')}, is at the count of {counts[widest + 1].day}."
    )
    title = f"Stock of {name}: where the line misses the next count, a row is missing"
    return (Figure(id="stock", title=title, alt=alt, svg=plots.to_svg(figure)),)


# --- small things --------------------------------------------------------------------------------------


def _print_unit(item: Item) -> str | None:
    return None if item.unit == "pieces" else item.print_unit


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
