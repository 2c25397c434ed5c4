import math

import numpy as np
import pytest

from benchwater.statistics.rates import poisson_rate
from catch_rate.ratio import ratio_of_totals
from reference_cases import reference_case, worked_examples


def test_ratio_and_standard_errors_match_cochrans_49_cities() -> None:
    # Cochran 1977, Sampling Techniques, chapter 6; Davison & Hinkley 1997 for the ratio.
    case = reference_case("ratio_cities49")
    result = ratio_of_totals(case.numbers("y_1930"), case.numbers("x_1920"))
    computed = {
        "n": result.units,
        "ratio": result.ratio,
        "se": result.se,
        "se_jackknife": result.se_jackknife,
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
    assert math.isnan(ratio_of_totals([0, 0, 0], [2, 3, 5], counts=False).high)


def test_counts_that_happen_not_to_vary_keep_the_poisson_limits() -> None:
    poisson = poisson_rate(3, 6)
    for y, x in (([1, 1, 1], [2, 2, 2]), ([3], [6])):
        result = ratio_of_totals(y, x)
        assert (result.low, result.high) == pytest.approx((poisson.low, poisson.high))
    weighed = ratio_of_totals([1.5, 1.5], [2, 2], counts=False)
    assert weighed.low == pytest.approx(weighed.high)


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
