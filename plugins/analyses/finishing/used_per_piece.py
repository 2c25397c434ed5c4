"""The amount that one piece took out of a stock that was counted before and after."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import ArrayLike, NDArray

from benchwater.statistics.interval import Interval
from benchwater.statistics.uncertainty import combined_uncertainty

COUNTED = "counted"
GAINED = ("received", "recovered")
LOST = "discarded"
COVERAGE = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class UsedPerPiece:
    """`used` of a stock between the counts of two days, by `pieces` of the batches `meanwhile` (a mask)."""

    opened: date
    closed: date
    used: float
    pieces: int
    each: Interval
    meanwhile: NDArray[np.bool_]


def used_per_piece(
    days: Sequence[date],
    moves: Sequence[str],
    amounts: ArrayLike,
    uncertainties: ArrayLike,
    batch_days: Sequence[date],
    batch_pieces: ArrayLike,
    *,
    start: date,
    end: date,
) -> UsedPerPiece | None:
    """Returns the loss of a stock from a count up to `start` to the last one before `end`, over the pieces.

    Stock rows (k,) and batches (b,) are in order of time; stock rows are of one item, `uncertainties` their
    standard uncertainties. used = opening + received + recovered - discarded - closing: what went onto
    pieces or vanished. Without a count up to `start` the first one in the span opens. A count on `start`
    itself comes before that day's batches, any other after its day's. The lower limit is not held above 0.

    The expanded uncertainty is twice the combined one, about 95 %: GUM 5.1.2 and 6.2.1 (JCGM 100:2008,
    from memory). None without two counts, the later one in the span, or without a piece between them.
    """
    counts = [row for row, move in enumerate(moves) if move == COUNTED and days[row] < end]
    before = [row for row in counts if days[row] <= start]
    if not counts or days[counts[-1]] < start:
        return None
    first, last = before[-1] if before else counts[0], counts[-1]
    since = days[first] + timedelta(days=0 if days[first] == start else 1)
    meanwhile = np.array([since <= day <= days[last] for day in batch_days], dtype=bool)
    pieces = int(np.asarray(batch_pieces)[meanwhile].sum())
    if first == last or pieces == 0:
        return None
    amount, u = np.asarray(amounts, dtype=np.float64), np.asarray(uncertainties, dtype=np.float64)
    sign = {first: 1.0, last: -1.0}
    for row in range(first + 1, last):
        sign[row] = 1.0 if moves[row] in GAINED else -1.0 if moves[row] == LOST else 0.0
    used = sum(weight * float(amount[row]) for row, weight in sign.items())
    spread = COVERAGE * combined_uncertainty([u[row] for row, weight in sign.items() if weight]) / pieces
    each = used / pieces
    return UsedPerPiece(
        opened=days[first],
        closed=days[last],
        used=used,
        pieces=pieces,
        each=Interval(estimate=each, low=each - spread, high=each + spread, level=0.95),
        meanwhile=meanwhile,
    )
