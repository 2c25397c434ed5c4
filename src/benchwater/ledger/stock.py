"""The stock of one item as a ledger of counts and movements, and its balance over a stretch of time.

The algebra of any stock (from memory): book closing = opening + what entered - what left, and what is
unaccounted for = book closing - counted closing. Uncertainties by the law of propagation, JCGM 100:2008.
"""

from bisect import bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from itertools import pairwise
from math import isfinite, nan
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from benchwater.ledger.count_chain import CountChain, reconcile_counts
from benchwater.ledger.movements import Moments, Movements, net_amount, net_uncertainty


@dataclass(frozen=True, slots=True, kw_only=True)
class Count:
    """A count: the day it was made, the moment it stands for, what was found and its standard uncertainty."""

    day: date
    moment: datetime
    amount: float
    u: float = 0.0


_NO_COUNTS = (np.zeros(0, dtype="datetime64[us]"), np.zeros(0), np.zeros(0))


@dataclass(slots=True)
class Ledger:
    """The counts, in order of their moments, and the movements of one item.

    `recounted` are the counts that a later one of the same moment replaced with another amount, each with
    that later one.
    """

    movements: Movements = field(default_factory=Movements.none)
    counts: list[Count] = field(default_factory=list, init=False)
    recounted: list[tuple[Count, Count]] = field(default_factory=list, init=False)
    _counted: tuple[NDArray[Any], ...] = field(default=_NO_COUNTS, init=False, repr=False, compare=False)
    _in_time: tuple[Moments, NDArray[np.int64]] | None = field(
        default=None, init=False, repr=False, compare=False
    )

    def add_count(self, when: datetime, amount: float, u: float = 0.0) -> None:
        """One more count; see `add_counts`."""
        self.add_counts(np.array([when], dtype="datetime64[us]"), [amount], [u])

    def add_counts(self, when: Moments, amount: ArrayLike, u: ArrayLike) -> None:
        """More counts, arrays (k,): when each was made, what was found, and its standard uncertainty.

        A count without a time stands for the end of its day; the very first one for the start of it. Two
        counts of one moment are a count and its recount: the later one stands. So an item counted twice on
        its first day opens with one and closes that day with the other. Counts are to be added in order of
        `when`, those of a day in the order they were written.
        """
        more = when, *(np.asarray(values, dtype=np.float64) for values in (amount, u))
        self._counted = tuple(np.concatenate(pair) for pair in zip(self._counted, more, strict=True))
        whens, amounts, us = self._counted
        days = whens.astype("datetime64[D]")
        whole_day = whens == days
        whole_day[:1] = False
        moments = whens + whole_day.astype("timedelta64[D]")

        def count(row: int) -> Count:
            return Count(
                day=days[row].item(), moment=moments[row].item(), amount=float(amounts[row]), u=float(us[row])
            )

        order = np.argsort(moments, kind="stable")
        before, after = order[:-1], order[1:]
        again = moments[before] == moments[after]
        changed = again & (amounts[before] != amounts[after])
        pairs = sorted(zip(after[changed].tolist(), before[changed].tolist(), strict=True))
        self.recounted = [(count(old), count(new)) for new, old in pairs]
        self.counts = [count(row) for row in np.append(before[~again], order[-1:]).tolist()]

    def last_count(self, up_to: datetime) -> Count | None:
        """The last count that stands for that moment or an earlier one."""
        behind = bisect_right(self.counts, up_to, key=_moment_of)
        return self.counts[behind - 1] if behind else None

    def between(self, start: datetime, end: datetime) -> Movements:
        """The movements from `start` up to, not including, `end`, in the order they were written."""
        return self.movements.take(np.sort(self._rows_between(start, end)))

    def known_between(self, start: datetime, end: datetime) -> bool:
        """Whether the amount of every movement from `start` up to, not including, `end` is known."""
        return bool(np.isfinite(self.movements.amount[self._rows_between(start, end)]).all())

    def _rows_between(self, start: datetime, end: datetime) -> NDArray[np.int64]:
        if self._in_time is None or len(self._in_time[0]) != len(self.movements):
            order = np.argsort(self.movements.when, kind="stable")
            self._in_time = self.movements.when[order], order
        moments, order = self._in_time
        first, behind = np.searchsorted(moments, np.array([start, end], dtype=moments.dtype))
        return order[first:behind]


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
    closed: Movements


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


def close_books(ledger: Ledger, start: datetime, end: datetime) -> Balance:
    """The balance of a ledger from `start` up to, not including, `end`.

    It opens with the last count that stands for `start` or earlier, rolled forward; where there is none, with
    the first count in the stretch. It is closed by the last later count made in the stretch.
    """
    counts = [count for count in ledger.counts if count.day < end.date()]
    earlier = [count for count in counts if count.moment <= start]
    first = earlier[-1] if earlier else counts[0] if counts else None
    if first is None:
        flows = ledger.between(start, end).by_kind()
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
            closed=Movements.none(),
        )
    begin = max(start, first.moment)
    opening = first.amount + net_amount(ledger.between(first.moment, begin))
    moved = ledger.between(begin, end)
    book = opening + net_amount(moved)
    last = counts[-1] if counts[-1] is not first and counts[-1].day >= start.date() else None
    closed = ledger.between(first.moment, last.moment) if last else Movements.none()
    after = ledger.between(last.moment, end) if last else Movements.none()
    counted = last.amount + net_amount(after) if last else nan
    return Balance(
        opening=opening,
        flows=moved.by_kind(),
        book=book,
        book_u=net_uncertainty(ledger.between(first.moment, end), [first.u]),
        counted=counted,
        counted_u=net_uncertainty(after, [last.u]) if last else nan,
        unaccounted=book - counted,
        u=net_uncertainty(closed, [first.u, last.u]) if last else nan,
        first=first,
        last=last,
        closed=closed,
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
    if not ledger.known_between(moments[0], end):
        return None
    seen_from = max(bisect_right(moments, start) - 1, 0)
    moments, bases = moments[seen_from:], bases[seen_from:]
    moved, days, ends = _by_stretch(ledger, [*moments, end])
    closes = np.append(days[1:] != days[:-1], True)[: len(days)]
    closes[ends[1:][np.diff(ends) > 0] - 1] = True
    told = closes & (days >= np.datetime64(start.date()))
    lowest: tuple[float, int, int] | None = None
    for stretch in np.unique(np.searchsorted(ends, np.flatnonzero(told), side="right") - 1).tolist():
        begin, stop = ends[stretch : stretch + 2].tolist()
        book = bases[stretch][0] + np.cumsum(moved.amount[begin:stop])
        seen = np.flatnonzero(told[begin:stop])
        at = int(seen[np.argmin(book[seen])])
        if not isfinite(book[at]):
            return None
        if lowest is None or book[at] < lowest[0]:
            lowest = float(book[at]), stretch, at
    if lowest is None:
        return None
    found, stretch, at = lowest
    begin = int(ends[stretch])
    passed = moved.take(slice(begin, begin + at + 1))
    day: date = days[begin + at].item()
    return LowestBook(day=day, amount=found, u=net_uncertainty(passed, [bases[stretch][1]]))


def _by_stretch(
    ledger: Ledger, moments: Sequence[datetime]
) -> tuple[Movements, NDArray[np.datetime64], NDArray[np.int64]]:
    """The movements from the first of these moments to before the last, by stretch, and the day of each.

    A stretch begins at each moment but the last; its movements lie between two of the ends, by day, and on
    each day as they were written.
    """
    moved = ledger.between(moments[0], moments[-1])
    days = moved.when.astype("datetime64[D]")
    stretch = np.searchsorted(np.array(moments, dtype=moved.when.dtype), moved.when, side="right") - 1
    order = np.lexsort((days, stretch))
    ends = np.searchsorted(stretch[order], np.arange(len(moments)))
    return moved.take(order), days[order], ends


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
