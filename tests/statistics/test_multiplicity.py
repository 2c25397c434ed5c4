import math
from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from benchwater.statistics.multiplicity import holm_adjusted, sidak_adjusted

Adjustment = Callable[[NDArray[np.float64]], NDArray[np.float64]]


def test_holm_multiplies_step_down_and_keeps_the_order() -> None:
    # By hand: sorted 0.01, 0.03, 0.04 times 3, 2, 1, then made non-decreasing.
    assert holm_adjusted([0.04, 0.01, 0.03]) == pytest.approx([0.06, 0.03, 0.06])
    assert holm_adjusted([0.6, 0.9]) == pytest.approx([1.0, 1.0])


def test_sidak_of_a_certain_outcome_stays_1() -> None:
    assert sidak_adjusted([1.0, 0.5]) == pytest.approx([1.0, 0.75])


@pytest.mark.parametrize(("adjusted", "method"), [(holm_adjusted, "holm"), (sidak_adjusted, "sidak")])
def test_adjusted_p_values_agree_with_statsmodels(adjusted: Adjustment, method: str) -> None:
    from statsmodels.stats.multitest import multipletests

    rng = np.random.default_rng(11)
    p = np.concatenate((rng.uniform(0, 0.2, 8), [0.0, 0.99, 0.05, 0.05]))
    assert adjusted(p) == pytest.approx(multipletests(p, method=method)[1], abs=1e-12)


def test_no_tests_adjust_to_none_and_missing_values_are_refused() -> None:
    assert len(holm_adjusted([])) == len(sidak_adjusted([])) == 0
    for values in ([0.1, math.nan], [-0.1], [1.1]):
        for adjusted in (holm_adjusted, sidak_adjusted):
            with pytest.raises(ValueError, match="between 0 and 1"):
                adjusted(np.array(values))
