"""Design effects by hand, and the interval against Wilson's own."""

import numpy as np
import pytest

from benchwater.statistics.clustered import clustered_wilson_interval, design_effect
from benchwater.statistics.proportions import wilson_interval


def test_clusters_all_alike_count_as_one_trial_each() -> None:
    assert design_effect([5, 0, 5, 0, 5, 0], [5] * 6) == pytest.approx(5.0)


def test_design_effect_by_hand() -> None:
    # p = 8/20; residuals 1, -1, 2, -2, 0 -> 10 * 5/4 / (20 * 0.24)
    assert design_effect([3, 0 + 1, 4, 0, 2], [4, 4, 5, 4, 5]) == pytest.approx(
        5
        / 4
        * sum((y - 10 / 22 * n) ** 2 for y, n in zip([3, 1, 4, 0, 2], [4, 4, 5, 4, 5], strict=True))
        / (22 * (10 / 22) * (12 / 22))
    )


def test_what_strata_differ_by_is_no_part_of_it() -> None:
    events, trials = [4, 4, 4, 4, 1, 1, 1, 1], [5] * 8
    assert design_effect(events, trials) > 1.5
    assert design_effect(events, trials, ["cold"] * 4 + ["warm"] * 4) == 1.0


def test_what_cannot_be_estimated_is_one() -> None:
    assert design_effect([2, 0], [5, 5]) == 1.0
    assert design_effect([0] * 9, [5] * 9) == 1.0
    assert design_effect([], []) == 1.0
    assert design_effect([5, 0, 1, 2], [5, 5, 5, 5], ["a", "b", "c", "d"]) == 1.0


def test_independent_castings_have_an_effect_near_one() -> None:
    rng = np.random.default_rng(11)
    effects = [design_effect(rng.binomial(5, 0.3, 60), np.full(60, 5), at_least=0.0) for _ in range(200)]
    assert np.mean(effects) == pytest.approx(1.0, abs=0.04)


@pytest.mark.parametrize(("events", "trials"), [(0, 7), (3, 11), (11, 11)])
def test_effect_of_one_is_wilson(events: int, trials: int) -> None:
    plain, clustered = wilson_interval(events, trials), clustered_wilson_interval(events, trials, 1.0)
    assert (clustered.low, clustered.high) == pytest.approx((plain.low, plain.high))


def test_effect_of_two_is_wilson_of_half_the_trials() -> None:
    half, clustered = wilson_interval(5, 20), clustered_wilson_interval(10, 40, 2.0)
    assert (clustered.low, clustered.high) == pytest.approx((half.low, half.high))


def test_senseless_input_is_refused() -> None:
    with pytest.raises(ValueError, match="between 0 and trials"):
        design_effect([3], [2])
    with pytest.raises(ValueError, match="one length"):
        design_effect([3, 1], [4])
    with pytest.raises(ValueError, match="at least 1"):
        clustered_wilson_interval(1, 2, 0.5)
    with pytest.raises(ValueError, match="trials"):
        clustered_wilson_interval(0, 0, 1.0)
