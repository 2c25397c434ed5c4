"""What the balance of an item says, in sentences: missing, surplus, never counted, below zero."""

from collections.abc import Iterator, Sequence
from math import isfinite, isnan

from benchwater.ledger import midnight
from benchwater.ledger.casting_masses import OddMass
from benchwater.ledger.movements import net_amount
from benchwater.ledger.stock import Chain
from benchwater.plugin import Bench, Finding, Item, Span
from benchwater.words import limits, make_finding

from .lines import UNLOGGED, WORK, K, Line, both_units
from .slips import blame_words

MOST_SAID = 6
MOST_ODD = 3


def items_closed(counted: Sequence[Line], bench: Bench) -> Iterator[Finding]:
    """How many books close, and by how much the others do not."""
    if counted:
        off = [f"{line.item.name} ({how_much(line, bench)})" for line in counted if line.verdict != "closes"]
        closed = len(counted) - len(off)
        more = f" and {len(off) - MOST_SAID} more" if len(off) > MOST_SAID else ""
        said = (
            f"Not so: {', '.join(off[:MOST_SAID])}{more}."
            if off
            else "The rows explain what is on the bench."
        )
        text = f"The books of {closed} of {len(counted)} items close. {said}"
        yield Finding(id="items_closed", text=text, value=float(closed), unit="pieces", n=len(counted))


def weighed_oddly(odd: Sequence[OddMass], bench: Bench) -> Iterator[Finding]:
    """Castings whose mass cannot be theirs: likely a slip of the pen. The books take it as written."""
    for number, row in enumerate(odd):
        place = f"{row.file} line {row.line}"
        each, nominal = bench.show(row.each_g, "g"), bench.show(row.nominal_g, "g")
        yield Finding(
            id="odd_mass",
            text=f"Look again at {place}: castings of {row.mold} {row.cavity} would weigh {each} each "
            f"without their inserts, and bench.toml says {nominal}. The books take it as written.",
            value=row.each_g,
            unit="g",
            n=row.pieces,
            group=place,
            quiet=number >= MOST_ODD,
        )


def how_much(line: Line, bench: Bench, *, both: bool = False) -> str:
    """`154 g missing`, as far as the verdict goes; in `both` units where they differ."""
    off = abs(line.balance.unaccounted)
    amount = both_units(off, line.item, bench) if both else bench.show(off, line.item.unit)
    if line.verdict == UNLOGGED:
        return f"{amount} gone, and no {line.log}"
    return f"{amount} missing" if line.verdict == "missing" else f"{amount} more than the book says"


def _finding(
    id: str, text: str, item: Item, value: float, u: float, n: int | None = None, quiet: bool = False
) -> Finding:
    """A finding about an item, with the interval value ± K u; an unknown value has neither."""
    limits = (value, value - K * u, value + K * u)
    return make_finding(id, text, limits, item.unit, n=n, group=item.name, quiet=quiet)


def unaccounted(line: Line, bench: Bench, told: bool) -> Finding:
    """`told` where the chain of counts is reported beside it."""
    balance, unit, name, day = line.balance, line.item.unit, line.item.name, line.day
    off, spread = balance.unaccounted, K * balance.u
    book, counted = bench.show(balance.book, unit), bench.show(balance.counted, unit)
    if balance.first is None:
        text = f"{name} was never counted."
    elif balance.last is None:
        text = f"{name} was not counted again after {day(balance.first.day)}; {book} by the book."
    elif isnan(off):
        text = f"{name} cannot be balanced: see the note with the table."
    elif line.verdict == "closes":
        exact = "" if spread else ", 0 unaccounted"
        text = f"{name} closes: {book} by the book, {counted} counted{exact}."
    else:
        range_ = limits(lambda amount: bench.show(amount, unit), off - spread, off + spread)
        text = (
            f"{name}: {how_much(line, bench, both=True)} since the count of {day(balance.first.day)}"
            f"{f' ({range_} unaccounted)' if spread else ''}: {book} by the book, {counted} from the count "
            f"of {day(balance.last.day)}."
        )
        first, last = balance.first.moment, balance.last.moment
        rejects = round(net_amount(line.book.rejected.between(first, last)))
        if rejects and line.verdict == "missing":
            text += f" {rejects} went into rejects: those thrown away need a `discarded` row."
        text += _unlogged_words(line)
        if line.slips and not (told and line.chain is not None):
            text += f" Most likely {blame_words(line, line.slips[0], bench)}."
    rows = len(balance.closed) + 2 if balance.last is not None else None
    return _finding("unaccounted", text, line.item, off, balance.u, rows, quiet=line.verdict == "closes")


def _unlogged_words(line: Line) -> str:
    if line.verdict == UNLOGGED:
        used_on = WORK[line.item.kind][2]
        return f" There is no {line.log}: what went into {used_on} is not in the book."
    if line.verdict == "missing" and line.quiet and line.log:
        return f" The {line.log} holds no row of it between these counts."
    if line.verdict == "missing" and line.quiet and line.item.kind == "fitting":
        return " No `used` row lies between these counts: what went onto baits needs one."
    return ""


def closings(line: Line, bench: Bench) -> Iterator[Finding]:
    """What is on hand by the book and by the last count, for the JSON twin."""
    balance, item = line.balance, line.item
    for id, value, u, words in (
        ("book_closing", balance.book, balance.book_u, "by the book at the close"),
        ("counted_closing", balance.counted, balance.counted_u, "from the last count"),
    ):
        if isfinite(value):
            text = f"{item.name}: {bench.show(value, item.unit)} {words}."
            yield _finding(id, text, item, value, u, quiet=True)


def below_zero(line: Line, bench: Bench) -> Iterator[Finding]:
    """An item used before it was received, or never received at all."""
    lowest, item = line.lowest, line.item
    if lowest is None or lowest.amount >= -K * lowest.u - 1e-9 * max(1.0, abs(line.balance.opening or 0.0)):
        return
    short, day = -lowest.amount, line.day(lowest.day)
    amount = bench.show(short, item.unit)
    if line.balance.first is None:
        text = f"{item.name} was never counted; by {day} its rows took out {amount} more than they brought: "
        text += "at least that much was on hand before."
    else:
        text = f"{item.name}: by {day} the rows took out {amount} more than there was. "
        text += "Something came in earlier than its row says, or without one, or a count is off."
    yield _finding("book_below_zero", text, item, short, lowest.u, quiet=line.balance.first is None)


def imbalance(line: Line, chain: Chain, bench: Bench) -> Finding:
    """Whether an item's counts and the rows between them can all be right, and what most likely is not."""
    result, item = chain.result.reconciliation, line.item
    p = 1.0 if result.p_value is None else result.p_value
    shown = f"p = {p:.2g}" if p >= 0.0001 else "p < 0.0001"
    text = f"{item.name}: its {len(chain.counts)} counts and the rows between them agree ({shown})."
    if not chain.result.agrees:
        words = "; and ".join(blame_words(line, each, bench) for each in line.blames)
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


def count_notes(line: Line, span: Span, bench: Bench) -> Iterator[str]:
    """What has to be said of the counts of an item."""
    item, first, ledger = line.item, line.balance.first, line.book.ledger
    for before, after in ledger.recounted:
        if span.start <= after.day < span.end:
            both = " and ".join(bench.show(count.amount, item.unit) for count in (before, after))
            yield f"{item.name} was counted twice on {line.day(after.day)}, {both}: the later row stands."
    if first is not None and first.day > span.start:
        earlier = len(ledger.between(midnight(span.start), first.moment))
        if earlier:
            rows = "1 earlier row is" if earlier == 1 else f"{earlier} earlier rows are"
            day = line.day(first.day)
            yield f"{item.name} was first counted on {day}: its balance begins there, {rows} not in it."
