"""Confounding: groups that never meet, a difference that another factor explains, one it does not."""

import pytest

from bait_mortality.confounding import held_like
from benchwater.statistics.rates import rate_ratio

FIRST, SECOND = [True, True, False, False], [False, False, True, True]
LEVELS = ["pond", "reach", "pond", "reach"]


def test_groups_that_never_meet_cannot_be_told_apart() -> None:
    found = held_like([9, 2], [10.0, 10.0], [True, False], [False, True], ["pond", "reach"])
    assert found is not None
    assert found.apart
    assert found.information == 0
    assert found.only == ("pond", "reach")
    assert found.within.ratio is None


def test_groups_spread_alike_keep_all_information_and_the_ratio() -> None:
    found = held_like([20, 20, 5, 5], [50.0, 50.0, 25.0, 25.0], FIRST, SECOND, LEVELS)
    assert found is not None
    assert found.information == pytest.approx(1)
    assert found.within.ratio == pytest.approx(2)
    assert found.only == (None, None)
    assert not found.apart
    assert not found.explains(rate_ratio(40, 100.0, 10, 50.0))


@pytest.mark.parametrize("swap", [False, True])
def test_a_difference_that_the_other_factor_makes_is_explained_by_it(swap: bool) -> None:
    """One in two at the pond, one in twenty on the reach, for both groups; they differ by where they were."""
    events, hours = [40, 1, 10, 4], [80.0, 20.0, 20.0, 80.0]
    first, second = (SECOND, FIRST) if swap else (FIRST, SECOND)
    crude = rate_ratio(14, 100.0, 41, 100.0) if swap else rate_ratio(41, 100.0, 14, 100.0)
    found = held_like(events, hours, first, second, LEVELS)
    assert found is not None
    assert not found.apart
    assert found.within.ratio == pytest.approx(1, rel=1e-6)
    assert found.explains(crude)


def test_no_loss_on_one_side_is_no_sign_of_confounding() -> None:
    found = held_like([10, 10, 0, 0], [50.0, 50.0, 50.0, 50.0], FIRST, SECOND, LEVELS)
    assert found is not None
    assert not found.explains(rate_ratio(20, 100.0, 0, 100.0))


def test_one_level_leaves_nothing_to_confound() -> None:
    assert held_like([1, 2, 3, 4], [1.0, 1.0, 1.0, 1.0], FIRST, SECOND, ["pond"] * 4) is None


@pytest.mark.parametrize("levels", [LEVELS, ["pond", "pond", "reach", "reach"], ["a", "b", "b", "c"]])
def test_without_limits_and_by_place_it_is_judged_the_same(levels: list[str]) -> None:
    told = [30, 4, 9, 11], [80.0, 20.0, 25.0, 75.0], FIRST, SECOND
    whole, names = held_like(*told, levels), sorted(set(levels))
    places = [names.index(level) for level in levels]
    quick = held_like(*told, places, names=names, limits=False)
    assert whole is not None
    assert quick is not None
    assert (quick.information, quick.only, quick.within.ratio) == (
        whole.information,
        whole.only,
        whole.within.ratio,
    )
    assert (quick.within.low, quick.within.p_central) == (None, None)
