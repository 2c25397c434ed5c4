"""Comparisons within strata, the trend within them, and the chart of sessions."""

import math

import numpy as np
import pytest
from statsmodels.stats.contingency_tables import StratifiedTable

from benchwater.statistics.interval import holm_adjusted
from defect_rate.rates import (
    ShareRatio,
    adjusted,
    one_against_rest,
    p_chart,
    share_ratio,
    trend_within,
)
from reference_cases import reference_case

EVENTS_A, TRIALS_A = [4, 5, 3, 1], [12, 15, 20, 9]
EVENTS_B, TRIALS_B = [6, 7, 4, 2], [36, 44, 61, 30]
STRATA = ["cold", "cold", "cold", "warm", "warm", "warm"]
GROUPS = ["a", "b", "c"] * 2
TRIALS = [10, 10, 20, 30, 10, 20]
EVENTS = [8, 5, 9, 6, 1, 2]


def compared(*counts: list[int], dispersion: float = 1.0) -> ShareRatio:
    found = share_ratio(*counts, dispersion=dispersion)
    assert found is not None
    return found


def known() -> StratifiedTable:
    counts = zip(EVENTS_A, TRIALS_A, EVENTS_B, TRIALS_B, strict=True)
    return StratifiedTable([np.array([[a, n - a], [b, m - b]]) for a, n, b, m in counts])


def test_the_ratio_is_that_of_statsmodels_and_its_limits_near_the_textbook_ones() -> None:
    # Greenland and Robins 1985; with one stratum the variance of the log ratio is 1/a - 1/n + 1/c - 1/m.
    found = compared(EVENTS_A, TRIALS_A, EVENTS_B, TRIALS_B)
    assert found.ratio == pytest.approx(known().riskratio_pooled)
    one = compared([120], [400], [90], [800])
    reach = np.exp(1.959964 * np.sqrt(1 / 120 - 1 / 400 + 1 / 90 - 1 / 800))
    assert one.ratio == pytest.approx(0.3 / (90 / 800))
    assert one.limits(0.95) == pytest.approx((one.ratio / reach, one.ratio * reach), rel=0.01)


@pytest.mark.parametrize("times", [1, 2, 5])
def test_limits_leave_out_1_just_where_the_test_rejects_it(times: int) -> None:
    found = compared(
        *([count * times for count in counts] for counts in (EVENTS_A, TRIALS_A, EVENTS_B, TRIALS_B))
    )
    for end in found.limits(1 - found.p_value):
        assert end == pytest.approx(1.0) or not 0.99 < end < 1.01
    assert min(abs(end - 1) for end in found.limits(1 - found.p_value)) < 1e-9


def test_events_in_one_group_only_bound_the_ratio_on_one_side() -> None:
    never = compared([3, 2], [10, 10], [0, 0], [30, 30])
    low, high = never.limits(0.95)
    assert never.p_value < 0.01
    assert (never.ratio, high) == (math.inf, math.inf)
    assert 1 < low < 10
    mirrored = compared([0, 0], [30, 30], [3, 2], [10, 10])
    assert mirrored.ratio == 0
    assert mirrored.limits(0.95) == pytest.approx((0.0, 1 / low))
    assert mirrored.p_value == pytest.approx(never.p_value)


def test_no_informative_stratum_gives_none() -> None:
    assert share_ratio([0, 2], [5, 2], [0, 6], [15, 6]) is None


def test_each_group_is_compared_with_the_sum_of_the_others_and_limits_agree_with_holm() -> None:
    found = one_against_rest(STRATA, GROUPS, TRIALS, EVENTS)
    assert found["a"] == share_ratio([8, 6], [10, 30], [14, 3], [30, 30])
    (after,) = adjusted([found])
    assert [each.p for each in after.values()] == pytest.approx(
        list(holm_adjusted([found[name].p_value for name in "abc"]))
    )
    for name, ratio in found.items():
        low, high = ratio.limits(after[name].level)
        assert (after[name].p < 0.05) == (not low <= 1 <= high)
        assert after[name].level >= 0.95


def test_a_group_only_ever_in_cold_strata_is_not_blamed_for_it() -> None:
    found = one_against_rest(["cold", "cold", "warm", "warm"], list("abab"), [40, 10, 10, 40], [20, 5, 1, 4])
    assert found["a"].p_value == pytest.approx(1.0)


def test_of_two_groups_there_is_one_test() -> None:
    found = one_against_rest(["s", "s"], ["a", "b"], [20, 20], [10, 2])
    (after,) = adjusted([found])
    assert {name: each.p for name, each in after.items()} == pytest.approx(
        {"a": found["a"].p_value, "b": found["a"].p_value}
    )
    assert after["a"].level == pytest.approx(0.95)


def test_dispersion_multiplies_the_variance() -> None:
    wide, plain = (
        compared(EVENTS_A, TRIALS_A, EVENTS_B, TRIALS_B, dispersion=factor) for factor in (4.0, 1.0)
    )
    assert wide.ratio == plain.ratio
    assert wide.spread == pytest.approx(4 * plain.spread)


def test_nothing_to_compare() -> None:
    assert one_against_rest(["s"], ["a"], [5], [1]) == {}
    apart = one_against_rest(["s", "t"], ["a", "b"], [5, 5], [1, 2])
    assert adjusted([apart, {}]) == [{}, {}]


def test_a_trend_over_two_values_is_the_test_of_mantel_and_haenszel() -> None:
    # Mantel and Haenszel 1959; outside check by statsmodels.
    test = known().test_null_odds(correction=False)
    strata, x = [*range(4), *range(4)], [1] * 4 + [0] * 4
    counts = [*EVENTS_A, *EVENTS_B], [*TRIALS_A, *TRIALS_B]
    assert trend_within(strata, x, *counts) == pytest.approx((1.0, test.pvalue))
    halved = trend_within(strata, x, *counts, dispersion=4.0)[1]
    assert halved > test.pvalue


def test_what_strata_differ_by_is_no_trend() -> None:
    assert trend_within([1, 1, 2, 2], [0, 0, 9, 9], [0, 0, 5, 5], [9, 9, 9, 9]) == (0.0, 1.0)


def test_p_chart_matches_montgomery() -> None:
    # NIST/SEMATECH e-Handbook 6.3.3.2; Montgomery, Introduction to Statistical Quality Control, chapter 7.
    case = reference_case("chart_p_constant")
    chart = p_chart(case.numbers("defective"), case.numbers("n"))
    found = {
        "center": chart.center,
        "ucl": chart.upper[0],
        "lcl": chart.lower[0],
        "out": list(np.flatnonzero(chart.above | chart.below) + 1),
    }
    for key, value in found.items():
        expected, tol = case.answer(key)
        assert value == pytest.approx(expected, abs=max(tol, 1e-12)), key
        if key in case.published:
            printed = case.published[key]
            assert value == pytest.approx(printed["value"], abs=max(printed["tol"], 1e-12)), key


def test_a_point_on_its_limit_is_not_beyond_it_and_a_good_one_is_told_from_a_bad_one() -> None:
    # By hand: center 1/2; of 4 trials with one sigma the limits are 1/2 +- 1/4.
    chart = p_chart([3, 1, 4, 0], [4, 4, 4, 4], sigmas=1.0)
    assert chart.above.tolist() == [False, False, True, False]
    assert chart.below.tolist() == [False, False, False, True]


def test_limits_stay_within_0_and_1() -> None:
    chart = p_chart([1, 3], [4, 4])
    assert (chart.center, chart.lower[0], chart.upper[0]) == (0.5, 0, 1)
    assert not (chart.above | chart.below).any()
