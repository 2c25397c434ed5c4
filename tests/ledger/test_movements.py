from datetime import datetime, timedelta
from random import Random

import numpy as np
import pytest

from benchwater.ledger.movements import (
    Movement,
    Movements,
    joined,
    net_amount,
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
