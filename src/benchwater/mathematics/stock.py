"""The stock of one item as a ledger of counts and movements, and its balance over a stretch of time.

The algebra of any stock (from memory): book closing = opening + what entered - what left, and what is
unaccounted for = book closing - counted closing. Uncertainties by the law of propagation, JCGM 100:2008.
"""

from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from itertools import groupby, pairwise
from math import isfinite, nan

from benchwater.mathematics.count_chain import CountChain, reconcile_counts
from benchwater.mathematics.uncertainty import combined_uncertainty


@dataclass(frozen=True, slots=True, kw_only=True)
class Movement:
    """One change of a stock by `amount` (below 0 where it left) and its standard uncertainties.

    `u` is the movement's own. `shared_u` comes from one `source` of error that every movement of that source
    has in common (the mean mass of a cavity, say): these add up before they are squared.
    """

    when: datetime
    kind: str
    amount: float
    u: float = 0.0
    source: str = ""
    shared_u: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Count:
    """A count: the day it was made, the moment it stands for, what was found and its standard uncertainty."""

    day: date
    moment: datetime
    amount: float
    u: float = 0.0


@dataclass(slots=True)
class Ledger:
    """The counts, in order of their moments, and the movements of one item.

    `recounted` are the counts that a later one of the same moment replaced, each with that later one.
    """

    counts: list[Count] = field(default_factory=list)
    movements: list[Movement] = field(default_factory=list)
    recounted: list[tuple[Count, Count]] = field(default_factory=list)
    _in_time: list[tuple[datetime, int]] = field(default_factory=list, repr=False, compare=False)

    def add_count(self, when: datetime, amount: float, u: float = 0.0) -> None:
        """A count without a time stands for the end of its day; the very first one for the start of it.

        Two counts of one moment are a count and its recount: the later one stands. So an item counted twice
        on its first day opens with one and closes that day with the other. Counts are to be added in order
        of `when`, those of a day in the order they were written.
        """
        whole_day = when.time() == time() and bool(self.counts or self.recounted)
        moment = when + timedelta(days=1) if whole_day else when
        count = Count(day=when.date(), moment=moment, amount=amount, u=u)
        at = bisect_left(self.counts, moment, key=_moment_of)
        same = slice(at, bisect_right(self.counts, moment, key=_moment_of))
        self.recounted += [(each, count) for each in self.counts[same]]
        self.counts[same] = [count]

    def last_count(self, up_to: datetime) -> Count | None:
        """The last count that stands for that moment or an earlier one."""
        behind = bisect_right(self.counts, up_to, key=_moment_of)
        return self.counts[behind - 1] if behind else None

    def between(self, start: datetime, end: datetime) -> list[Movement]:
        """The movements from `start` up to, not including, `end`, in the order they were written."""
        if len(self._in_time) != len(self.movements):
            self._in_time = sorted((move.when, index) for index, move in enumerate(self.movements))
        first, behind = (bisect_left(self._in_time, (moment, -1)) for moment in (start, end))
        return [self.movements[index] for index in sorted(index for _, index in self._in_time[first:behind])]


def _moment_of(count: Count) -> datetime:
    return count.moment


@dataclass(frozen=True, slots=True, kw_only=True)
class Balance:
    """A balance from `first` count to `last`; nan where a number cannot be known.

    `opening` is the stock at the start, or at the first count where that is later. `flows` are the amounts
    that moved from then to the end, by kind and without sign. `counted` is the last count in the stretch
    rolled forward to its end. `u`, of `unaccounted`, covers both counts and the movements `closed` between
    them: what moved before or after is in book and count alike.
    """

    opening: float
    flows: Mapping[str, float]
    book: float
    book_u: float
    counted: float
    counted_u: float
    unaccounted: float
    u: float
    first: Count | None
    last: Count | None
    closed: tuple[Movement, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Chain:
    """Successive counts of one ledger and the net flow between each two, reconciled.

    `u` are the standard uncertainties that went in, those of the counts first.
    """

    counts: tuple[Count, ...]
    flows: tuple[float, ...]
    u: tuple[float, ...]
    result: CountChain

    def gap(self, stretch: int) -> float:
        """What is unaccounted for between count `stretch` and the next: above 0 is missing."""
        return self.counts[stretch].amount + self.flows[stretch] - self.counts[stretch + 1].amount


def net_amount(movements: Iterable[Movement]) -> float:
    """The sum of the amounts, 0 without any."""
    return sum((movement.amount for movement in movements), 0.0)


def net_uncertainty(movements: Iterable[Movement], others: Sequence[float] = ()) -> float:
    """Standard uncertainty of the sum of movements and of `others`, independent standard uncertainties.

    Law of propagation with correlation 1 within a source and 0 elsewhere; GUM 5.1.2 and 5.2.2, note 1.
    """
    own = list(others)
    shared: defaultdict[str, float] = defaultdict(float)
    for movement in movements:
        own.append(movement.u)
        shared[movement.source] += movement.shared_u if movement.amount >= 0 else -movement.shared_u
    return combined_uncertainty([*own, *shared.values()])


def close_books(ledger: Ledger, start: datetime, end: datetime) -> Balance:
    """The balance of a ledger from `start` up to, not including, `end`.

    It opens with the last count that stands for `start` or earlier, rolled forward; where there is none, with
    the first count in the stretch. It is closed by the last later count made in the stretch.
    """
    counts = [count for count in ledger.counts if count.day < end.date()]
    earlier = [count for count in counts if count.moment <= start]
    first = earlier[-1] if earlier else counts[0] if counts else None
    if first is None:
        flows = _by_kind(ledger.between(start, end))
        return Balance(
            opening=nan,
            flows=flows,
            book=nan,
            book_u=nan,
            counted=nan,
            counted_u=nan,
            unaccounted=nan,
            u=nan,
            first=None,
            last=None,
            closed=(),
        )
    begin = max(start, first.moment)
    opening = first.amount + net_amount(ledger.between(first.moment, begin))
    book = opening + net_amount(ledger.between(begin, end))
    last = counts[-1] if counts[-1] is not first and counts[-1].day >= start.date() else None
    closed = ledger.between(first.moment, last.moment) if last else []
    after = ledger.between(last.moment, end) if last else []
    counted = last.amount + net_amount(after) if last else nan
    return Balance(
        opening=opening,
        flows=_by_kind(ledger.between(begin, end)),
        book=book,
        book_u=net_uncertainty(ledger.between(first.moment, end), [first.u]),
        counted=counted,
        counted_u=net_uncertainty(after, [last.u]) if last else nan,
        unaccounted=book - counted,
        u=net_uncertainty(closed, [first.u, last.u]) if last else nan,
        first=first,
        last=last,
        closed=tuple(closed),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class LowestBook:
    """The lowest stock the book shows at the end of a day, that day, and its standard uncertainty."""

    day: date
    amount: float
    u: float


def lowest_book(ledger: Ledger, start: datetime, end: datetime) -> LowestBook | None:
    """The lowest book stock from `start` up to `end`, each count setting the book right again.

    Days are taken whole, since most rows bear no time. An item never counted is followed from 0: what it
    falls below that was on hand to begin with. None where nothing moved, or an amount is not known.
    """
    counts = [count for count in ledger.counts if count.day < end.date()]
    moments = [count.moment for count in counts] or [datetime.min]
    bases = [(count.amount, count.u) for count in counts] or [(0.0, 0.0)]
    lowest: tuple[float, date, list[Movement], int, float] | None = None
    for (amount, u), begin, stop in zip(bases, moments, [*moments[1:], end], strict=True):
        net, passed = 0.0, 0
        between = sorted(ledger.between(begin, stop), key=lambda movement: movement.when.date())
        for day, moved in groupby(between, key=lambda movement: movement.when.date()):
            for movement in moved:
                net, passed = net + movement.amount, passed + 1
            if not isfinite(amount + net):
                return None
            if day >= start.date() and (lowest is None or amount + net < lowest[0]):
                lowest = amount + net, day, between, passed, u
    if lowest is None:
        return None
    book, day, moves, passed, base_u = lowest
    return LowestBook(day=day, amount=book, u=net_uncertainty(moves[:passed], [base_u]))


def chain_counts(
    ledger: Ledger, since: datetime, *, least_u: float, significance: float = 0.01
) -> Chain | None:
    """The chain of all counts that stand for `since` or later; None with fewer than 3, or an unknown flow.

    No flow is taken as surer than `least_u`, nor any count that states nothing: else what moved without a
    row in a stretch of no rows could only be blamed on the counts.
    """
    counts = [count for count in ledger.counts if count.moment >= since]
    stretches = [ledger.between(before.moment, after.moment) for before, after in pairwise(counts)]
    flows = [net_amount(stretch) for stretch in stretches]
    if len(counts) < 3 or not all(isfinite(flow) for flow in flows):
        return None
    count_u = [count.u or least_u for count in counts]
    flow_u = [max(net_uncertainty(stretch), least_u) for stretch in stretches]
    amounts = [count.amount for count in counts]
    return Chain(
        counts=tuple(counts),
        flows=tuple(flows),
        u=(*count_u, *flow_u),
        result=reconcile_counts(amounts, count_u, flows, flow_u, significance=significance),
    )


def _by_kind(movements: Iterable[Movement]) -> dict[str, float]:
    flows: defaultdict[str, float] = defaultdict(float)
    for movement in movements:
        flows[movement.kind] += abs(movement.amount)
    return dict(flows)
