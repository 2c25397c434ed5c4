"""Heat of a mold: worked examples, molds found again from their readings, and infrared guns."""

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from defect_rate.mold_heat import (
    AIR_C,
    ALUMINIUM,
    ALUMINIUM_DENSITY,
    BARE_ALUMINIUM,
    LOSS_PER_AREA,
    MATT_BLACK,
    OXIDISED_ALUMINIUM,
    CastingMetal,
    MoldCalibration,
    WarmingMold,
    book_metal,
    calibrate_mold,
    equilibrium,
    far_below,
    fills_to_warm_up,
    fills_to_warm_up_equilibrium,
    fraction_kept,
    heat_per_fill,
    infrared_reading,
    simulate_sessions,
    time_constant,
    warming_mold,
)
from reference_cases import TRADE, read_table, worked_examples

FloatArray = NDArray[np.float64]
Example = dict[str, Any]


def metal_of(inputs: Example) -> CastingMetal:
    return CastingMetal(
        liquidus=inputs["T_liq"],
        liquid_specific_heat=inputs["cl"],
        solid_specific_heat=inputs["cs"],
        latent_heat=inputs["L"],
    )


def pace(inputs: Example) -> tuple[float, float]:
    capacity = inputs["M"] * inputs["c"]
    return capacity, fraction_kept(capacity, inputs["hA"], inputs["t"])


@pytest.mark.parametrize(("name", "inputs", "expected", "tol"), worked_examples("heat_per_pour"))
def test_heat_of_a_fill_matches_the_worked_examples(
    name: str, inputs: Example, expected: Example, tol: float
) -> None:
    heat = heat_per_fill(inputs["m_kg"], inputs["T_pour"], inputs["T_eject"], metal_of(inputs))
    assert heat == pytest.approx(expected["Q_J"], rel=tol)


@pytest.mark.parametrize(("name", "inputs", "expected", "tol"), worked_examples("warmup_constant_heat"))
def test_constant_heat_series_matches_the_worked_examples(
    name: str, inputs: Example, expected: Example, tol: float
) -> None:
    capacity, kept = pace(inputs)
    rise = inputs["Q"] / capacity
    computed = {"dT": rise, "tau_s": time_constant(capacity, inputs["hA"]), "r": kept}
    assert computed == pytest.approx({key: expected[key] for key in computed}, rel=tol)
    shape, above_air = (1, inputs["n"] + 1), inputs["T0"] - inputs["Ta"]
    before = simulate_sessions(
        np.full(shape, float(inputs["t"])),
        np.full(shape, float(inputs["Q"])),
        np.array([AIR_C + above_air]),
        capacity,
        inputs["hA"],
    )
    assert before[0, -1] - AIR_C == pytest.approx(expected["T_before_next"] - inputs["Ta"], rel=2 * tol)
    limit, pace_of = expected["T_before_limit"], (rise, kept, inputs["Ta"], inputs["T0"])
    assert fills_to_warm_up(*pace_of, limit - 0.01) is not None
    assert fills_to_warm_up(*pace_of, limit + 0.01) is None


@pytest.mark.parametrize(("name", "inputs", "expected", "tol"), worked_examples("warmup_count"))
def test_warm_up_count_matches_the_worked_examples(
    name: str, inputs: Example, expected: Example, tol: float
) -> None:
    capacity, kept = pace(inputs)
    rise = inputs["Q"] / capacity
    count = fills_to_warm_up(rise, kept, inputs["Ta"], inputs["T0"], inputs["T_target"])
    assert count == expected["n"]


@pytest.mark.parametrize(("name", "inputs", "expected", "tol"), worked_examples("warmup_equilibrium"))
def test_equilibrium_series_matches_the_worked_examples(
    name: str, inputs: Example, expected: Example, tol: float
) -> None:
    capacity, kept = pace(inputs)
    step, before, after = equilibrium(inputs["m_kg"], inputs["T_pour"], metal_of(inputs), capacity), 0.0, 0.0
    before = float(inputs["T0"])
    for _ in range(inputs["n"]):
        after = step(before)
        before = inputs["Ta"] + kept * (after - inputs["Ta"])
    assert (after, before) == pytest.approx((expected["T_after"], expected["T_before_next"]), rel=tol)
    counts = [
        fills_to_warm_up_equilibrium(
            inputs["m_kg"],
            inputs["T_pour"],
            metal_of(inputs),
            heat_capacity=capacity,
            kept=kept,
            ambient=inputs["Ta"],
            start=inputs["T0"],
            target=expected["T_before_next"] + off,
        )
        for off in (-0.01, 0.01)
    ]
    assert counts == [inputs["n"], inputs["n"] + 1]


@pytest.mark.parametrize(("target", "count"), [(150.0, 13), (15.0, 0), (700.0, None)])
def test_equilibrium_count_is_13_for_150_degrees(target: float, count: int | None) -> None:
    # tests/references/trade/README.md, section 1, item 5.
    lead = CastingMetal(liquidus=327.5, liquid_specific_heat=147, solid_specific_heat=136, latent_heat=23040)
    found = fills_to_warm_up_equilibrium(
        0.1,
        400,
        lead,
        heat_capacity=540,
        kept=fraction_kept(540, 0.3, 45),
        ambient=20,
        start=20,
        target=target,
    )
    assert found == count


def test_a_pour_below_the_liquidus_is_refused() -> None:
    lead = CastingMetal(liquidus=327.5, liquid_specific_heat=147, solid_specific_heat=136, latent_heat=23040)
    with pytest.raises(ValueError, match="liquidus"):
        heat_per_fill(0.1, 300, 200, lead)


def session(
    capacity: float, loss: float, seed: int, every: int, noise: float, fills: int = 40
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Random waits, and the temperatures of a mold: measured with noise every few fills, and true."""
    random = np.random.default_rng(seed)
    wait = random.uniform(30, 90, fills)
    wait[fills // 2] = 900
    true = simulated(wait, capacity, loss)
    measured = np.where(np.arange(fills) % every == every - 1, true + random.normal(0, noise, fills), np.nan)
    return wait, measured, true


def simulated(wait: FloatArray, capacity: float, loss: float) -> FloatArray:
    heat = np.full((1, wait.size), 5100.0)
    return np.asarray(simulate_sessions(wait[np.newaxis], heat, np.array([AIR_C]), capacity, loss)[0])


def calibrated(*sessions: tuple[FloatArray, ...], book: tuple[float, float] = (450, 0.25)) -> MoldCalibration:
    wait, measured = (np.array([session[part] for session in sessions]) for part in (0, 1))
    starts = np.full(len(sessions), AIR_C)
    return calibrate_mold(
        wait,
        np.full(wait.shape, 5100.0),
        measured,
        start=starts,
        heat_capacity=book[0],
        loss=book[1],
    )


def test_calibration_recovers_the_mold_that_made_the_log() -> None:
    found = calibrated(*(session(620, 0.42, seed, 5, 3.0) for seed in range(4)))
    assert found.fitted
    assert found.measured == 32
    assert found.heat_capacity == pytest.approx(620, rel=0.05)
    assert found.loss == pytest.approx(0.42, rel=0.05)


def test_calibrated_values_estimate_temperatures_better_than_the_book() -> None:
    logged = session(620, 0.42, 11, 5, 1.0)
    found, (wait, _, true) = calibrated(logged), logged
    assert np.abs(simulated(wait, found.heat_capacity, found.loss) - true).max() < 5
    assert np.abs(simulated(wait, 450, 0.25) - true).max() > 30


def test_too_few_measurements_leave_the_book_values() -> None:
    found = calibrated(session(620, 0.42, 1, 12, 1.0))
    assert (found.heat_capacity, found.loss) == pytest.approx((450, 0.25))
    assert (found.fitted, found.measured) == (False, 3)


def test_a_steady_mold_gives_its_loss_and_leaves_the_capacity_near_the_book() -> None:
    kept = fraction_kept(540, 0.6, 45)
    steady = AIR_C + kept * (5100 / 540) / (1 - kept)
    measured = np.full((1, 6), steady)
    found = calibrate_mold(
        np.full((1, 6), 45.0),
        np.full((1, 6), 5100.0),
        measured,
        start=measured[:, 0],
        heat_capacity=540,
        loss=0.3,
    )
    assert found.heat_capacity == pytest.approx(540, rel=0.1)
    assert found.loss == pytest.approx(0.6, rel=0.05)


def test_a_mold_without_heat_capacity_is_refused() -> None:
    with pytest.raises(ValueError, match="above 0"):
        time_constant(0, 0.3)
    with pytest.raises(ValueError, match="above 0"):
        calibrated(session(620, 0.42, 1, 12, 1.0), book=(0, 0.3))


def fitted(
    runs: Sequence[FloatArray], waits: Sequence[FloatArray] = (), mold_mass: float = 0.25
) -> WarmingMold:
    """The balance of a mold from its runs of readings, and the waits of each if they are known."""
    longest = max((len(run) for run in runs), default=0)
    readings, since = np.full((2, len(runs), longest), np.nan)
    for row, run in enumerate(runs):
        readings[row, : len(run)] = run
    for row, wait in enumerate(waits):
        since[row, : len(wait)] = wait
    lengths = np.array([len(run) for run in runs], dtype=np.int64)
    return warming_mold(mold_mass, 0.03, 400.0, 250.0, readings, since, lengths)


def temperatures(
    mold: WarmingMold, start: float, waits: FloatArray, readings: FloatArray | None = None
) -> FloatArray:
    """The temperature before each fill of one session; nan is the usual wait."""
    read = np.full(waits.shape, np.nan) if readings is None else readings
    return np.asarray(mold.temperatures(np.array([start]), waits[np.newaxis], read[np.newaxis])[0])


def usual(fills: int) -> FloatArray:
    return np.full(fills, np.nan)


def equal_waits(start: float, fills: int, capacity: float = 230.0, kept: float = 0.97) -> FloatArray:
    """Readings of a mold whose castings leave at its temperature."""
    metal, temp, readings = book_metal(250.0), start, []
    for _ in range(fills):
        readings.append(temp)
        heat = heat_per_fill(0.03, 400.0, temp, metal)
        temp = AIR_C + kept * (temp + heat / capacity - AIR_C)
    return np.array(readings)


def test_a_known_mold_is_found_again() -> None:
    runs = [equal_waits(20.0, 14), equal_waits(120.0, 10), equal_waits(160.0, 8)]
    mold = fitted(runs)
    assert mold.fitted
    assert mold.measured == 29
    assert temperatures(mold, 20.0, usual(14)) == pytest.approx(runs[0], abs=4)
    low, high = mold.fills_to(120.0)
    true = int(np.argmax(equal_waits(20.0, 60) >= 120.0))
    assert low is not None
    assert high is not None
    assert low - 1 <= true <= high + 1


def test_without_readings_the_book_stands() -> None:
    mold = fitted([np.full(6, math.nan)])
    assert not mold.fitted
    assert mold.heat_capacity == pytest.approx(0.25 * 896)
    assert mold.fills_to(10.0) == (0, 0)
    assert mold.fills_to(400.0) == (None, None)


def test_readings_that_begin_late_are_used_from_there_on() -> None:
    run = equal_waits(100.0, 12)
    run[:3] = math.nan
    assert fitted([run]).measured == 8


def test_a_mold_without_mass_is_refused() -> None:
    with pytest.raises(ValueError, match="mass"):
        fitted([], mold_mass=0.0)


def timed_session(start: float, waits: FloatArray, capacity: float = 230.0, loss: float = 0.2) -> FloatArray:
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


@pytest.mark.parametrize(("name", "inputs", "expected", "tol"), worked_examples("ir_reading"))
def test_readings_match_the_worked_examples(
    name: str, inputs: Example, expected: Example, tol: float
) -> None:
    gun = {"setting": inputs["eps_set"], "background": inputs["T_bg_C"]}
    total = infrared_reading(inputs["T_C"], inputs["eps"], band=None, **gun)
    assert total == pytest.approx(expected["total_radiation_C"], rel=tol)
    assert infrared_reading(inputs["T_C"], inputs["eps"], **gun) == pytest.approx(
        expected["band_8_14_C"], rel=tol
    )


def test_a_gun_set_to_the_surface_reads_its_temperature_and_so_does_one_on_a_cold_mold() -> None:
    assert infrared_reading(150.0, 0.3, setting=0.3) == pytest.approx(150)
    assert infrared_reading(20.0, 0.05) == pytest.approx(20)


def test_emissivities_are_those_of_the_trade_table() -> None:
    table = {row["quantity"]: row for row in read_table(TRADE / "physics.csv")}
    for value, name in (
        (BARE_ALUMINIUM, "emissivity aluminium polished"),
        (OXIDISED_ALUMINIUM, "emissivity aluminium oxidised"),
        (MATT_BLACK, "emissivity oil paint any colour / soot"),
    ):
        assert value == float(table[name]["value"])


def test_readings_of_a_bare_mold_lie_far_below_the_balance_and_honest_ones_do_not() -> None:
    expected = np.array([20.0, 60.0, 90.0, 110.0, 125.0, 135.0])
    bare = np.array([infrared_reading(float(value), BARE_ALUMINIUM) for value in expected])
    assert far_below(bare, expected, 20.0)
    assert not far_below(20 + (expected - 20) / 2, expected, 20.0), "the book may be off by a factor of 2"
    assert not far_below(np.where(np.arange(6) < 3, bare, np.nan), expected, 20.0), "too few to say"


def test_what_cannot_radiate_is_refused() -> None:
    with pytest.raises(ValueError, match="emissivity"):
        infrared_reading(150.0, 0.0)
    with pytest.raises(ValueError, match="absolute zero"):
        infrared_reading(-300.0, 0.5)
