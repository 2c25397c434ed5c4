"""Groups against their neighbours within strata."""

import pytest

from benchwater.statistics.multiplicity import holm_adjusted
from defect_rate.one_against_rest import adjusted_p, one_against_rest, times_as_often
from defect_rate.stratified import mantel_haenszel, share_ratio

STRATA = ["cold", "cold", "cold", "warm", "warm", "warm"]
GROUPS = ["a", "b", "c"] * 2
TRIALS = [10, 10, 20, 30, 10, 20]
EVENTS = [8, 5, 9, 6, 1, 2]


def test_each_group_is_compared_with_the_sum_of_the_others() -> None:
    found = one_against_rest(STRATA, GROUPS, TRIALS, EVENTS)
    assert found["a"] == mantel_haenszel([8, 6], [10, 30], [14, 3], [30, 30])
    adjusted = adjusted_p([found])[0]
    raw = [found[name].p_value or 0.0 for name in "abc"]
    assert list(adjusted.values()) == pytest.approx(list(holm_adjusted(raw)))


def test_a_group_only_ever_in_cold_strata_is_not_blamed_for_it() -> None:
    found = one_against_rest(["cold", "cold", "warm", "warm"], list("abab"), [40, 10, 10, 40], [20, 5, 1, 4])
    assert found["a"].odds_ratio == pytest.approx(1.0)


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
