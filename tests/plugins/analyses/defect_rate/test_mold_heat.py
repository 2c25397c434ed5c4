"""Heat of a mold: worked examples, molds found again from their readings, and infrared guns."""

import math
from collections.abc import Sequence
from typing import Any
from unittest.mock import Mock

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.constants import c, h, k, zero_Celsius
from scipy.integrate import quad
from scipy.optimize import brentq, minimize

from defect_rate.compute import begins_warm
from defect_rate.mold_heat import (
    AIR_C,
    ALUMINIUM,
    ALUMINIUM_DENSITY,
    BOOK,
    FLAT_BLOCK,
    GUN_ON_C,
    GUN_READS_C,
    LEAD,
    LOSS_PER_AREA,
    MEASURED_WITHIN_K,
    TIN_BISMUTH,
    Fills,
    Metal,
    WarmingMold,
    heat_content,
    is_far_too_low,
    warming_mold,
)
from reference_cases import TRADE, read_table, worked_examples

FloatArray = NDArray[np.float64]
Example = dict[str, Any]


def content_of(inputs: Example, shift: float = 0.0) -> float:
    """The heat of the metal of a fill above `shift` degrees."""
    metal = Metal(liquid=inputs["cl"], solid=inputs["cs"], latent=inputs["L"])
    return heat_content(inputs["m_kg"], inputs["T_pour"] + shift, inputs["T_liq"] + shift, metal)


def mold_of(inputs: Example, content: float, casting: float = 0.0) -> WarmingMold:
    return WarmingMold(
        content=content,
        casting=casting,
        heat_capacity=inputs["M"] * inputs["c"],
        loss=inputs["hA"] or 1e-4,
        spread=np.zeros((2, 2)) + 1e-12 * np.eye(2),
        fitted=True,
        measured=0,
        seconds=float(inputs["t"]),
        timed=True,
    )


@pytest.mark.parametrize(("name", "inputs", "expected", "tol"), worked_examples("heat_per_pour"))
def test_heat_of_a_fill_matches_the_worked_examples(
    name: str, inputs: Example, expected: Example, tol: float
) -> None:
    heat = content_of(inputs) - inputs["m_kg"] * inputs["cs"] * inputs["T_eject"]
    assert heat == pytest.approx(expected["Q_J"], rel=tol)


@pytest.mark.parametrize(("name", "inputs", "expected", "tol"), worked_examples("warmup_constant_heat"))
def test_constant_heat_series_matches_the_worked_examples(
    name: str, inputs: Example, expected: Example, tol: float
) -> None:
    """Castings of no heat capacity give the same heat at any temperature: only warmth over air counts."""
    mold, shift = mold_of(inputs, inputs["Q"]), AIR_C - inputs["Ta"]
    before = temperatures(mold, inputs["T0"] + shift, usual(inputs["n"] + 1))
    assert before[-1] - AIR_C == pytest.approx(expected["T_before_next"] - inputs["Ta"], rel=2 * tol)
    limit, start = expected["T_before_limit"] + shift, inputs["T0"] + shift
    assert mold.fills_to(limit - 0.01, start).count is not None
    assert mold.fills_to(limit + 0.01, start).count is None


@pytest.mark.parametrize(("name", "inputs", "expected", "tol"), worked_examples("warmup_count"))
def test_warm_up_count_matches_the_worked_examples(
    name: str, inputs: Example, expected: Example, tol: float
) -> None:
    shift = AIR_C - inputs["Ta"]
    found = mold_of(inputs, inputs["Q"]).fills_to(inputs["T_target"] + shift, inputs["T0"] + shift)
    assert found.count == expected["n"]


@pytest.mark.parametrize(("name", "inputs", "expected", "tol"), worked_examples("warmup_equilibrium"))
def test_equilibrium_series_matches_the_worked_examples(
    name: str, inputs: Example, expected: Example, tol: float
) -> None:
    shift = AIR_C - inputs["Ta"]
    content = content_of(inputs, shift)
    mold = mold_of(inputs, content, inputs["m_kg"] * inputs["cs"])
    before = temperatures(mold, inputs["T0"] + shift, usual(inputs["n"] + 1))
    after = (mold.heat_capacity * before[-2] + content) / (mold.heat_capacity + mold.casting)
    found = after - shift, before[-1] - shift
    assert found == pytest.approx((expected["T_after"], expected["T_before_next"]), rel=tol)
    counts = [mold.fills_to(before[-1] + off, inputs["T0"] + shift).count for off in (-0.01, 0.01)]
    assert counts == [inputs["n"], inputs["n"] + 1]


@pytest.mark.parametrize(("target", "count"), [(150.0, 13), (15.0, 0), (700.0, None)])
def test_equilibrium_count_is_13_for_150_degrees(target: float, count: int | None) -> None:
    # tests/references/trade/README.md, section 1, item 5.
    content = heat_content(0.1, 400, 327.5, Metal(liquid=147, solid=136, latent=23040))
    mold = mold_of({"M": 0.6, "c": 900, "hA": 0.3, "t": 45}, content, 13.6)
    assert mold.fills_to(target).count == count


def test_the_fit_is_found_again_from_its_documented_objective() -> None:
    """An independent minimiser of the sum in the docstring, written out fill by fill, on noisy readings."""
    rng, runs = np.random.default_rng(8), [equal_waits(start, 9) for start in (20.0, 60.0, 110.0)]
    runs = [run + rng.normal(0, 3, run.size) for run in runs]
    mold = fitted(runs)
    book = 0.25 * ALUMINIUM, LOSS_PER_AREA * FLAT_BLOCK * (0.25 / ALUMINIUM_DENSITY) ** (2 / 3)
    content, casting = heat_content(0.03, 400.0, 250.0, LEAD), 0.03 * LEAD.solid

    def total(logs: FloatArray) -> float:
        capacity, loss = book[0] * math.exp(logs[0]), book[1] * math.exp(logs[1])
        found = sum(float(log) ** 2 for log in logs) / BOOK**2
        for run in runs:
            temp = run[0]
            for read in run[1:]:
                hot = (capacity * temp + content) / (capacity + casting)
                temp = AIR_C + math.exp(-60.0 * loss / capacity) * (hot - AIR_C)
                found += ((temp - read) / MEASURED_WITHIN_K) ** 2
        return found

    best = minimize(total, [0.0, 0.0], method="Nelder-Mead", options={"xatol": 1e-9, "fatol": 1e-12}).x
    assert mold.heat_capacity == pytest.approx(book[0] * math.exp(best[0]), rel=1e-5)
    assert mold.loss == pytest.approx(book[1] * math.exp(best[1]), rel=1e-5)


def fitted(runs: Sequence[FloatArray], waits: Sequence[FloatArray] = ()) -> WarmingMold:
    """The balance of a mold from its runs of readings, and the waits of each if they are known."""
    longest = max((len(run) for run in runs), default=0)
    readings, since = np.full((2, len(runs), longest), np.nan)
    for row, run in enumerate(runs):
        readings[row, : len(run)] = run
    for row, wait in enumerate(waits):
        since[row, : len(wait)] = wait
    return warming_mold(0.25, 0.03, 400.0, 250.0, readings, since)


def temperatures(
    mold: WarmingMold, start: float, waits: FloatArray, readings: FloatArray | None = None
) -> FloatArray:
    """The temperature before each fill of one session; nan is the usual wait."""
    read = None if readings is None else readings[np.newaxis]
    return np.asarray(mold.temperatures(np.array([start]), waits[np.newaxis], read)[0])


def usual(fills: int) -> FloatArray:
    return np.full(fills, np.nan)


def equal_waits(start: float, fills: int, capacity: float = 230.0, kept: float = 0.97) -> FloatArray:
    """Readings of a mold whose castings leave at its temperature."""
    temp, readings = start, []
    for _ in range(fills):
        readings.append(temp)
        heat = heat_content(0.03, 400.0, 250.0, LEAD) - 0.03 * LEAD.solid * temp
        temp = AIR_C + kept * (temp + heat / capacity - AIR_C)
    return np.array(readings)


def test_a_known_mold_is_found_again() -> None:
    runs = [equal_waits(20.0, 14), equal_waits(120.0, 10), equal_waits(160.0, 8)]
    mold = fitted(runs)
    assert mold.fitted
    assert mold.measured == 29
    assert temperatures(mold, 20.0, usual(14)) == pytest.approx(runs[0], abs=4)
    found, true = mold.fills_to(120.0), int(np.argmax(equal_waits(20.0, 60) >= 120.0))
    assert found.low is not None
    assert found.high is not None
    assert found.low <= true <= found.high
    assert found.high - found.low <= 2


def test_without_readings_the_book_stands_as_worked_out_by_hand() -> None:
    """A block of 250 g: 0.25 * 896 J/K, and 8 (0.25 / 2700)^(2/3) = 0.016373 m2 that lose 10 W/(m2 K)."""
    mold = fitted([np.full(6, math.nan)])
    assert not mold.fitted
    assert (mold.heat_capacity, mold.loss) == (pytest.approx(224), pytest.approx(0.16373, rel=1e-4))
    assert mold.content == pytest.approx(0.03 * (148 * 150 + 23040 + 136 * 250))
    assert (mold.casting, mold.seconds) == (pytest.approx(0.03 * 136), 60.0)
    assert mold.spread == pytest.approx(0.480453 * np.eye(2), rel=1e-5), "the square of log 2"
    assert mold.fills_to(10.0) == Fills(0, 0, 0)
    assert mold.fills_to(400.0).count is None
    unread = np.full((1, 6), math.nan)
    tin = warming_mold(0.25, 0.03, 100.0, 138.0, unread, unread)
    assert tin.content == pytest.approx(0.03 * (188 * 5 + 45000 + 167 * 138)), (
        "poured just above its liquidus"
    )


@pytest.mark.parametrize("timed", [False, True])
def test_limits_of_the_count_from_book_values_are_those_of_draws_of_their_own(timed: bool) -> None:
    """Capacity, loss and an unwritten rhythm are good to a factor of 2, the metal in sprues to a third."""
    waits = [np.full(6, 45.0)] if timed else ()
    mold, draws = fitted([np.full(6, math.nan)], waits), 4000
    assert mold.seconds == (45.0 if timed else 60.0)
    capacity, loss, rhythm, metal = np.random.default_rng(3).standard_normal((4, draws))
    heat = mold.heat_capacity * 2**capacity
    lost = mold.loss * 2**loss * mold.seconds * (1 if timed else 2**rhythm)
    content, casting = mold.content * (4 / 3) ** metal, mold.casting * (4 / 3) ** metal
    temp, count = np.full(draws, 20.0), np.zeros(draws)
    for _ in range(400):
        count += temp < 60
        temp = np.where(
            temp < 60, 20 + np.exp(-lost / heat) * ((heat * temp + content) / (heat + casting) - 20), temp
        )
    found = mold.fills_to(60.0)
    low, high = np.quantile(count, (0.025, 0.975))
    assert found.low is not None
    assert found.low == pytest.approx(low, abs=1)
    assert (math.inf if found.high is None else found.high) >= 0.7 * high
    never = float(np.mean(count == 400))
    assert (found.high is None) == (never > 0.025)


def test_too_few_readings_leave_the_book_values() -> None:
    assert not fitted([equal_waits(20.0, 4)]).fitted
    assert fitted([equal_waits(20.0, 5)]).fitted


def test_readings_that_begin_late_are_used_from_there_on() -> None:
    run = equal_waits(100.0, 12)
    run[:3] = math.nan
    assert fitted([run]).measured == 8


def timed_session(start: float, waits: FloatArray, capacity: float = 230.0, loss: float = 0.2) -> FloatArray:
    """Readings of a mold that loses heat for as long as it really waits."""
    temp, readings = start, [start]
    for wait in waits[1:]:
        heat = heat_content(0.03, 400.0, 250.0, LEAD) - 0.03 * LEAD.solid * temp
        temp = AIR_C + math.exp(-wait * loss / capacity) * (temp + heat / capacity - AIR_C)
        readings.append(temp)
    return np.array(readings)


def test_the_times_of_fills_are_taken_where_they_are_known() -> None:
    """Two sessions poured every 40 s, with a long break: only with its times is the mold found again."""
    waits = np.full(16, 40.0)
    waits[8] = 900.0
    runs = [timed_session(20.0, waits), timed_session(90.0, waits)]
    timed = fitted(runs, [waits, waits])
    untimed = fitted(runs)
    assert (timed.timed, timed.seconds) == (True, 40.0)
    assert (untimed.timed, untimed.seconds) == (False, 60.0)
    off, untimed_off = (
        temperatures(mold, 20.0, since) - runs[0] for mold, since in ((timed, waits), (untimed, usual(16)))
    )
    assert np.abs(off).max() < 3
    assert np.abs(untimed_off).max() > 4 * np.abs(off).max()


def test_estimates_start_again_from_each_reading() -> None:
    mold = fitted([])
    first, second, third = temperatures(mold, 20.0, usual(3), np.array([math.nan, 90.0, math.nan]))
    assert (first, second) == (20.0, 90.0)
    assert third == temperatures(mold, 90.0, usual(2))[1]


def test_book_values_are_those_of_the_trade_table() -> None:
    table = {row["quantity"]: row["value"] for row in read_table(TRADE / "physics.csv")}
    for value, name, within in (
        (ALUMINIUM, "aluminium alloy 6061 specific heat", 0.0),
        (ALUMINIUM_DENSITY, "aluminium alloy 6061 density", 0.0),
        (LOSS_PER_AREA, "combined loss coefficient for a bench mould", 0.0),
        (LEAD.liquid, "lead specific heat liquid", 0.005),
        (LEAD.solid, "lead specific heat solid mean", 0.005),
        (LEAD.latent / 1000, "lead latent heat of fusion", 0.0),
        (TIN_BISMUTH.solid, "42Sn-58Bi specific heat solid (estimate)", 0.0),
        (TIN_BISMUTH.latent / 1000, "42Sn-58Bi latent heat of fusion (estimate)", 0.0),
    ):
        assert value == pytest.approx(float(table[name]), rel=within, abs=0), name


def gun_reading(inputs: Example) -> float:
    """What a gun reads by Planck's law, integrated over 8 to 14 um."""

    def radiation(celsius: float) -> float:
        def at(um: float) -> float:
            metres = um * 1e-6
            return metres**-5 / math.expm1(h * c / (metres * k * (celsius + zero_Celsius)))

        return float(quad(at, 8.0, 14.0)[0])

    room, own, setting = radiation(inputs["T_bg_C"]), inputs["eps"], inputs["eps_set"]
    seen = (own * radiation(inputs["T_C"]) + (setting - own) * room) / setting
    return float(brentq(lambda reading: radiation(reading) - seen, -100.0, 1000.0))


def test_what_a_gun_reads_on_bare_and_black_aluminium_follows_from_plancks_law_and_the_trade_table() -> None:
    table = {row["quantity"]: row for row in read_table(TRADE / "physics.csv")}
    names = "aluminium polished", "aluminium oxidised", "oil paint any colour / soot"
    examples = worked_examples("ir_reading")
    assert len(examples) == len(GUN_READS_C)
    for reads, name, (_, inputs, expected, tol) in zip(GUN_READS_C, names, examples, strict=True):
        assert inputs["T_C"] == GUN_ON_C
        assert inputs["eps"] == float(table[f"emissivity {name}"]["value"])
        assert gun_reading(inputs) == pytest.approx(expected["band_8_14_C"], rel=tol)
        assert reads == round(expected["band_8_14_C"], 1)


def test_readings_of_a_bare_mold_lie_far_below_the_balance_and_honest_ones_do_not() -> None:
    expected = np.array([20.0, 60.0, 90.0, 110.0, 125.0, 135.0])
    inputs = {"eps": 0.05, "eps_set": 0.95, "T_bg_C": 20.0}
    bare = np.array([gun_reading({**inputs, "T_C": value}) for value in expected])
    assert is_far_too_low(bare, expected)
    assert not is_far_too_low(20 + (expected - 20) / 2, expected), "the book may be off by a factor of 2"
    assert not is_far_too_low(np.where(np.arange(6) < 3, bare, np.nan), expected), "too few to say"
    assert is_far_too_low(np.where(np.arange(6) < 5, bare, np.nan), expected), "four are enough"


@pytest.mark.parametrize(("above_air_c", "is_warm"), [(15.0, False), (15.5, True)])
def test_a_mold_begins_warm_more_than_15_degrees_above_the_air(above_air_c: float, is_warm: bool) -> None:
    assert begins_warm(Mock(usual_c=AIR_C + above_air_c)) is is_warm
