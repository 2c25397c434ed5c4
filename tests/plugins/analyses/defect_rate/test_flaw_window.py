"""The window of two opposed flaws: where it is known, where it cannot be, and how often its limits hold."""

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.special import expit

from defect_rate.flaw_window import flaw_window

NONE = np.zeros(12)


def test_perfect_separation_puts_the_target_between_the_two_sides() -> None:
    temps = np.repeat([100.0, 110.0, 120.0, 150.0, 160.0, 170.0], 2)
    cold = np.where(temps < 130, 5, 0)
    found = flaw_window(temps, np.full(12, 5), cold, NONE, NONE, target=0.1)
    assert found is not None
    assert found.first_met is not None
    assert 120 < found.first_met < 150
    assert found.falls
    assert found.top is None


def test_two_limbs_enclose_a_window() -> None:
    temps = np.linspace(90, 220, 40)
    cold, hot = (np.rint(20 * expit(sign * 0.1 * (temps - at))) for sign, at in ((-1, 120), (1, 210)))
    found = flaw_window(temps, np.full(40, 20), cold, hot, np.zeros(40), target=0.1)
    assert found is not None
    assert found.first_met == pytest.approx(120 + np.log(9) / 0.1, abs=4)
    assert found.top == pytest.approx(210 - np.log(9) / 0.1, abs=4)
    assert found.top is not None
    assert found.top_limits[0] is not None
    assert found.top_limits[1] is not None
    assert found.top_limits[0] < found.top < found.top_limits[1]
    assert found.total([155.0])[0] < 0.1


def test_nothing_is_made_of_too_little() -> None:
    temps, made = np.linspace(100, 160, 12), np.full(12, 5)
    four = np.array([2, 2] + [0] * 10)
    assert flaw_window(temps, made, four, NONE, NONE, target=0.1) is None
    assert flaw_window(np.full(12, 120.0), made, made, NONE, NONE, target=0.1) is None


def test_plain_flaws_beyond_the_target_leave_no_window() -> None:
    temps, made = np.linspace(100, 160, 12), np.full(12, 5)
    cold = np.array([4, 3] + [0] * 10)
    found = flaw_window(temps, made, cold, NONE, np.full(12, 1), target=0.1)
    assert found is not None
    assert found.window is None
    assert found.first_met is None


def test_all_bad_meets_the_target_nowhere() -> None:
    temps, made = np.linspace(100, 160, 12), np.full(12, 5)
    found = flaw_window(temps, made, made, NONE, NONE, target=0.1)
    assert found is not None
    assert found.first_met is None
    assert not found.falls


@pytest.mark.slow
def test_limits_of_the_target_temperature_hold_for_clustered_fills() -> None:
    """200 seasons of 40 fills of 5, castings of a fill alike by a shared draw; nominal 95 %."""
    fill_sd, runs, fills, size = 0.5, 200, 40, 5
    nodes, weights = np.polynomial.hermite_e.hermegauss(31)

    def cold_share(temp: float) -> float:
        return float(weights @ expit(-0.086 * (temp - 123.4) + fill_sd * nodes) / weights.sum())

    truth = float(brentq(lambda temp: cold_share(temp) + 0.03 - 0.1, 110, 200))
    rng = np.random.default_rng(20260503)
    covered = 0
    for _ in range(runs):
        temps = rng.uniform(90, 200, fills)
        cold = rng.binomial(size, expit(-0.086 * (temps - 123.4) + rng.normal(0, fill_sd, fills)))
        other = rng.binomial(size - cold, 0.03)
        found = flaw_window(temps, np.full(fills, size), cold, np.zeros(fills), other, target=0.1)
        assert found is not None
        if found.window is None:
            continue
        low, high = found.window.first_met_lower, found.window.first_met_upper
        covered += (low is None or low <= truth) and (high is None or truth <= high)
    assert covered / runs >= 0.88
