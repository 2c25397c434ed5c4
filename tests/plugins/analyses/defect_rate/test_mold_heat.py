from typing import Any

import numpy as np
import pytest

from defect_rate.mold_heat import (
    CastingMetal,
    MoldSession,
    calibrate_mold,
    estimate_temperatures,
    fills_to_warm_up,
    fills_to_warm_up_equilibrium,
    fraction_kept,
    heat_per_fill,
    limit_before_fill,
    time_constant,
    warm_up_constant_heat,
    warm_up_equilibrium,
)
from reference_cases import worked_examples

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
    series = warm_up_constant_heat(rise, kept, inputs["Ta"], inputs["T0"], inputs["n"])
    computed = {
        "dT": rise,
        "tau_s": time_constant(capacity, inputs["hA"]),
        "r": kept,
        "T_after": series.after[-1],
        "T_before_next": series.before_next[-1],
        "T_before_limit": limit_before_fill(rise, kept, inputs["Ta"]),
    }
    assert computed == pytest.approx(expected, rel=tol)


@pytest.mark.parametrize(("name", "inputs", "expected", "tol"), worked_examples("warmup_count"))
def test_warm_up_count_matches_the_worked_examples_and_the_series(
    name: str, inputs: Example, expected: Example, tol: float
) -> None:
    capacity, kept = pace(inputs)
    rise = inputs["Q"] / capacity
    count = fills_to_warm_up(rise, kept, inputs["Ta"], inputs["T0"], inputs["T_target"])
    assert count == expected["n"]
    if count:
        series = warm_up_constant_heat(rise, kept, inputs["Ta"], inputs["T0"], count)
        assert series.before_next[-1] >= inputs["T_target"]
        assert count == 1 or series.before_next[-2] < inputs["T_target"]


@pytest.mark.parametrize(("name", "inputs", "expected", "tol"), worked_examples("warmup_equilibrium"))
def test_equilibrium_series_matches_the_worked_examples(
    name: str, inputs: Example, expected: Example, tol: float
) -> None:
    capacity, kept = pace(inputs)
    series = warm_up_equilibrium(
        inputs["m_kg"],
        inputs["T_pour"],
        metal_of(inputs),
        heat_capacity=capacity,
        kept=kept,
        ambient=inputs["Ta"],
        start=inputs["T0"],
        fills=inputs["n"],
    )
    assert series.after[-1] == pytest.approx(expected["T_after"], rel=tol)
    assert series.before_next[-1] == pytest.approx(expected["T_before_next"], rel=tol)


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
) -> tuple[MoldSession, np.ndarray[Any, np.dtype[np.float64]]]:
    """A session with random waits, measured with noise every few fills, and its true temperatures."""
    random = np.random.default_rng(seed)
    wait = random.uniform(30, 90, fills)
    wait[fills // 2] = 900
    heat = np.full(fills, 5100.0)
    blank = MoldSession(wait=wait, heat=heat, measured=np.full(fills, np.nan), ambient=20)
    true = estimate_temperatures(blank, capacity, loss)
    measured = np.where(np.arange(fills) % every == every - 1, true + random.normal(0, noise, fills), np.nan)
    return MoldSession(wait=wait, heat=heat, measured=measured, ambient=20), true


def test_calibration_recovers_the_mold_that_made_the_log() -> None:
    sessions = [session(620, 0.42, seed, 5, 3.0)[0] for seed in range(4)]
    found = calibrate_mold(sessions, heat_capacity=450, loss=0.25)
    assert found.fitted
    assert found.reason is None
    assert found.measured_used == 32
    assert found.heat_capacity == pytest.approx(620, rel=0.05)
    assert found.loss == pytest.approx(0.42, rel=0.05)
    assert found.residual_deviation == pytest.approx(3, rel=0.4)


def test_calibrated_values_estimate_temperatures_better_than_the_book() -> None:
    logged, true = session(620, 0.42, 11, 5, 1.0)
    found = calibrate_mold([logged], heat_capacity=450, loss=0.25)
    unmeasured = MoldSession(wait=logged.wait, heat=logged.heat, measured=np.full(40, np.nan), ambient=20)
    fitted = estimate_temperatures(unmeasured, found.heat_capacity, found.loss)
    book = estimate_temperatures(unmeasured, 450, 0.25)
    assert np.abs(fitted - true).max() < 5
    assert np.abs(book - true).max() > 30


def test_too_few_measurements_leave_the_book_values_and_say_so() -> None:
    logged, _ = session(620, 0.42, 1, 12, 1.0)
    found = calibrate_mold([logged], heat_capacity=450, loss=0.25)
    assert (found.heat_capacity, found.loss) == pytest.approx((450, 0.25))
    assert not found.fitted
    assert found.reason == "3 measured mold temperatures, 4 are needed"
    empty = calibrate_mold([], heat_capacity=450, loss=0.25)
    assert empty.residual_deviation is None
    assert empty.measured_used == 0


def test_a_steady_mold_tells_its_loss_and_leaves_the_capacity_near_the_book() -> None:
    steady = MoldSession(
        wait=np.full(6, 45.0),
        heat=np.full(6, 5100.0),
        measured=np.full(6, limit_before_fill(5100 / 540, fraction_kept(540, 0.6, 45), 20)),
        ambient=20,
    )
    found = calibrate_mold([steady], heat_capacity=540, loss=0.3)
    assert found.heat_capacity == pytest.approx(540, rel=0.1)
    assert found.loss == pytest.approx(0.6, rel=0.05)


def test_estimates_take_on_each_measurement_and_carry_on_from_it() -> None:
    logged = MoldSession(
        wait=[np.nan, 60, 60], heat=[5400, 5400, 5400], measured=[np.nan, 80, np.nan], ambient=20, start=50
    )
    kept = fraction_kept(540, 0.3, 60)
    assert estimate_temperatures(logged, 540, 0.3) == pytest.approx([50, 80, 20 + kept * 70])
    without_loss = MoldSession(wait=[0, 1e4], heat=[5400, 0], measured=[np.nan, np.nan], ambient=20)
    assert estimate_temperatures(without_loss, 540, 0) == pytest.approx([20, 30])


def test_sessions_that_cannot_be_are_refused() -> None:
    with pytest.raises(ValueError, match="one length"):
        estimate_temperatures(MoldSession(wait=[0], heat=[1, 2], measured=[np.nan], ambient=20), 540, 0.3)
    with pytest.raises(ValueError, match="waits"):
        estimate_temperatures(MoldSession(wait=[0, -5], heat=[1, 2], measured=[1, 2], ambient=20), 540, 0.3)
    with pytest.raises(ValueError, match="above 0"):
        estimate_temperatures(MoldSession(wait=[0], heat=[1], measured=[1], ambient=20), 0, 0.3)
