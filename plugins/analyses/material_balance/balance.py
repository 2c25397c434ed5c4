"""The balance of one item: its counts and movements, the book between two counts, and the chain of them all.

The algebra of any stock (from memory): book closing = opening + what entered - what left, and what is
unaccounted for = book closing - counted closing. Uncertainties by the law of propagation, JCGM 100:2008.
"""

from bisect import bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from functools import cached_property
from itertools import pairwise
from math import isfinite, nan, sqrt
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from benchwater.ledger import computed_once, rows_by, sum_in_order
from benchwater.ledger.stock import stock_counts, stock_movements
from benchwater.plugin import Item, Season
from benchwater.statistics.uncertainty import combined_uncertainty

if TYPE_CHECKING:
    import pandas as pd

FloatArray = NDArray[np.float64]
K = 2.0
MOST_ERRORS = 2
_SAME_SIZE = 1 - 1e-8


@dataclass(frozen=True, slots=True, kw_only=True)
class Count:
    """A count: the day it was made, the moment it stands for, what was found and its standard uncertainty."""

    day: date
    moment: datetime
    amount: float
    u: float


@dataclass(frozen=True, slots=True, eq=False)
class Movements:
    """Movements of one item as arrays (n,), the columns of `stock_movements`.

    `kind` and `source` are codes into `kinds` and `sources`.
    """

    when: NDArray[np.datetime64]
    kind: NDArray[np.integer[Any]]
    amount: FloatArray
    u: FloatArray
    source: NDArray[np.integer[Any]]
    shared_u: FloatArray
    kinds: tuple[str, ...]
    sources: tuple[str, ...]

    def __len__(self) -> int:
        """How many there are."""
        return len(self.when)

    def take(self, rows: "NDArray[Any] | slice") -> "Movements":
        """Some of the movements, in the order of `rows`."""
        columns = ("when", "kind", "amount", "u", "source", "shared_u")
        return replace(self, **{name: getattr(self, name)[rows] for name in columns})

    def of_kind(self, *kinds: str) -> "Movements":
        """The movements of some kinds."""
        wanted = np.array([name in kinds for name in self.kinds], dtype=bool)
        return self.take(wanted[self.kind])

    def by_kind(self) -> dict[str, float]:
        """What moved of each kind that occurs, without sign."""
        return _sums(self.kind, np.abs(self.amount), self.kinds)

    def shared_by_source(self, *, signed: bool = True) -> dict[str, float]:
        """The shared uncertainty of each source that occurs; below 0 where it left, unless not `signed`."""
        shared = np.where(self.amount >= 0, self.shared_u, -self.shared_u) if signed else self.shared_u
        return _sums(self.source, shared, self.sources)

    @property
    def net(self) -> float:
        """The sum of the amounts, 0 without any."""
        return sum_in_order(self.amount)

    def uncertainty(self, *others: float) -> float:
        """Standard uncertainty of `net`, and of `others`, independent standard uncertainties.

        Law of propagation with correlation 1 within a source and 0 elsewhere; GUM 5.1.2 and 5.2.2, note 1.
        """
        shared = list(self.shared_by_source().values())
        return combined_uncertainty(np.concatenate([list(others), self.u, shared]))


def _sums(codes: NDArray[np.integer[Any]], values: FloatArray, names: Sequence[str]) -> dict[str, float]:
    sums, occurs = (np.bincount(codes, weights, len(names)) for weights in (values, None))
    return {name: float(total) for name, total, n in zip(names, sums, occurs, strict=True) if n}


@dataclass(frozen=True)
class Book:
    """The movements of one item as logged, and its counts in order of their moments.

    `recounted` are the counts that a later one of the same moment replaced with another amount, each with
    that later one.
    """

    item: Item
    movements: Movements
    counts: tuple[Count, ...] = ()
    recounted: tuple[tuple[Count, Count], ...] = ()

    def between(self, start: datetime, end: datetime) -> Movements:
        """The movements from `start` up to, not including, `end`, as logged."""
        return self.movements.take(np.sort(self._rows_between(start, end)))

    def known_between(self, start: datetime, end: datetime) -> bool:
        """Whether the amount of every movement from `start` up to, not including, `end` is known."""
        return bool(np.isfinite(self.movements.amount[self._rows_between(start, end)]).all())

    @cached_property
    def _in_time(self) -> NDArray[np.int64]:
        return np.argsort(self.movements.when, kind="stable")

    @cached_property
    def _times(self) -> NDArray[np.datetime64]:
        return self.movements.when[self._in_time]

    def _rows_between(self, start: datetime, end: datetime) -> NDArray[np.int64]:
        first, behind = np.searchsorted(self._times, np.array([start, end], dtype=self._times.dtype))
        return self._in_time[first:behind]


@computed_once
def books_of(season: Season) -> tuple[Book, ...]:
    """The book of every item of the bench that was counted or moved."""
    moved, counts = stock_movements(season), stock_counts(season)
    movements, of_item, counted = movements_of(moved), rows_by(moved, "item"), rows_by(counts, "item")
    books = []
    for name, item in season.bench.items.items():
        if item.use_known and (name in of_item or name in counted):
            rows = counts.iloc[counted.get(name, slice(0))]
            own = movements.take(of_item.get(name, slice(0)))
            books.append(Book(item, own, *counts_of(rows)))
    return tuple(books)


def movements_of(table: "pd.DataFrame") -> Movements:
    """Rows of `stock_movements` as arrays."""
    kind, source = table["kind"].cat, table["source"].cat
    return Movements(
        when=table["date"].to_numpy(dtype="datetime64[us]"),
        kind=kind.codes.to_numpy(),
        amount=table["amount"].to_numpy(),
        u=table["u"].to_numpy(),
        source=source.codes.to_numpy(),
        shared_u=table["shared_u"].to_numpy(),
        kinds=tuple(kind.categories),
        sources=tuple(source.categories),
    )


def counts_of(table: "pd.DataFrame") -> tuple[tuple[Count, ...], tuple[tuple[Count, Count], ...]]:
    """Of rows of `stock_counts` of one item: the counts that stand, and each replaced one with the next."""
    days = table["date"].to_numpy(dtype="datetime64[D]").tolist()
    moments = table["moment"].to_numpy(dtype="datetime64[us]").tolist()
    found = zip(days, moments, table["amount"].tolist(), table["u"].tolist(), strict=True)
    counts = [Count(day=day, moment=moment, amount=amount, u=u) for day, moment, amount, u in found]
    replaced = table["replaced"].tolist()
    again = [pair for pair, old in zip(pairwise(counts), replaced, strict=False) if old]
    standing = tuple(count for count, old in zip(counts, replaced, strict=True) if not old)
    return standing, tuple((old, new) for old, new in again if old.amount != new.amount)


@dataclass(frozen=True, slots=True, kw_only=True)
class Balance:
    """A balance from `first` count to `last`; nan where a number cannot be known.

    `opening` is the stock at the start, or at the first count where that is later. `flows` are the amounts
    that moved from then to the end, by kind and without sign. `counted` is the last count in the stretch
    rolled forward to its end. `u`, of `unaccounted`, covers both counts and the movements `closed` between
    them: what moved before or after is in book and count alike. `winter` is the last count before the season
    where the balance begins with a later one.
    """

    flows: Mapping[str, float]
    closed: Movements
    opening: float = nan
    book: float = nan
    book_u: float = nan
    counted: float = nan
    counted_u: float = nan
    unaccounted: float = nan
    u: float = nan
    first: Count | None = None
    last: Count | None = None
    winter: Count | None = None


def close_book(book: Book, start: datetime, end: datetime, opens: datetime = datetime.min) -> Balance:
    """The balance of an item from `start` up to, not including, `end`, in a season that `opens` then.

    It opens with the last count that stands for `start` or earlier, rolled forward; where there is none, with
    the first count in the stretch. What differs between a count before the season and the next one is no loss
    to look for: where there is a later count, the balance opens with that. It is closed by the last later
    count made in the stretch.
    """
    counts = [count for count in book.counts if count.day < end.date()]
    earlier = [count for count in counts if count.moment <= start]
    nothing = book.movements.take(slice(0))
    if not counts:
        return Balance(flows=book.between(start, end).by_kind(), closed=nothing)
    first, winter = earlier[-1] if earlier else counts[0], None
    if first.moment < opens and first is not counts[-1]:
        first, winter = counts[counts.index(first) + 1], first
    begin = max(start, first.moment)
    opening = first.amount + book.between(first.moment, begin).net
    moved = book.between(begin, end)
    closing = opening + moved.net
    opened = Balance(
        opening=opening,
        flows=moved.by_kind(),
        book=closing,
        book_u=book.between(first.moment, end).uncertainty(first.u),
        first=first,
        closed=nothing,
        winter=winter,
    )
    last = counts[-1]
    if last is first or last.day < start.date():
        return opened
    closed, after = book.between(first.moment, last.moment), book.between(last.moment, end)
    counted = last.amount + after.net
    return replace(
        opened,
        counted=counted,
        counted_u=after.uncertainty(last.u),
        unaccounted=closing - counted,
        u=closed.uncertainty(first.u, last.u),
        last=last,
        closed=closed,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class LowestBook:
    """The lowest stock the book shows at the end of a day, that day, and its standard uncertainty."""

    day: date
    amount: float
    u: float


def lowest_book(book: Book, start: datetime, end: datetime) -> LowestBook | None:
    """The lowest book stock from `start` up to `end`, each count setting the book right again.

    Days are taken whole, since most rows bear no time. An item never counted is followed from 0: what it
    falls below that was on hand to begin with. None where nothing moved, or an amount is not known.
    """
    counts = [count for count in book.counts if count.day < end.date()]
    moments = [count.moment for count in counts] or [datetime.min]
    bases = [(count.amount, count.u) for count in counts] or [(0.0, 0.0)]
    if not book.known_between(moments[0], end):
        return None
    seen_from = max(bisect_right(moments, start) - 1, 0)
    moments, bases = moments[seen_from:], bases[seen_from:]
    moved, days, ends = _by_stretch(book, [*moments, end])
    closes = np.append(days[1:] != days[:-1], True)[: len(days)]
    closes[ends[1:][np.diff(ends) > 0] - 1] = True
    day_ends = closes & (days >= np.datetime64(start.date()))
    lowest: tuple[float, int, int] | None = None
    for stretch in np.unique(np.searchsorted(ends, np.flatnonzero(day_ends), side="right") - 1).tolist():
        begin, stop = ends[stretch : stretch + 2].tolist()
        levels = bases[stretch][0] + np.cumsum(moved.amount[begin:stop])
        ended = np.flatnonzero(day_ends[begin:stop])
        at = int(ended[np.argmin(levels[ended])])
        if lowest is None or levels[at] < lowest[0]:
            lowest = float(levels[at]), stretch, at
    if lowest is None:
        return None
    found, stretch, at = lowest
    begin = int(ends[stretch])
    passed = moved.take(slice(begin, begin + at + 1))
    day: date = days[begin + at].item()
    return LowestBook(day=day, amount=found, u=passed.uncertainty(bases[stretch][1]))


def _by_stretch(
    book: Book, moments: Sequence[datetime]
) -> tuple[Movements, NDArray[np.datetime64], NDArray[np.int64]]:
    """The movements from the first of these moments to before the last, by stretch, and the day of each.

    A stretch begins at each moment but the last; its movements lie between two of the ends, by day, and on
    each day as they were written.
    """
    moved = book.between(moments[0], moments[-1])
    days = moved.when.astype("datetime64[D]")
    stretch = np.searchsorted(np.array(moments, dtype=moved.when.dtype), moved.when, side="right") - 1
    order = np.lexsort((days, stretch))
    ends = np.searchsorted(stretch[order], np.arange(len(moments)))
    return moved.take(order), days[order], ends


@dataclass(frozen=True, slots=True, kw_only=True)
class Reconciliation:
    """Reconciled measurements (n,), their covariance (n, n), and the tests.

    `adjustment` is reconciled - measured. `statistic` is the global chi-square on `degrees_of_freedom`, its
    `p_value` 1 without any. `measurement_z` (n,) is absolute, nan where a quantity is in no balance.
    """

    reconciled: FloatArray
    covariance: FloatArray
    adjustment: FloatArray
    statistic: float
    degrees_of_freedom: int
    p_value: float
    measurement_z: FloatArray


def reconcile(measured: ArrayLike, variance: ArrayLike, balances: ArrayLike) -> Reconciliation:
    """Change `measured` (n,) as little as possible so that `balances` (k, n) @ x equals 0.

    Squared changes weigh 1/`variance` (n,), all above 0; no balance may follow from the others. Narasimhan
    and Jordache 2000, Data Reconciliation and Gross Error Detection, chapters 3 and 7; global test Reilly and
    Carpani 1963; measurement test Mah and Tamhane 1982, AIChE Journal 28:828-830 (all from memory).
    """
    from scipy.special import chdtrc

    y, v, a = (np.asarray(each, dtype=np.float64) for each in (measured, variance, balances))
    shared = a * v
    solved = np.linalg.solve(shared @ a.T, np.column_stack([a @ y, shared]))
    adjustment, removed = -shared.T @ solved[:, 0], shared.T @ solved[:, 1:]
    deviation = np.sqrt(np.where(a.any(axis=0), np.diag(removed), np.nan))
    statistic = float(a @ y @ solved[:, 0])
    return Reconciliation(
        reconciled=y + adjustment,
        covariance=np.diag(v) - removed,
        adjustment=adjustment,
        statistic=statistic,
        degrees_of_freedom=len(a),
        p_value=float(chdtrc(float(len(a)), statistic)) if len(a) else 1.0,
        measurement_z=np.abs(adjustment) / deviation,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class CountChain:
    """m + 1 counts and the m net flows between them, reconciled.

    Quantities are numbered counts first: i is count i, m + 1 + i the flow from count i to count i + 1.
    `suspects` names the likeliest gross errors, worst first; a suspect is several quantities where the chain
    cannot tell them apart. It is empty where the chain agrees, and where no few errors explain it.
    `implied` has the shape of `suspects`: what the rest of the chain says that each quantity is, and the
    standard uncertainty of that, were it the wrong one.
    """

    reconciliation: Reconciliation
    agrees: bool
    suspects: tuple[tuple[int, ...], ...]
    implied: tuple[tuple[tuple[float, float], ...], ...]


def reconcile_counts(
    counts: ArrayLike,
    count_u: ArrayLike,
    flows: ArrayLike,
    flow_u: ArrayLike,
    *,
    significance: float,
) -> CountChain:
    """Reconcile `counts` (m + 1,) and net `flows` (m,) so that each count plus the flow is the next count.

    `count_u` and `flow_u` are their standard uncertainties. Where the global chi-square test rejects at
    `significance`, the quantity with the largest measurement test is taken as unmeasured and the rest tested
    again, at most `MOST_ERRORS` times (serial elimination: Ripps 1965; Narasimhan and Jordache 2000, Data
    Reconciliation and Gross Error Detection, chapter 8; from memory). What was eliminated is suspect only if
    the rest then agrees with at least one degree of freedom left.
    """
    measured, variance = np.concatenate([counts, flows]), np.concatenate([count_u, flow_u]) ** 2
    m = np.size(flows)
    balances = _balances(m)
    whole = rest = reconcile(measured, variance, balances)
    suspects: list[tuple[int, ...]] = []
    while rest.p_value < significance and len(suspects) < MOST_ERRORS:
        z = np.nan_to_num(rest.measurement_z)
        suspects.append(tuple(int(i) for i in np.flatnonzero(z >= z.max() * _SAME_SIZE)))
        balances = _without(balances, suspects[-1][0])
        rest = reconcile(measured, variance, balances)
    explained = rest.p_value >= significance and rest.degrees_of_freedom > 0
    named = _each_in_one_group(suspects) if explained else ()
    return CountChain(
        reconciliation=whole,
        agrees=whole.p_value >= significance,
        suspects=named,
        implied=tuple(
            tuple(_implied(measured, variance, m, quantity, named, place) for quantity in suspect)
            for place, suspect in enumerate(named)
        ),
    )


def _each_in_one_group(suspects: Sequence[tuple[int, ...]]) -> tuple[tuple[int, ...], ...]:
    """The groups, each without what a later one names; what was eliminated stands in its own group alone."""
    later = [{i for group in suspects[place + 1 :] for i in group} for place in range(len(suspects))]
    return tuple(
        tuple(i for i in group if i not in named) for group, named in zip(suspects, later, strict=True)
    )


def _balances(m: int) -> FloatArray:
    """One row a stretch: count + flow - next count = 0."""
    return np.hstack([np.eye(m, m + 1) - np.eye(m, m + 1, 1), np.eye(m)])


def _implied(
    measured: FloatArray,
    variance: FloatArray,
    m: int,
    quantity: int,
    suspects: tuple[tuple[int, ...], ...],
    place: int,
) -> tuple[float, float]:
    """What all but the suspects say that a quantity is, and the standard uncertainty of that.

    A measurement left out changes by its adjustment over the share of its variance that was removed.
    """
    rest = _balances(m)
    for suspect in (*suspects[:place], *suspects[place + 1 :]):
        rest = _without(rest, suspect[0])
    found, v = reconcile(measured, variance, rest), variance[quantity]
    removed = v - found.covariance[quantity, quantity]
    value = measured[quantity] + found.adjustment[quantity] * v / removed
    return float(value), sqrt(max(0.0, v * v / removed - v))


def _without(balances: FloatArray, quantity: int) -> FloatArray:
    """The balances that remain when a quantity is not measured: one of its own solves the others for it."""
    column = balances[:, quantity]
    pivot = int(np.flatnonzero(column)[0])
    solved = balances - np.outer(column / column[pivot], balances[pivot])
    return np.delete(solved, pivot, axis=0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Chain:
    """Successive counts of one item and the net flow between each two, reconciled.

    `u` are the standard uncertainties that went in, those of the counts first.
    """

    counts: tuple[Count, ...]
    flows: tuple[float, ...]
    u: tuple[float, ...]
    result: CountChain

    def gap(self, stretch: int) -> float:
        """What is unaccounted for between count `stretch` and the next: above 0 is missing."""
        return self.counts[stretch].amount + self.flows[stretch] - self.counts[stretch + 1].amount


def chain_counts(book: Book, since: datetime, *, least_u: float, significance: float) -> Chain | None:
    """The chain of all counts that stand for `since` or later; None with fewer than 3, or an unknown flow.

    No flow is taken as surer than `least_u`, nor any count that states nothing: else what moved without a
    row in a stretch of no rows could only be blamed on the counts.
    """
    counts = [count for count in book.counts if count.moment >= since]
    stretches = [book.between(before.moment, after.moment) for before, after in pairwise(counts)]
    flows = [stretch.net for stretch in stretches]
    if len(counts) < 3 or not all(isfinite(flow) for flow in flows):
        return None
    count_u = [count.u or least_u for count in counts]
    flow_u = [max(stretch.uncertainty(), least_u) for stretch in stretches]
    amounts = [count.amount for count in counts]
    return Chain(
        counts=tuple(counts),
        flows=tuple(flows),
        u=(*count_u, *flow_u),
        result=reconcile_counts(amounts, count_u, flows, flow_u, significance=significance),
    )
