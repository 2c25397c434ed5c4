"""The window of cold and hot flaws: its ends, their limits, how often these hold, and the search for them."""

import math
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import NonlinearConstraint, brentq, minimize
from scipy.special import expit

from benchwater.statistics.uncertainty import coverage_factor
from defect_rate.logistic import (
    LikelihoodProfile,
    LogisticFit,
    fit_constant,
    fit_line,
    with_dispersion,
)
from defect_rate.working_window import (
    WorkingWindow,
    crossing_between,
    first_positive,
    flaw_window,
    lowest,
    working_window,
)

FloatArray = NDArray[np.float64]
TEMPERATURES = [100.0, 120.0, 140.0, 160.0, 180.0, 200.0]
NONE, THREES = np.zeros(12), np.arange(12) % 3


def limbs(fills: int) -> list[LogisticFit]:
    """Fits to expected counts: cold flaws one half at 140, hot ones one half at 260."""
    x, trials = np.linspace(100, 260, fills), np.full(fills, 4.0)
    shares = expit((140 - x) * 0.08), expit((x - 260) * 0.06)
    return [fit_line(4 * share, trials, x, firth=False) for share in shares]


def summed_rate(fits: list[LogisticFit], x: Any) -> FloatArray:
    return np.asarray(sum(expit(fit.intercept + fit.slope * np.asarray(x)) for fit in fits))


def test_window_lies_between_the_two_responses() -> None:
    fits = limbs(60)
    window = working_window(fits, 0.1, 100, 260)
    assert window.first_met is not None
    assert window.last_met is not None
    ends = np.array([window.first_met, window.last_met])
    assert summed_rate(fits, ends) == pytest.approx([0.1, 0.1])
    assert window.first_met < window.best < window.last_met
    rates = summed_rate(fits, np.linspace(100, 260, 5000))
    assert summed_rate(fits, [window.best])[0] <= rates.min() + 1e-9
    assert not window.starts_before
    assert not window.ends_after
    assert window.first_met_lower is not None
    assert window.first_met_upper is not None
    assert window.first_met_lower < window.first_met < window.first_met_upper < window.best


def test_more_fills_narrow_the_limits_of_the_temperature_first_met() -> None:
    wide, narrow = (working_window(limbs(fills), 0.1, 100, 260) for fills in (60, 240))
    assert wide.first_met_lower is not None
    assert narrow.first_met_lower is not None
    assert wide.first_met is not None
    assert narrow.first_met is not None
    ratio = (wide.first_met - wide.first_met_lower) / (narrow.first_met - narrow.first_met_lower)
    assert ratio == pytest.approx(2, rel=0.25)


def test_a_negligible_hot_response_leaves_the_limits_of_the_cold_one() -> None:
    cold, _ = limbs(60)
    negligible = fit_line([0] * 9 + [90], [100] * 10, [*np.linspace(100, 300, 9), 400.0])
    alone = working_window([cold], 0.1, 100, 260)
    both = working_window([cold, negligible], 0.1, 100, 260)
    assert alone.ends_after
    assert alone.best == 260
    for one, other in (
        (alone.first_met_lower, both.first_met_lower),
        (alone.first_met_upper, both.first_met_upper),
    ):
        assert one is not None
        fall = LikelihoodProfile(cold).statistic_at(one, 0.1)[0]
        assert fall == pytest.approx(coverage_factor() ** 2, rel=1e-3)
        assert other == pytest.approx(one, abs=0.05)


def test_window_is_none_where_the_target_is_met_nowhere() -> None:
    fits = limbs(60)
    window = working_window(fits, 0.01, 100, 260)
    assert (window.first_met, window.last_met) == (None, None)
    assert window.first_met_upper is None
    assert summed_rate(fits, [window.best])[0] > 0.01


def test_window_met_everywhere_has_open_ends() -> None:
    quiet = fit_line([0.0] * 6, [100.0] * 6, TEMPERATURES)
    window = working_window([quiet], 0.2, 100, 200)
    assert (window.first_met, window.last_met) == (100, 200)
    assert window.starts_before
    assert window.ends_after
    assert window.first_met_lower is None
    assert window.first_met_upper == 100


def three_kinds() -> tuple[FloatArray, list[FloatArray], list[LogisticFit]]:
    """30 fills of 5: temperatures about 0 in units of 10 K, flaws of three kinds, and their fits."""
    rng = np.random.default_rng(11)
    x = np.linspace(-6, 6, 30)
    counts = [
        rng.binomial(5, expit(-1.2 * (x + 3))).astype(float),
        rng.binomial(2, expit(1.3 * (x - 4))).astype(float),
        rng.binomial(2, 0.1, 30).astype(float),
    ]
    made = np.full(30, 5.0)
    fits = [fit_line(counts[0], made, x), fit_line(counts[1], made, x), fit_constant(counts[2], made)]
    return x, counts, [with_dispersion(fit, 1.4) for fit in fits]


def by_hand(x: FloatArray, counts: list[FloatArray], at: float, target: float) -> float:
    """The statistic of "the rates at `at` add up to the target", all coefficients at once by scipy's SLSQP.

    Minus twice the log-likelihood, Jeffreys' penalty on the two lines: half the log-determinant of X'WX.
    """

    def logits(b: FloatArray) -> list[FloatArray]:
        return [b[0] + b[1] * x, b[2] + b[3] * x, np.full(x.size, b[4])]

    def objective(b: FloatArray) -> float:
        total = 0.0
        for eta, y, penalised in zip(logits(b), counts, (True, True, False), strict=True):
            p = expit(eta)
            total -= float((y * eta - 5 * np.logaddexp(0, eta)).sum())
            if penalised:
                w = 5 * p * (1 - p)
                total -= 0.5 * float(np.log(w.sum() * (w * x * x).sum() - (w * x).sum() ** 2))
        return 2 * total

    def excess(b: FloatArray) -> float:
        return float(expit(b[0] + b[1] * at) + expit(b[2] + b[3] * at) + expit(b[4])) - target

    start = np.array([-3.0, -1.0, -5.0, 1.0, -3.0])
    free = minimize(objective, start, method="BFGS", options={"gtol": 1e-9})
    bound = NonlinearConstraint(lambda b: np.array([100 * excess(b)]), 0, 0)
    tied = minimize(
        objective, free.x, method="SLSQP", constraints=[bound], options={"ftol": 1e-14, "maxiter": 2000}
    )
    return float(tied.fun - free.fun)


def test_limits_are_where_all_coefficients_fitted_at_once_reject_the_target() -> None:
    x, counts, fits = three_kinds()
    found = working_window(fits, 0.2, -6, 6)
    critical = 1.4 * coverage_factor() ** 2
    ends = (found.first_met_lower, found.first_met_upper, found.last_met_lower, found.last_met_upper)
    for end in ends:
        assert end is not None
        assert by_hand(x, counts, end, 0.2) == pytest.approx(critical, rel=2e-3)
    assert found.first_met is not None
    assert by_hand(x, counts, found.first_met, 0.2) == pytest.approx(0, abs=1e-4)


def test_doubt_in_the_constant_share_widens_the_limits() -> None:
    _, counts, fits = three_kinds()
    share = float(counts[2].sum()) / 150
    known = working_window(fits[:2], 0.2 - share, -6, 6)
    in_doubt = working_window(fits, 0.2, -6, 6)
    assert in_doubt.first_met == pytest.approx(known.first_met)

    def width(window: WorkingWindow) -> float:
        assert window.first_met_lower is not None
        assert window.first_met_upper is not None
        return window.first_met_upper - window.first_met_lower

    assert width(in_doubt) > 1.02 * width(known)


def test_perfect_separation_puts_the_target_between_the_two_sides() -> None:
    temps = np.repeat([100.0, 110.0, 120.0, 150.0, 160.0, 170.0], 2)
    cold = np.where(temps < 130, 5, 0)
    found = flaw_window(temps, np.full(12, 5), cold, NONE, NONE, THREES, target=0.1)
    assert found is not None
    assert found.first_met is not None
    assert 120 < found.first_met < 150
    assert found.falls
    assert found.top is None
    assert found.top_limits == (None, None)


def test_two_limbs_enclose_a_window() -> None:
    temps = np.linspace(90, 220, 40)
    cold, hot = (np.rint(20 * expit(sign * 0.1 * (temps - at))) for sign, at in ((-1, 120), (1, 210)))
    found = flaw_window(temps, np.full(40, 20), cold, hot, np.zeros(40), np.arange(40) // 5, target=0.1)
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
    assert flaw_window(temps, made, four, NONE, NONE, THREES, target=0.1) is None
    assert flaw_window(np.full(12, 120.0), made, made, NONE, NONE, THREES, target=0.1) is None


def test_plain_flaws_beyond_the_target_leave_no_window() -> None:
    temps, made = np.linspace(100, 160, 12), np.full(12, 5)
    cold = np.array([4, 3] + [0] * 10)
    found = flaw_window(temps, made, cold, NONE, np.full(12, 1), THREES, target=0.1)
    assert found is not None
    assert found.window is None
    assert found.first_met is None


def test_all_bad_meets_the_target_nowhere() -> None:
    temps, made = np.linspace(100, 160, 12), np.full(12, 5)
    found = flaw_window(temps, made, made, NONE, NONE, THREES, target=0.1)
    assert found is not None
    assert found.first_met is None
    assert not found.falls


def test_a_slope_that_chance_may_give_is_not_shown() -> None:
    """One cold flaw in every other fill, and one more early on."""
    temps, made = np.linspace(100, 160, 12), np.full(12, 5)
    cold = np.array([1, 1, 1, 0, 1, 0, 1, 0, 1, 0, 1, 0])
    found = flaw_window(temps, made, cold, NONE, NONE, THREES, target=0.1)
    assert found is not None
    assert found.cold is not None
    assert found.cold.slope < 0
    assert not found.falls


def test_flaws_that_differ_by_session_alone_are_not_put_down_to_temperature() -> None:
    """Of 8 sessions, each at one temperature, the two coldest went badly for a reason of their own."""
    sessions = np.repeat(np.arange(8), 6)
    cold = np.where(sessions < 2, 3, 0)
    shown = flaw_window(100.0 + sessions, np.full(48, 5), cold, 0 * cold, 0 * cold, range(48), target=0.1)
    found = flaw_window(100.0 + sessions, np.full(48, 5), cold, 0 * cold, 0 * cold, sessions, target=0.1)
    assert shown is not None
    assert found is not None
    assert shown.window is not None
    assert found.window is not None
    assert found.first_met == shown.first_met
    assert shown.window.first_met_upper is not None
    assert found.window.first_met_upper is None or found.window.first_met_upper > shown.window.first_met_upper


def test_limits_of_the_sum_hold_its_parts_doubt() -> None:
    temps = np.linspace(90, 220, 40)
    cold, hot = (np.rint(20 * expit(sign * 0.1 * (temps - at))) for sign, at in ((-1, 120), (1, 210)))
    found = flaw_window(temps, np.full(40, 20), cold, hot, np.full(40, 1), range(40), target=0.2)
    assert found is not None
    inner = temps[5:]
    low, high = found.total_limits(inner)
    assert np.all((low < found.total(inner)) & (found.total(inner) < high))
    coldest = temps[:1] - 40
    assert found.total(coldest) == 1.0, "cold flaws nearly all, and others beside them"
    assert found.total_limits(coldest)[0] > 0.9, "not from 0 on because the sum reaches 1"
    alone = flaw_window(temps, np.full(40, 20), cold, 0 * cold, 0 * cold, range(40), target=0.2)
    assert alone is not None
    assert alone.cold is not None
    assert np.array(alone.total_limits(inner)) == pytest.approx(np.array(alone.cold.limits(inner)))


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
        found = flaw_window(
            temps, np.full(fills, size), cold, np.zeros(fills), other, range(fills), target=0.1
        )
        assert found is not None
        if found.window is None:
            continue
        low, high = found.window.first_met_lower, found.window.first_met_upper
        covered += (low is None or low <= truth) and (high is None or truth <= high)
    assert covered / runs >= 0.88


def test_the_first_place_above_zero_is_found_in_either_direction() -> None:
    assert first_positive(lambda x: x - 2, 0.0, 10.0, 0.3) == pytest.approx(2, abs=1e-5)
    assert first_positive(lambda x: -x - 2, 0.0, -10.0, 0.3) == pytest.approx(-2, abs=1e-5)
    assert first_positive(lambda x: x - 9.99, 0.0, 10.0, math.inf) == pytest.approx(9.99, abs=1e-5)


def test_the_search_returns_its_start_if_already_positive_and_none_if_never() -> None:
    assert first_positive(lambda x: 1.0, 3.0, 4.0, 0.1) == 3.0
    assert first_positive(lambda x: -1.0, 3.0, 4.0, 0.1) is None
    assert first_positive(lambda x: -1.0, 3.0, 3.0, 0.1) is None


def test_infinite_values_do_not_stop_the_search() -> None:
    assert crossing_between(lambda x: math.inf if x > 1 else -1.0, 0.0, 3.0) == pytest.approx(1, abs=1e-6)


def test_the_lowest_place_may_be_an_edge() -> None:
    def parabola(x: Any) -> Any:
        return (x - 1.234) ** 2

    assert lowest(parabola, 0.0, 5.0) == pytest.approx(1.234, abs=1e-5)
    assert lowest(lambda x: x, 0.0, 5.0) == 0.0
