"""Where the material went: opening stock, what the logs say came and went, and what was counted at the end.

A worked example from the bench. Four kilos of alloy on the shelf and a five-pound ingot bought. 240 good
heads weigh 7.9 g each with the hook in and the hook is 0.8 g, so 1.704 kg of alloy left in them; 110 g of
dross was skimmed. The book says 4.454 kg. The scale says 4.3 kg: 154 g went somewhere without a row, and
with a 5 g scale that is no rounding. Rejects and sprues went back to the pot and need no row.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import isfinite, isnan, nan

from benchwater.books.blame import PACKS, UNITS, Blame, blame_chain, blame_two_counts
from benchwater.books.log_rows import known, midnight
from benchwater.books.metal import Dross, MoldYield, dross_rates, mold_yields
from benchwater.books.prices import unit_prices
from benchwater.books.stock_books import COAT_SHARE, FEWEST_WEIGHED, FLOWS, NOMINAL, Book, keep_books
from benchwater.mathematics.interval import Interval
from benchwater.mathematics.stock import (
    Balance,
    Chain,
    Count,
    LowestBook,
    chain_counts,
    close_books,
    lowest_book,
)
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
UNLOGGED = "work not logged"
VERDICTS = ("missing", UNLOGGED, "surplus", "closes", "not counted")
WORK = {
    "metal": ("pour", "pour log", "castings"),
    "plastic": ("pour", "pour log", "castings"),
    "insert": ("pour", "pour log", "castings"),
    "coat": ("finishing", "finishing log", "pieces"),
}

METHODS = (
    "Boundary: the shop. Book closing = opening + received + recovered − in good castings (coats: on coated "
    "pieces) − used − discarded; rejects, sprues and blank fills stay inside. Unaccounted = book − counted "
    "closing: above 0 is missing. A count stands for the end of its day or for its own moment, the very "
    "first of an item for the start of its day; of two counts of one moment the later row stands. A balance "
    "begins with the last count up to its first day, rolled forward, else with the first count after.",
    "Standard uncertainties: a scale's step d gives d/√12 (JCGM 100:2008, F.2.2.1), a stated one wins; packs "
    "received and whole pieces count as exact. Combined by the law of propagation (JCGM 100:2008, 5.1 and "
    "5.2), errors that the castings of one cavity share added before they are squared; expanded with k = 2 "
    "(about 95 %). Beyond that an item is missing or surplus, within it the item closes. Where the log of "
    "the work that uses it holds no row at all, what is missing is work not logged.",
    "Castings: as weighed, less the insert where its item states a mass; else the mean of this season's "
    f"weighed castings of that cavity and material, from {FEWEST_WEIGHED} on; else the nominal mass, its "
    "tolerance a rectangular half-width (JCGM 100:2008, 4.3.7). The scatter of fewer than 4 weighings is no "
    "less than that tolerance; from 4 on the mean's uncertainty allows for how few they are (JCGM 101:2008, "
    "6.4.9). A coat is its recipe's mass on every piece dipped, taken as good to "
    f"±{COAT_SHARE:.0%}, or to half the range where recipes differ by more.",
    "First-pass yield: good castings over good and rejected ones. Metal yield: the mass of the good ones "
    "over that of all castings poured, blank fills with them; one that is not good is taken to weigh what a "
    "good one does, and sprues go round. 95 % intervals of Wilson 1927 on the effective number of castings "
    "(Rao & Scott 1992), the fill being the cluster. Dross: what was discarded over castings and discarded, "
    "expanded with k = 2.",
)
CHAIN_METHOD = (
    "Stretches between counts (told for the season only): each count plus the rows up to the next must give "
    "the next. Weighted least squares and the global chi-square test of Narasimhan & Jordache 2000; the "
    "likeliest error by the measurement test of Mah & Tamhane 1982 with serial elimination, named only at "
    f"p < {SIGNIFICANCE:g} and if the rest then agrees. A decimal place, or a unit written for another, is "
    "named where it brings the amount within twice its uncertainty of what the rest implies (a convention, "
    "no source). No count and no stretch is taken as surer than one step of the scale, one piece for counted "
    "items; stretches are taken as independent of each other."
)


@dataclass(frozen=True, slots=True)
class Line:
    """One item's balance over the span, the chain of its counts since the season opened, what is to blame.

    `log` is what the log is called that holds the work it goes into; `unlogged` says that it holds no row,
    and `quiet` that none of this item lies between the two counts. `lowest` is the book at its lowest.
    """

    book: Book
    balance: Balance
    chain: Chain | None
    blames: tuple[tuple[Blame, ...], ...]
    lowest: LowestBook | None
    log: str
    unlogged: bool
    quiet: bool

    @property
    def item(self) -> Item:
        """The item."""
        return self.book.item

    @property
    def verdict(self) -> str:
        """One of `VERDICTS`."""
        off = self.balance.unaccounted
        if isnan(off):
            return "not counted"
        if abs(off) <= K * self.balance.u + 1e-9 * max(1.0, abs(self.balance.book)):
            return "closes"
        if off < 0:
            return "surplus"
        return UNLOGGED if self.unlogged else "missing"

    @property
    def slips(self) -> list[tuple[Blame, ...]]:
        """What a slip of the pen explains, in a count that the balance rests on."""
        rests_on = (self.balance.first, self.balance.last)
        return [
            each
            for each in self.blames
            if all(blame.slip is not None for blame in each)
            and any(blame.count in rests_on for blame in each)
        ]


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
    yields, dross = mold_yields(season, span, books), dross_rates(season, span, books)
    actions = [action for line in lines for action in _actions(line, season, told)]
    notes = (*notes, *(note for line in lines for note in _notes(line, span, bench)))
    return Section(
        status="ok" if counted else "thin",
        why="" if counted else "No item has a count before and another in these days: no book can be closed.",
        findings=(
            *_summary(counted, bench),
            *(_unaccounted(line, bench, told) for line in lines),
            *(_imbalance(line, line.chain, bench) for line in lines if told and line.chain is not None),
            *(found for line in lines for found in _below_zero(line, bench)),
            *(found for each in yields for found in _yield_findings(each, bench)),
            *(_dross_finding(each, bench) for each in dross),
            *(entry for line in lines for entry in _closings(line, bench)),
        ),
        tables=(
            _balance_table(lines, span, notes),
            *([_reconciled_table(chains)] if chains else []),
            *([_yields_table(yields)] if yields else []),
            *_masses_table(books, season),
        ),
        figures=(*_flow_figure(lines, season), *_stock_figure(lines, season)) if told else (),
        actions=(*actions, *_keep_logs(lines, bench)) if counted else (),
        methods=(*METHODS, CHAIN_METHOD) if chains else METHODS,
    )


def _line(book: Book, season: Season, span: Span) -> Line:
    start, end, chain = midnight(span.start), midnight(span.end), None
    opened = close_books(book.ledger, midnight(season.start), end).first
    if opened is not None:
        step = 1.0 if book.item.unit == "pieces" else book.step or 1.0
        least = resolution_uncertainty(step)
        chain = chain_counts(book.ledger, opened.moment, least_u=least, significance=SIGNIFICANCE)
    balance = close_books(book.ledger, start, end)
    kind, log, _ = WORK.get(book.item.kind, ("", "", ""))
    worked = any(move.kind in {"in_castings", "used"} for move in balance.closed)
    off = not isnan(balance.unaccounted) and abs(balance.unaccounted) > K * balance.u
    blames = blame_two_counts(book, balance) if off else ()
    return Line(
        book=book,
        balance=balance,
        chain=chain,
        blames=blame_chain(book, chain) if chain is not None else blames,
        lowest=lowest_book(book.ledger, start, end),
        log=log,
        unlogged=bool(kind) and not worked and not season.holds(kind),
        quiet=not worked,
    )


def _rank(line: Line) -> int:
    return VERDICTS.index(line.verdict)


def _summary(counted: Sequence[Line], bench: Bench) -> Iterator[Finding]:
    if counted:
        off = [f"{line.item.name} ({_how_much(line, bench)})" for line in counted if line.verdict != "closes"]
        closed = len(counted) - len(off)
        said = f"Not so: {', '.join(off)}." if off else "The rows explain what is on the bench."
        text = f"The books of {closed} of {len(counted)} items close. {said}"
        yield Finding(id="items_closed", text=text, value=float(closed), unit="pieces", n=len(counted))


def _how_much(line: Line, bench: Bench) -> str:
    amount = bench.show(abs(line.balance.unaccounted), line.item.unit)
    if line.verdict == UNLOGGED:
        return f"{amount} gone, and no {line.log}"
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


def _unaccounted(line: Line, bench: Bench, told: bool) -> Finding:
    """`told` where the chain of counts is reported beside it."""
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
        text += _unlogged_words(line)
        if line.slips and not (told and line.chain is not None):
            text += f" Most likely {_blame_words(line.item, line.slips[0], bench)}."
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


def _unlogged_words(line: Line) -> str:
    if line.verdict == UNLOGGED:
        used_on = WORK[line.item.kind][2]
        return f" There is no {line.log}: what went into {used_on} is not in the book."
    if line.verdict == "missing" and line.quiet and line.log:
        return f" The {line.log} holds no row of it between these counts."
    if line.verdict == "missing" and line.quiet and line.item.kind == "fitting":
        return " No `used` row lies between these counts: what went onto baits needs one."
    return ""


def _imbalance(line: Line, chain: Chain, bench: Bench) -> Finding:
    result, item = chain.result.reconciliation, line.item
    p = 1.0 if result.p_value is None else result.p_value
    shown = f"p = {p:.2g}" if p >= 0.0001 else "p < 0.0001"
    text = f"{item.name}: its {len(chain.counts)} counts and the rows between them agree ({shown})."
    if not chain.result.agrees:
        words = "; and ".join(_blame_words(item, each, bench) for each in line.blames)
        likely = f"Most likely {words}." if words else "No one or two of them explain it."
        text = f"{item.name}: its counts and rows cannot all be right ({shown}). {likely}"
    return Finding(
        id="imbalance_chi2",
        text=text,
        value=result.statistic,
        n=len(chain.counts),
        group=item.name,
        more={"p": p, "df": result.degrees_of_freedom},
        quiet=chain.result.agrees,
    )


def _blame_words(item: Item, alternatives: Sequence[Blame], bench: Bench) -> str:
    said = []
    for blame in alternatives:
        if blame.count is not None:
            said.append(f"the count of {blame.count.day} looks {_slip_words(item, blame, bench)}")
        elif blame.stretch is not None:
            before, after = blame.stretch
            how = "left" if blame.gap > 0 else "came in"
            amount = bench.show(abs(blame.gap), item.unit)
            said.append(f"{amount} {how} without a row between {before.day} and {after.day}")
    return ", or ".join(said)


def _slip_words(item: Item, blame: Blame, bench: Bench) -> str:
    found, implied = bench.show(blame.found, item.unit), bench.show(blame.implied, item.unit)
    if blame.slip is None:
        return "mistyped"
    if isinstance(blame.slip, float):
        times = blame.slip if blame.slip > 1 else 1 / blame.slip
        how = f"{times:g} times too {'large' if blame.slip > 1 else 'small'}"
    elif blame.slip == PACKS:
        how = f"counted in packs of {item.pack:g}"
    else:
        written, meant = blame.slip
        number = blame.found / UNITS[item.unit][written]
        how = f"like {number:.6g} {meant} written as {written}"
    return f"{how} ({found} for {implied})"


def _below_zero(line: Line, bench: Bench) -> Iterator[Finding]:
    """An item used before it was received, or never received at all."""
    lowest, item = line.lowest, line.item
    if lowest is None or lowest.amount >= -K * lowest.u - 1e-9 * max(1.0, abs(line.balance.opening or 0.0)):
        return
    short = -lowest.amount
    if line.balance.first is None:
        amount = bench.show(short, item.unit)
        text = f"{item.name} was never counted; by {lowest.day} its rows took out {amount} more than they "
        text += "brought: at least that much was on hand before."
    else:
        text = f"{item.name}: by {lowest.day} the rows took out {bench.show(short, item.unit)} more than "
        text += "there was. Something came in earlier than its row says, or without one, or a count is off."
    yield _finding("book_below_zero", text, item, short, lowest.u, quiet=line.balance.first is None)


def _notes(line: Line, span: Span, bench: Bench) -> Iterator[str]:
    """What has to be said of the counts of an item."""
    item, first, ledger = line.item, line.balance.first, line.book.ledger
    for before, after in ledger.recounted:
        if span.start <= after.day < span.end and before.amount != after.amount:
            both = " and ".join(bench.show(count.amount, item.unit) for count in (before, after))
            yield f"{item.name} was counted twice on {after.day}, {both}: the later row stands."
    if first is not None and first.day > span.start:
        earlier = len(ledger.between(midnight(span.start), first.moment))
        if earlier:
            rows = "1 earlier row is" if earlier == 1 else f"{earlier} earlier rows are"
            yield f"{item.name} was first counted on {first.day}: its balance begins there, {rows} not in it."


def _yield_findings(found: MoldYield, bench: Bench) -> Iterator[Finding]:
    mold, total = found.mold, found.good + found.rejects
    if found.first_pass is not None:
        share = bench.show(found.first_pass.estimate, "1")
        text = f"{mold}: {share} of {total} castings were good at the first pour."
        if total < FEWEST_FOR_YIELD:
            text = (
                f"{mold}: {found.good} of {total} castings were good at the first pour, too few to judge by."
            )
        yield _share_finding("first_pass_yield", text, found.first_pass, total, mold)
    if found.metal is not None and found.poured_g is not None:
        share, amount = bench.show(found.metal.estimate, "1"), bench.show(found.poured_g, "g")
        text = f"{mold}: {share} of the {amount} poured became good castings; the rest goes round again."
        yield _share_finding("metal_yield", text, found.metal, total + found.blanks, mold, quiet=True)


def _dross_finding(found: Dross, bench: Bench) -> Finding:
    share, amount = bench.show(found.share.estimate, "1"), bench.show(found.discarded, "g")
    text = f"{found.item}: {share} of what was melted for castings was skimmed or thrown away ({amount})."
    return _share_finding("dross_rate", text, found.share, found.rows, found.item)


def _share_finding(id: str, text: str, share: Interval, n: int, group: str, quiet: bool = False) -> Finding:
    return Finding(
        id=id,
        text=text,
        value=share.estimate,
        low=share.low,
        high=share.high,
        unit="1",
        n=n,
        group=group,
        quiet=quiet,
    )


# --- what to do ----------------------------------------------------------------------------------------


def _actions(line: Line, season: Season, told: bool) -> Iterator[Action]:
    """`told` where the chain of counts is reported, and with it the counts it blames."""
    bench, item, balance = season.bench, line.item, line.balance
    certain = [each for each in line.blames if len(each) == 1 or all(b.slip is not None for b in each)]
    blamed = [(blame, blame.count) for each in certain for blame in each if blame.count is not None]
    for blame, count in blamed if told else ():
        yield _look_again(item, blame, count, bench)
    if line.verdict == "not counted":
        return
    counts = [count for _, count in blamed]
    off = line.verdict in {"missing", "surplus"}
    if off and not line.slips and balance.first not in counts and balance.last not in counts:
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


def _look_again(item: Item, blame: Blame, count: Count, bench: Bench) -> Action:
    because = "Without this one count the others agree with the rows between them."
    if blame.slip is not None:
        because = f"It looks {_slip_words(item, blame, bench)}; with that put right the rest agrees."
    return Action(
        id=f"recount-{item.name}-{count.day}",
        text=f"Look again at the count of {item.name} of {count.day}: the row says "
        f"{bench.show(count.amount, item.unit)}.",
        because=because,
    )


def _keep_logs(lines: Sequence[Line], bench: Bench) -> Iterator[Action]:
    """One action a log that is not kept and that would explain what is gone."""
    for log in dict.fromkeys(line.log for line in lines if line.verdict == UNLOGGED):
        gone = [line for line in lines if line.verdict == UNLOGGED and line.log == log]
        names = ", ".join(
            f"{bench.show(line.balance.unaccounted, line.item.unit)} of {line.item.name}" for line in gone
        )
        yield Action(
            id=f"keep-{log.replace(' ', '-')}",
            text=f"Keep a {log}, or log what is `used`.",
            because=f"Without it nobody can tell whether {names} was used or lost.",
        )


def _search(line: Line, season: Season) -> Action:
    """What to do about an item that is missing or surplus, in the stretch that the chain points to."""
    bench, balance, item, chain = season.bench, line.balance, line.item, line.chain
    assert balance.first is not None
    assert balance.last is not None
    first, last, again = balance.first, balance.last, " Count it once more first."
    pointed = [each for each in line.blames if each[0].stretch is not None]
    if chain is not None and len(pointed) == 1 and pointed[0][0].stretch is not None:
        before, after = pointed[0][0].stretch
        if first.moment <= before.moment and after.moment <= last.moment:
            first, last = before, after
            if len(pointed[0]) == 1:
                again = ""
            elif pointed[0][1].count is chain.counts[0]:
                again = f" Or its count of {first.day} was off."
    amount = bench.show(abs(balance.unaccounted), item.unit)
    amount = f"{amount} {item.name}" if item.unit == "pieces" else f"{amount} of {item.name}"
    when = f"without a row between {first.day} and {last.day}"
    room = f"the rows leave room for ±{bench.show(K * balance.u, item.unit)}"
    book, counted = bench.show(balance.book, item.unit), bench.show(balance.counted, item.unit)
    because = f"{book} by the book, {counted} counted; {room if balance.u else 'pieces are exact'}."
    packs = abs(balance.unaccounted) / item.pack if item.pack else 0.5
    if line.verdict == "surplus" and not balance.u and packs == int(packs):
        because += f" That is just {packs:.0f} pack{'' if packs == 1 else 's'}: a purchase without its row?"
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


def _yields_table(yields: Sequence[MoldYield]) -> Table:
    limits = ("", "_low", "_high")
    rows = []
    for found in yields:
        cells: list[Cell] = [found.mold, found.good, found.rejects, found.blanks]
        for share in (found.first_pass, found.metal):
            cells += [None] * 3 if share is None else [share.estimate, share.low, share.high]
        rows.append((*cells, found.poured_g))
    labels = {"first_pass": "First-pass yield", "metal": "Metal yield", "_low": "low", "_high": "high"}
    return Table(
        id="yields",
        title="What each mold gave",
        columns=(
            TableColumn(name="mold", label="Mold"),
            *(TableColumn(name=n, label=n.capitalize(), digits=0) for n in ("good", "rejects", "blanks")),
            *(
                TableColumn(name=f"{share}_yield{end}", label=labels[end or share], unit="1")
                for share in ("first_pass", "metal")
                for end in limits
            ),
            TableColumn(name="poured_g", label="Poured", unit="g"),
        ),
        rows=tuple(rows),
        note="Metal yield is by mass, rejects and blank fills in what was poured; sprues are not weighed.",
    )


def _masses_table(books: Mapping[str, Book], season: Season) -> Iterator[Table]:
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
    figure, axes = plots.new_figure(plots.HALF_MM, 62)
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
    title = f"Stock of {name}: where the line misses a count, a row is missing"
    return (Figure(id="stock", title=title, alt=alt, svg=plots.to_svg(figure)),)


def _flow_figure(lines: Sequence[Line], season: Season) -> tuple[Figure, ...]:
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
    told = [each.name.replace("\n", " ") for each in (*into, *out) if each.amount > 0]
    text = f"{name} of the season: {', '.join(told)}."
    title = f"Where the {name} came from, and what became of it"
    return (Figure(id="flow", title=title, alt=text, svg=plots.to_svg(figure)),)


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
