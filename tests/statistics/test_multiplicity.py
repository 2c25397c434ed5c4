import math

import numpy as np
import pytest

from benchwater.statistics.multiplicity import holm_adjusted


def test_holm_multiplies_step_down_and_keeps_the_order() -> None:
    # By hand: sorted 0.01, 0.03, 0.04 times 3, 2, 1, then made non-decreasing.
    assert holm_adjusted([0.04, 0.01, 0.03]) == pytest.approx([0.06, 0.03, 0.06])
    assert holm_adjusted([0.6, 0.9]) == pytest.approx([1.0, 1.0])


def test_no_tests_adjust_to_none_and_missing_values_are_refused() -> None:
    assert len(holm_adjusted([])) == 0
    for values in ([0.1, math.nan], [-0.1], [1.1]):
        with pytest.raises(ValueError, match="between 0 and 1"):
            holm_adjusted(np.array(values))
