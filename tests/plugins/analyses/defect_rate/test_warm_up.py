"""Warm-up in steps of one fill: a mold of known heat is found again from its readings."""

import math

import numpy as np
import pytest

from defect_rate.mold_heat import heat_per_fill
from defect_rate.warm_up import (
    AIR_C,
    ALUMINIUM,
    ALUMINIUM_DENSITY,
    LOSS_PER_AREA,
    book_metal,
    warming_mold,
)
from reference_cases import TRADE, read_table


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


def timed_session(start: float, waits: np.ndarray, capacity: float = 230.0, loss: float = 0.2) -> np.ndarray:
    """Readings of a mold that loses heat for as long as it really waits."""
    metal, temp, readings = book_metal(250.0), start, [start]
    for wait in waits[1:]:
        heat = heat_per_fill(0.03, 400.0, temp, metal)
        temp = AIR_C + math.exp(-wait * loss / capacity) * (temp + heat / capacity - AIR_C)
        readings.append(temp)
    return np.array(readings)


def test_the_times_of_fills_are_taken_where_they_are_known() -> None:
    """Two sessions poured every 40 s, with a long break: only with its times is the mold found again."""
    waits = np.full(16, 40.0)
    waits[8] = 900.0
    runs = [timed_session(20.0, waits), timed_session(90.0, waits)]
    timed = warming_mold(0.25, 0.03, 400.0, 250.0, runs, [waits, waits])
    untimed = warming_mold(0.25, 0.03, 400.0, 250.0, runs)
    assert (timed.timed, timed.seconds) == (True, 40.0)
    assert (untimed.timed, untimed.seconds) == (False, 60.0)
    assert timed.before_each(20.0, 16, waits=waits) == pytest.approx(runs[0], abs=3)
    assert timed.deviation is not None
    assert untimed.deviation is not None
    assert timed.deviation < untimed.deviation / 4


def test_estimates_are_carried_on_from_readings() -> None:
    mold = warming_mold(0.25, 0.03, 400.0, 250.0, [])
    readings = np.array([math.nan, 90.0, math.nan])
    first, second, third = mold.before_each(20.0, 3, readings=readings)
    assert (first, second) == (20.0, 90.0)
    assert third == mold.before_each(90.0, 2)[1]


def test_book_values_are_those_of_the_trade_table() -> None:
    table = {row["quantity"]: row["value"] for row in read_table(TRADE / "physics.csv")}
    lead = book_metal(250.0)
    for value, name, within in (
        (ALUMINIUM, "aluminium alloy 6061 specific heat", 0.0),
        (ALUMINIUM_DENSITY, "aluminium alloy 6061 density", 0.0),
        (LOSS_PER_AREA, "combined loss coefficient for a bench mould", 0.0),
        (lead.liquid_specific_heat, "lead specific heat liquid", 0.005),
        (lead.solid_specific_heat, "lead specific heat solid mean", 0.005),
        (lead.latent_heat / 1000, "lead latent heat of fusion", 0.0),
        (book_metal(138.0).solid_specific_heat, "42Sn-58Bi specific heat solid (estimate)", 0.0),
        (book_metal(138.0).latent_heat / 1000, "42Sn-58Bi latent heat of fusion (estimate)", 0.0),
    ):
        assert value == pytest.approx(float(table[name]), rel=within, abs=0), name
