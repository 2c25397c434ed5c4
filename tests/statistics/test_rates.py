import math

import numpy as np
import pytest
import statsmodels.api as sm
from scipy.stats import binom, t

from benchwater.statistics.rates import (
    dispersion,
    events_needed,
    more_exposure,
    poisson_interval,
    poisson_rate,
    rate_ratio,
    ratio_of_totals,
)
from reference_cases import reference_case, worked_examples


def test_poisson_limits_match_garwood_1936() -> None:
    # Garwood 1936, Biometrika 28:437-442; includes a count of 0.
    case = reference_case("poisson_garwood")
    computed = [poisson_interval(count) for count in case.numbers("count")]
    assert [i.estimate for i in computed] == case.answer("count")[0]
    for limit, values in (("lower", [i.low for i in computed]), ("upper", [i.high for i in computed])):
        expected, tol = case.answer(limit)
        assert values == pytest.approx(expected, abs=tol)
        printed = case.published[limit]
        assert [values[i - 1] for i in printed["index"]] == pytest.approx(
            printed["value"], abs=printed["tol"]
        )


def test_a_rate_is_the_mean_over_its_exposure() -> None:
    mean, rate = poisson_interval(4), poisson_rate(4, 2.5)
    assert (rate.estimate, rate.low, rate.high) == pytest.approx(
        (mean.estimate / 2.5, mean.low / 2.5, mean.high / 2.5)
    )


def test_the_exact_rate_ratio_matches_the_fluoroscopy_example() -> None:
    # Boice & Monson 1977 in Rothman & Greenland; the Stata manual's incidence-rate ratio page.
    case = reference_case("rate_ratio_exact")
    (x1, x2), (t1, t2) = case.numbers("events"), case.numbers("person_years")
    result = rate_ratio(x1, t1, x2, t2)
    computed = {
        "ratio": result.ratio,
        "lower": result.low,
        "upper": result.high,
        "rate2": result.rate2,
        "p_central": result.p_central,
    }
    for key, value in computed.items():
        expected, tol = case.answer(key)
        assert value == pytest.approx(expected, abs=tol)
        if key in case.published:
            assert value == pytest.approx(case.published[key]["value"], abs=case.published[key]["tol"])


def test_rate_ratio_p_values_are_those_of_the_summed_binomial_probabilities() -> None:
    x1, x2, t1, t2 = 2, 9, 3.0, 4.0
    probability = [float(binom.pmf(k, x1 + x2, t1 / (t1 + t2))) for k in range(x1 + x2 + 1)]
    lower_tail = sum(probability[: x1 + 1])
    result = rate_ratio(x1, t1, x2, t2)
    assert result.p_central == pytest.approx(2 * lower_tail)


def test_a_group_without_events_leaves_one_finite_limit() -> None:
    first, second = rate_ratio(0, 10, 4, 20), rate_ratio(4, 20, 0, 10)
    assert (first.ratio, first.low) == (0.0, 0.0)
    assert (second.ratio, second.high) == (math.inf, math.inf)
    # With none of 4 events in the first group the upper share p solves (1 - p)^4 = 0.025.
    share = 1 - 0.025**0.25
    assert first.high == pytest.approx(share / (1 - share) * 2)
    assert second.low == pytest.approx(1 / first.high)
    assert first.p_central == pytest.approx(second.p_central)
    assert first.p_central == pytest.approx(2 * (2 / 3) ** 4)


def test_comparisons_without_events_or_exposure_are_refused() -> None:
    with pytest.raises(ValueError, match="at least one event"):
        rate_ratio(0, 1, 0, 1)
    with pytest.raises(ValueError, match="exposure2 must be a finite number above 0"):
        rate_ratio(1, 1, 1, 0)
    with pytest.raises(ValueError, match="events1 must be a whole number"):
        rate_ratio(1.5, 1, 1, 1)


def test_ratio_and_standard_error_match_cochrans_49_cities() -> None:
    # Cochran 1977, Sampling Techniques, chapter 6; Davison & Hinkley 1997 for the ratio.
    case = reference_case("ratio_cities49")
    result = ratio_of_totals(case.numbers("y_1930"), case.numbers("x_1920"))
    computed = {
        "n": result.units,
        "ratio": result.ratio,
        "se_jackknife": result.ratio * math.log(result.high / result.ratio) / t.ppf(0.975, result.units - 1),
        "total_x": result.total_x,
        "total_y": result.total_y,
    }
    for key, value in computed.items():
        expected, tol = case.answer(key)
        assert value == pytest.approx(expected, abs=tol)
        if key in case.published:
            assert value == pytest.approx(case.published[key]["value"], abs=case.published[key]["tol"])
    assert result.low < result.ratio < result.high
    assert result.low * result.high == pytest.approx(result.ratio**2)


@pytest.mark.parametrize(("name", "inputs", "expected", "tol"), worked_examples("cpue"))
def test_catch_per_effort_is_the_ratio_of_means_not_the_mean_of_ratios(
    name: str, inputs: dict[str, list[list[int]]], expected: dict[str, float], tol: float
) -> None:
    hours, catch = zip(*inputs["trips_hours_catch"], strict=True)
    assert ratio_of_totals(catch, hours).ratio == pytest.approx(expected["ratio_of_means"], rel=tol)


def test_no_catch_at_all_leaves_the_exact_poisson_upper_limit() -> None:
    result = ratio_of_totals([0, 0, 0], [2, 3, 5])
    assert (result.ratio, result.low) == (0.0, 0.0)
    assert result.high == pytest.approx(-math.log(0.025) / 10)


def test_counts_that_happen_not_to_vary_keep_the_poisson_limits() -> None:
    poisson = poisson_rate(3, 6)
    for y, x in (([1, 1, 1], [2, 2, 2]), ([3], [6])):
        result = ratio_of_totals(y, x)
        assert (result.low, result.high) == pytest.approx((poisson.low, poisson.high))


def test_one_dominant_unit_gives_wide_limits_without_overflow() -> None:
    result = ratio_of_totals([5, 0], [0.001, 5])
    assert (result.low, result.high) == (0.0, math.inf)


def test_unusable_units_are_refused() -> None:
    for y, x, message in (
        ([1, 2], [1], "one length"),
        ([], [], "at least one sampling unit"),
        ([-1], [1], "y must hold finite"),
        ([1], [0], "x must hold finite numbers above 0"),
        ([0.5], [1], "whole numbers"),
    ):
        with pytest.raises(ValueError, match=message):
            ratio_of_totals(y, x)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("rate", "shape", "least"),
    [(0.2, 1.0, 0.95), (0.5, 1.0, 0.925), (1.5, 4.0, 0.93), (0.5, 0.5, 0.90)],
)
def test_limits_hold_the_true_rate_over_ten_overdispersed_trips(
    rate: float, shape: float, least: float
) -> None:
    rng = np.random.default_rng(20)
    seasons, trips = 10000, 10
    held, trips_without_catch = 0, 0
    for _ in range(seasons):
        hours = rng.uniform(1.0, 6.0, trips)
        catch = rng.poisson(rate * hours * rng.gamma(shape, 1.0 / shape, trips))
        trips_without_catch += int(np.sum(catch == 0))
        result = ratio_of_totals(catch, hours)
        held += result.low <= rate <= result.high
    assert trips_without_catch > 0
    assert held / seasons >= least


def test_dispersion_is_pearsons_of_a_poisson_regression_on_a_constant():
    events, exposure = np.array([0.0, 7, 1, 3, 9]), np.array([2.0, 3, 2, 4, 3])
    model = sm.GLM(events, np.ones(5), family=sm.families.Poisson(), exposure=exposure).fit()
    assert dispersion(events, exposure) == pytest.approx(model.pearson_chi2 / model.df_resid)
    assert dispersion([2, 2, 2], [1, 1, 1]) == 1


def test_the_hours_asked_for_tell_a_double_rate_from_chance_eight_times_in_ten():
    """Drawn: 30 events in 100 hours so far, half each way, then what is asked for, at twice the rate."""
    generator = np.random.default_rng(11)
    more = more_exposure(30, (50, 50))
    assert more_exposure(30, (100, 0)) == pytest.approx(65.3 / 0.3, rel=1e-2)  # no hour the other way yet
    half = 50 + more / 2
    one, other = generator.poisson(0.4 * half, 20_000), generator.poisson(0.2 * half, 20_000)
    z = np.log(one / other) / np.sqrt(1 / one + 1 / other)
    assert np.mean(z > 1.96) == pytest.approx(0.8, abs=0.05)
    assert more_exposure(300, (500, 500)) == 0
    assert more_exposure(1, (50, 50)) == pytest.approx(64.3 * 100, rel=1e-2), "one event tells the rate"
    with pytest.raises(ValueError, match="no rate"):
        more_exposure(0, (50, 50))


def test_schoenfelds_number_of_events_is_his():
    """(1.96 + 1.645)² / (0.25 ln² 1.5) = 316 at 95 % power; 65 tell 2 times apart at 80 %."""
    assert events_needed(1.5, power=0.95) == pytest.approx(316.2, abs=0.5)
    assert events_needed(2.0) == pytest.approx(65.3, abs=0.1)
    assert events_needed(2.0, design_effect=3.0) == pytest.approx(3 * events_needed(2.0))
