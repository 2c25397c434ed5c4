from datetime import datetime, timedelta
from random import Random

import numpy as np
import pytest

from benchwater.ledger.movements import (
    Movement,
    Movements,
    joined,
    net_amount,
    seen_of_steps,
    sum_in_order,
)

START = datetime(2026, 3, 1)


def some(dice: Random, number: int) -> list[Movement]:
    return [
        Movement(
            when=START + timedelta(days=dice.randrange(9)),
            kind=dice.choice(["used", "received", "discarded"]),
            amount=dice.uniform(-5, 5),
            u=dice.random(),
            source=dice.choice(["", "one", "other"]),
            shared_u=dice.random(),
        )
        for _ in range(number)
    ]


def test_columns_say_what_the_single_movements_say() -> None:
    dice = Random(1)
    one, other = some(dice, 30), some(dice, 5)
    moved = joined([Movements.of(one), Movements.none(), Movements.of(other)])
    assert list(moved) == one + other
    assert list(moved.of_kind("used")) == [each for each in one + other if each.kind == "used"]
    assert list(moved.take(np.array([3, 1]))) == [one[3], one[1]]
    by_kind, shared = moved.by_kind(), moved.shared_by_source()
    for kind in ("used", "received", "discarded"):
        taken = sum(abs(each.amount) for each in moved if each.kind == kind)
        assert by_kind[kind] == pytest.approx(taken, rel=1e-13), "Python's sum rounds less from 3.12 on"
    for source in ("", "one", "other"):
        signed = [np.sign(each.amount) * each.shared_u for each in moved if each.source == source]
        assert shared[source] == pytest.approx(sum(signed))
    assert net_amount(moved) == pytest.approx(sum(each.amount for each in one + other), rel=1e-13)


def test_sums_are_added_one_by_one() -> None:
    values = [0.1] * 1000 + [1e9, -1e9]
    assert sum_in_order(values) == sum(values)
    assert sum_in_order([]) == 0.0


@pytest.mark.parametrize("seed", range(30))
def test_a_line_through_what_is_seen_covers_the_line_through_all(seed: int) -> None:
    dice = Random(seed)
    days = np.sort(np.array([dice.randrange(6) for _ in range(dice.randrange(1, 60))]))
    moments = np.datetime64(START) + days.astype("timedelta64[D]")
    values = np.cumsum([dice.choice([-2, -1, 1, 2]) for _ in days]).astype(float)
    seen = seen_of_steps(moments, values)
    assert np.all(np.diff(seen) > 0)
    for day in np.unique(days):
        everything, told = values[days == day], values[seen][days[seen] == day]
        assert (everything[0], everything.min(), everything.max()) == (told[0], told.min(), told.max())
        assert everything[-1] == told[-1]
        assert len(told) <= 4
    assert len(seen_of_steps(moments[:0], values[:0])) == 0
