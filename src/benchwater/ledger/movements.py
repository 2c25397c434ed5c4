"""Changes of a stock as columns: what moved when, why, how much, and how sure that is."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from benchwater.ledger import sum_in_order
from benchwater.statistics.uncertainty import combined_uncertainty

FloatArray = NDArray[np.float64]
Codes = NDArray[np.int32]
Moments = NDArray[np.datetime64]
Rows = NDArray[Any] | slice


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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Movements:
    """The movements of one stock as columns (n,), in the order they were written; see `Movement`.

    `kind` and `source` are places in `kinds` and `sources`.
    """

    when: Moments
    kind: Codes
    amount: FloatArray
    u: FloatArray
    source: Codes
    shared_u: FloatArray
    kinds: tuple[str, ...]
    sources: tuple[str, ...]

    def __len__(self) -> int:
        """How many there are."""
        return len(self.when)

    def __iter__(self) -> Iterator[Movement]:
        """One by one."""
        columns = (self.when, self.kind, self.amount, self.u, self.source, self.shared_u)
        for when, kind, amount, u, source, shared_u in zip(*(c.tolist() for c in columns), strict=True):
            yield Movement(
                when=when,
                kind=self.kinds[kind],
                amount=amount,
                u=u,
                source=self.sources[source],
                shared_u=shared_u,
            )

    @classmethod
    def none(cls) -> "Movements":
        """No movement."""
        return cls.alike("", np.zeros(0, dtype="datetime64[us]"), [])

    @classmethod
    def alike(
        cls,
        kind: str,
        when: Moments,
        amount: ArrayLike,
        *,
        u: ArrayLike = 0.0,
        source: str = "",
        shared_u: ArrayLike = 0.0,
    ) -> "Movements":
        """Movements of one kind and source, one a moment; what is not an array (n,) holds for all of them."""

        def column(values: ArrayLike) -> FloatArray:
            return np.broadcast_to(np.asarray(values, dtype=np.float64), when.shape)

        nothing = np.zeros(when.shape, dtype=np.int32)
        return cls(
            when=when.astype("datetime64[us]", copy=False),
            kind=nothing,
            amount=column(amount),
            u=column(u),
            source=nothing,
            shared_u=column(shared_u),
            kinds=(kind,),
            sources=(source,),
        )

    @classmethod
    def of(cls, movements: Iterable[Movement]) -> "Movements":
        """Single movements as columns."""
        parts = [
            cls.alike(
                each.kind,
                np.array([each.when], dtype="datetime64[us]"),
                each.amount,
                u=each.u,
                source=each.source,
                shared_u=each.shared_u,
            )
            for each in movements
        ]
        return joined(parts)

    def take(self, rows: Rows) -> "Movements":
        """Some of them, in that order."""
        return Movements(
            when=self.when[rows],
            kind=self.kind[rows],
            amount=self.amount[rows],
            u=self.u[rows],
            source=self.source[rows],
            shared_u=self.shared_u[rows],
            kinds=self.kinds,
            sources=self.sources,
        )

    def of_kind(self, *kinds: str) -> "Movements":
        """Those of some kinds."""
        wanted = np.array([name in kinds for name in self.kinds], dtype=bool)
        return self.take(wanted[self.kind])

    def by_kind(self) -> dict[str, float]:
        """What moved of each kind that occurs, without sign."""
        size = len(self.kinds)
        sums = np.bincount(self.kind, np.abs(self.amount), minlength=size)
        occurs = np.bincount(self.kind, minlength=size)
        return {name: float(total) for name, total, n in zip(self.kinds, sums, occurs, strict=True) if n}

    def shared_by_source(self, *, signed: bool = True) -> dict[str, float]:
        """The shared uncertainty of each source that occurs; below 0 where it left, unless not `signed`."""
        size = len(self.sources)
        shared = np.where(self.amount >= 0, self.shared_u, -self.shared_u) if signed else self.shared_u
        sums = np.bincount(self.source, shared, minlength=size)
        occurs = np.bincount(self.source, minlength=size)
        return {name: float(total) for name, total, n in zip(self.sources, sums, occurs, strict=True) if n}


def joined(parts: Sequence[Movements]) -> Movements:
    """Movements one after the other."""
    if not parts:
        return Movements.none()
    kinds = {name: code for code, name in enumerate(dict.fromkeys(n for part in parts for n in part.kinds))}
    sources = dict.fromkeys(name for part in parts for name in part.sources)
    places = {name: code for code, name in enumerate(sources)}

    def codes(part_codes: Codes, names: Sequence[str], known: dict[str, int]) -> Codes:
        return np.array([known[name] for name in names], dtype=np.int32)[part_codes]

    return Movements(
        when=np.concatenate([part.when for part in parts]),
        kind=np.concatenate([codes(part.kind, part.kinds, kinds) for part in parts]),
        amount=np.concatenate([part.amount for part in parts]),
        u=np.concatenate([part.u for part in parts]),
        source=np.concatenate([codes(part.source, part.sources, places) for part in parts]),
        shared_u=np.concatenate([part.shared_u for part in parts]),
        kinds=tuple(kinds),
        sources=tuple(sources),
    )


def net_amount(movements: Movements) -> float:
    """The sum of the amounts, 0 without any."""
    return sum_in_order(movements.amount)


def net_uncertainty(movements: Movements, others: Sequence[float] = ()) -> float:
    """Standard uncertainty of the sum of movements and of `others`, independent standard uncertainties.

    Law of propagation with correlation 1 within a source and 0 elsewhere; GUM 5.1.2 and 5.2.2, note 1.
    """
    shared = list(movements.shared_by_source().values())
    return combined_uncertainty(np.concatenate([list(others), movements.u, shared]))
