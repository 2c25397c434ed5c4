import math

import numpy as np
import pytest

from benchwater.statistics.interval import holm_adjusted, normal_quantile, tail_probability, whole_count


def test_levels_outside_0_to_1_are_refused() -> None:
    for level in (0.0, 1.0, 95.0, math.nan):
        with pytest.raises(ValueError, match="confidence level"):
            tail_probability(level)


def test_the_normal_quantile_of_95_per_cent_is_1_96() -> None:
    assert normal_quantile(0.95) == pytest.approx(1.959963984540054, abs=1e-12)


def test_counts_that_are_not_whole_are_refused_by_name() -> None:
    assert whole_count(3.0, "events") == 3
    for value in (-1, 0.5, math.nan, math.inf):
        with pytest.raises(ValueError, match="events must be a whole number"):
            whole_count(value, "events")


def test_holm_multiplies_step_down_and_keeps_the_order() -> None:
    # By hand: sorted 0.01, 0.03, 0.04 times 3, 2, 1, then made non-decreasing.
    assert holm_adjusted([0.04, 0.01, 0.03]) == pytest.approx([0.06, 0.03, 0.06])
    assert holm_adjusted([0.6, 0.9]) == pytest.approx([1.0, 1.0])


def test_no_tests_adjust_to_none_and_missing_values_are_refused() -> None:
    assert len(holm_adjusted([])) == 0
    for values in ([0.1, math.nan], [-0.1], [1.1]):
        with pytest.raises(ValueError, match="between 0 and 1"):
            holm_adjusted(np.array(values))
