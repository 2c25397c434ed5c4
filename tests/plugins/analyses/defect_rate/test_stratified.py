import numpy as np
import pytest

from benchwater.statistics.interval import holm_adjusted
from defect_rate.stratified import (
    MantelHaenszelTest,
    ShareRatio,
    adjusted_p,
    mantel_haenszel,
    one_against_rest,
    share_ratio,
    times_as_often,
)

EVENTS_A, TRIALS_A = [4, 5, 3, 1], [12, 15, 20, 9]
EVENTS_B, TRIALS_B = [6, 7, 4, 2], [36, 44, 61, 30]
STRATA = ["cold", "cold", "cold", "warm", "warm", "warm"]
GROUPS = ["a", "b", "c"] * 2
TRIALS = [10, 10, 20, 30, 10, 20]
EVENTS = [8, 5, 9, 6, 1, 2]


def test_the_test_of_a_common_odds_ratio_matches_statsmodels() -> None:
    # Mantel and Haenszel 1959; outside check by statsmodels.
    from statsmodels.stats.contingency_tables import StratifiedTable

    tables = [
        np.array([[a, n - a], [b, m - b]])
        for a, n, b, m in zip(EVENTS_A, TRIALS_A, EVENTS_B, TRIALS_B, strict=True)
    ]
    test = StratifiedTable(tables).test_null_odds(correction=False)
    found = mantel_haenszel(EVENTS_A, TRIALS_A, EVENTS_B, TRIALS_B)
    assert (found.statistic, found.p_value) == pytest.approx((test.statistic, test.pvalue))


def test_strata_without_contrast_change_nothing() -> None:
    plain = mantel_haenszel(EVENTS_A, TRIALS_A, EVENTS_B, TRIALS_B)
    padded = mantel_haenszel(
        [*EVENTS_A, 0, 3, 2], [*TRIALS_A, 5, 3, 4], [*EVENTS_B, 0, 9, 0], [*TRIALS_B, 15, 9, 0]
    )
    assert padded == plain


def test_no_informative_stratum_gives_none() -> None:
    found = mantel_haenszel([0, 2], [5, 2], [0, 6], [15, 6])
    assert found == MantelHaenszelTest(statistic=None, p_value=None)


def test_events_in_one_group_only_are_still_tested() -> None:
    found = mantel_haenszel([3, 2], [10, 10], [0, 0], [30, 30])
    mirrored = mantel_haenszel([0, 0], [30, 30], [3, 2], [10, 10])
    assert found.p_value is not None
    assert found.p_value < 0.01
    assert found.statistic == pytest.approx(mirrored.statistic)


def test_events_above_trials_are_refused() -> None:
    with pytest.raises(ValueError, match="between 0 and trials"):
        mantel_haenszel([3], [2], [0], [1])


def test_share_ratio_matches_statsmodels_and_with_one_stratum_the_textbook_variance() -> None:
    # Greenland and Robins 1985; outside check of the ratio by statsmodels.
    from statsmodels.stats.contingency_tables import StratifiedTable

    tables = [
        np.array([[a, n - a], [b, m - b]])
        for a, n, b, m in zip(EVENTS_A, TRIALS_A, EVENTS_B, TRIALS_B, strict=True)
    ]
    found = share_ratio(EVENTS_A, TRIALS_A, EVENTS_B, TRIALS_B)
    assert found.ratio == pytest.approx(StratifiedTable(tables).riskratio_pooled)
    one = share_ratio([12], [40], [9], [80])
    reach = np.exp(1.959964 * np.sqrt(1 / 12 - 1 / 40 + 1 / 9 - 1 / 80))
    assert one.ratio == pytest.approx(12 / 40 / (9 / 80))
    assert (one.lower, one.upper) == pytest.approx((one.ratio / reach, one.ratio * reach), rel=1e-6)


def test_share_ratio_with_events_on_one_side_or_none_has_no_limits() -> None:
    assert share_ratio([3, 2], [10, 10], [0, 0], [30, 30]) == ShareRatio(ratio=np.inf, lower=None, upper=None)
    assert share_ratio([0, 0], [30, 30], [3, 2], [10, 10]) == ShareRatio(ratio=0.0, lower=None, upper=None)
    assert share_ratio([0, 2], [5, 2], [0, 0], [15, 0]) == ShareRatio(ratio=None, lower=None, upper=None)


def test_limits_of_the_share_ratio_hold_within_fills_of_a_few_castings() -> None:
    """400 seasons of 60 fills: two castings of a cavity that fails twice as often beside three others."""
    rng = np.random.default_rng(20260711)
    share = rng.uniform(0.05, 0.4, 60)
    covered = 0
    for _ in range(400):
        found = share_ratio(
            rng.binomial(2, 2 * share), np.full(60, 2), rng.binomial(3, share), np.full(60, 3)
        )
        assert found.lower is not None
        assert found.upper is not None
        covered += found.lower <= 2.0 <= found.upper
    assert 0.925 <= covered / 400 <= 0.98


def test_each_group_is_compared_with_the_sum_of_the_others() -> None:
    found = one_against_rest(STRATA, GROUPS, TRIALS, EVENTS)
    assert found["a"] == mantel_haenszel([8, 6], [10, 30], [14, 3], [30, 30])
    adjusted = adjusted_p([found])[0]
    raw = [found[name].p_value or 0.0 for name in "abc"]
    assert list(adjusted.values()) == pytest.approx(list(holm_adjusted(raw)))


def test_a_group_only_ever_in_cold_strata_is_not_blamed_for_it() -> None:
    found = one_against_rest(["cold", "cold", "warm", "warm"], list("abab"), [40, 10, 10, 40], [20, 5, 1, 4])
    assert found["a"].statistic == pytest.approx(0.0)


def test_of_two_groups_there_is_one_test() -> None:
    found = one_against_rest(["s", "s"], ["a", "b"], [20, 20], [10, 2])
    assert adjusted_p([found])[0] == pytest.approx({"a": found["a"].p_value, "b": found["a"].p_value})


def test_dispersion_divides_the_statistic() -> None:
    plain = one_against_rest(STRATA, GROUPS, TRIALS, EVENTS)["a"].statistic
    halved = one_against_rest(STRATA, GROUPS, TRIALS, EVENTS, dispersion=2.0)["a"].statistic
    assert plain is not None
    assert halved == pytest.approx(plain / 2)


def test_nothing_to_compare() -> None:
    assert one_against_rest(["s"], ["a"], [5], [1]) == {}
    apart = one_against_rest(["s", "t"], ["a", "b"], [5, 5], [1, 2])
    assert adjusted_p([apart, {}]) == [{}, {}]
    with pytest.raises(ValueError, match="one length"):
        one_against_rest(["s"], ["a", "b"], [5, 5], [1, 2])


def test_times_as_often_is_the_share_ratio_against_the_sum_of_the_others() -> None:
    found = times_as_often(STRATA, GROUPS, TRIALS, EVENTS, "a")
    assert found == share_ratio([8, 6], [10, 30], [14, 3], [30, 30])
    wide = times_as_often(STRATA, GROUPS, TRIALS, EVENTS, "a", dispersion=4.0)
    assert wide.ratio == found.ratio
    assert wide.upper is not None
    assert found.upper is not None
    assert wide.upper / (wide.ratio or 0) == pytest.approx((found.upper / (found.ratio or 0)) ** 2)
