import pytest

from bait_mortality.compared_rates import compare_rates
from bait_mortality.stratified_rates import common_rate_ratio
from benchwater.statistics.rates import rate_ratio

EVENTS = [2, 4, 1, 0, 3, 1]
EXPOSURE = [1.0, 2.0, 5.0, 1.5, 2.0, 0.0]
FIRST = [True, True, False, False, True, False]
SECOND = [False, False, True, True, False, False]


def test_records_are_added_up_by_group_and_stratum() -> None:
    result = compare_rates(EVENTS, EXPOSURE, FIRST, SECOND, ["a", "b", "b", "a", "c", "a"])
    assert result.events == (9, 1)
    assert result.exposure == (5.0, 6.5)
    assert result.crude == rate_ratio(9, 5.0, 1, 6.5)
    assert result.within == common_rate_ratio([2, 4], [1.0, 2.0], [0, 1], [1.5, 5.0])
    assert result.excess == pytest.approx(9 - 5.0 / 6.5)
    assert result.worse_throughout == (result.crude.low > 1 and (result.within.low or 0.0) > 1)


def test_one_stratum_gives_the_crude_ratio_twice() -> None:
    result = compare_rates(EVENTS, EXPOSURE, FIRST, SECOND, [0] * 6)
    assert (result.within.ratio, result.within.low) == pytest.approx((result.crude.ratio, result.crude.low))
    assert result.worse_throughout


def test_without_a_common_stratum_there_is_nothing_within() -> None:
    result = compare_rates(EVENTS, EXPOSURE, FIRST, SECOND, FIRST)
    assert result.within.ratio is None
    assert not result.worse_throughout


def test_groups_that_overlap_are_refused() -> None:
    with pytest.raises(ValueError, match="share"):
        compare_rates(EVENTS, EXPOSURE, FIRST, FIRST, [0] * 6)
