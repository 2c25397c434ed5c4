"""Warm-up in steps of one fill: a mold of known heat is found again from its readings."""

import math

import numpy as np
import pytest

from benchwater.mathematics.mold_heat import heat_per_fill
from benchwater.mathematics.warm_up import AIR_C, book_metal, warming_mold


def session(start: float, fills: int, capacity: float = 230.0, kept: float = 0.97) -> np.ndarray:
    """Readings of a mold whose castings leave at its temperature."""
    metal, temp, readings = book_metal(250.0), start, []
    for _ in range(fills):
        readings.append(temp)
        heat = heat_per_fill(0.03, 400.0, temp, metal)
        temp = AIR_C + kept * (temp + heat / capacity - AIR_C)
    return np.array(readings)


def test_a_known_mold_is_found_again() -> None:
    runs = [session(20.0, 14), session(120.0, 10), session(160.0, 8)]
    mold = warming_mold(0.25, 0.03, 400.0, 250.0, runs)
    assert mold.fitted
    assert mold.measured == 29
    assert mold.deviation is not None
    assert mold.deviation < 1.5
    assert mold.before_each(20.0, 14) == pytest.approx(runs[0], abs=4)
    low, high = mold.fills_to(120.0)
    true = int(np.argmax(session(20.0, 60) >= 120.0))
    assert low is not None
    assert high is not None
    assert low - 1 <= true <= high + 1


def test_without_readings_the_book_stands() -> None:
    mold = warming_mold(0.25, 0.03, 400.0, 250.0, [np.full(6, math.nan)])
    assert not mold.fitted
    assert mold.heat_capacity == pytest.approx(0.25 * 896)
    assert mold.fills_to(10.0) == (0, 0)
    assert mold.fills_to(400.0) == (None, None)


def test_readings_that_begin_late_are_used_from_there_on() -> None:
    run = session(100.0, 12)
    run[:3] = math.nan
    assert warming_mold(0.25, 0.03, 400.0, 250.0, [run]).measured == 8


def test_a_mold_without_mass_is_refused() -> None:
    with pytest.raises(ValueError, match="mass"):
        warming_mold(0.0, 0.03, 400.0, 250.0, [])
