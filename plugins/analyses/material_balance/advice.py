"""What to do: look again at a count, look for what left, keep a log, weigh castings."""

from collections.abc import Iterator, Sequence

from benchwater.ledger import midnight
from benchwater.ledger.casting_masses import FEWEST_WEIGHED
from benchwater.ledger.prices import unit_prices
from benchwater.ledger.stock import Count
from benchwater.ledger.stock_books import NOMINAL
from benchwater.plugin import Action, Bench, Season

from .blame import Blame
from .lines import UNLOGGED, K, Line, both_units, margin
from .slips import slip_words


def advice(line: Line, season: Season, told: bool) -> Iterator[Action]:
    """`told` where the chain of counts is reported, and with it the counts it blames."""
    bench, item, balance = season.bench, line.item, line.balance
    certain = [each for each in line.blames if len(each) == 1 or all(b.slip is not None for b in each)]
    blamed = [(blame, blame.count) for each in certain for blame in each if blame.count is not None]
    for blame, count in blamed if told else ():
        yield _look_again(line, blame, count, bench)
    if line.verdict == "not counted":
        return
    counts = [count for _, count in blamed]
    off = line.verdict in {"missing", "surplus"}
    if off and not line.slips and balance.first not in counts and balance.last not in counts:
        yield _search(line, season)
    shared = balance.closed.shared_by_source(signed=False).items()
    nominal = {source.removeprefix(NOMINAL): u for source, u in shared if source.startswith(NOMINAL)}
    worst = max(nominal, key=lambda source: nominal[source], default="")
    if worst and nominal[worst] ** 2 > balance.u**2 / 2:
        yield Action(
            id=f"weigh-castings-{item.name}",
            text=f"Weigh {FEWEST_WEIGHED} or more good castings of {worst} and log their mass.",
            because=f"Its nominal mass makes most of the {margin(K * balance.u, item.unit, bench)} that the "
            f"balance of {item.name} leaves open.",
        )


def _look_again(line: Line, blame: Blame, count: Count, bench: Bench) -> Action:
    item, because = line.item, "Without this one count the others agree with the rows between them."
    if blame.slip is not None:
        because = f"It looks {slip_words(item, blame, bench)}; with that put right the rest agrees."
    return Action(
        id=f"recount-{item.name}-{count.day}",
        text=f"Look again at the count of {item.name} of {line.day(count.day)}: the row says "
        f"{bench.show(count.amount, item.unit)}.",
        because=because,
    )


def keep_logs(lines: Sequence[Line], bench: Bench) -> Iterator[Action]:
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
                again = f" Or its count of {line.day(first.day)} was off."
    amount, day = both_units(abs(balance.unaccounted), item, bench), line.day
    amount = f"{amount} {item.name}" if item.unit == "pieces" else f"{amount} of {item.name}"
    when = f"without a row between {day(first.day)} and {day(last.day)}"
    room = f"the rows leave room for {margin(K * balance.u, item.unit, bench)}"
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
