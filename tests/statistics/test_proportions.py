from collections.abc import Callable

import numpy as np
import pytest
from scipy.stats import betanbinom

from benchwater.statistics.interval import Interval
from benchwater.statistics.proportions import (
    clopper_pearson_interval,
    cochran_armitage,
    design_effect,
    few_cluster_effect,
    unseen,
    wilson_interval,
)
from reference_cases import reference_case, worked_examples


@pytest.mark.parametrize(
    ("interval", "prefix"), [(wilson_interval, "wilson"), (clopper_pearson_interval, "cp")]
)
def test_single_proportions_match_newcombe_1998(
    interval: Callable[[int, int], Interval], prefix: str
) -> None:
    # Newcombe 1998, Statistics in Medicine 17:857-872, methods 3 and 5; includes 0 of 20.
    case = reference_case("binom_newcombe")
    computed = [interval(int(x), int(n)) for x, n in zip(case.numbers("x"), case.numbers("n"), strict=True)]
    for limit, values in (("lower", [i.low for i in computed]), ("upper", [i.high for i in computed])):
        expected, tol = case.answer(f"{prefix}_{limit}")
        assert values == pytest.approx(expected, abs=tol)
        printed = case.published[f"{prefix}_{limit}"]
        assert values == pytest.approx(printed["value"], abs=printed["tol"])


@pytest.mark.parametrize(("name", "inputs", "expected", "tol"), worked_examples("wilson95"))
def test_wilson_matches_the_worked_examples(
    name: str, inputs: dict[str, int], expected: dict[str, float], tol: float
) -> None:
    # Wilson 1927, J. Amer. Statist. Assoc. 22:209-212.
    interval = wilson_interval(inputs["k"], inputs["n"])
    assert (interval.estimate, interval.low, interval.high) == pytest.approx(
        (expected["p"], expected["lo"], expected["hi"]), rel=tol, abs=1e-12
    )


def test_limits_at_the_ends_are_exact_and_mirror_each_other() -> None:
    for interval in (wilson_interval, clopper_pearson_interval):
        none, all_of_them = interval(0, 7), interval(7, 7)
        assert none.low == 0.0
        assert all_of_them.high == 1.0
        assert all_of_them.low == pytest.approx(1.0 - none.high, abs=1e-12)
    assert clopper_pearson_interval(0, 7).high == pytest.approx(1.0 - 0.025 ** (1 / 7), abs=1e-12)


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


def test_effect_of_two_is_wilson_of_half_the_trials() -> None:
    half, clustered = wilson_interval(5, 20), wilson_interval(10, 40, 2.0)
    assert (clustered.low, clustered.high) == pytest.approx((half.low, half.high))


def test_few_clusters_put_students_t_into_the_effect() -> None:
    """Korn and Graubard 1998, by hand: 4 clusters of 5, all or nothing; t of 3 degrees is 3.18245."""
    assert few_cluster_effect([5, 0, 5, 0], [5] * 4) == pytest.approx(5 * (3.182446 / 1.959964) ** 2)
    alike = few_cluster_effect([2, 3, 2, 3], [5] * 4)
    assert alike == 1.0, "clusters that hardly differ are not taken for more than their trials"
    strata = few_cluster_effect([5, 4, 0, 0], [5] * 4, ["a", "a", "b", "b"])
    assert strata == pytest.approx(2 * 0.5 / (0.9 * 0.1 * 10) * (4.302653 / 1.959964) ** 2)
    # Two clusters: (1 + 1) * 2 / 1 over 20 * 0.2 * 0.8, and the t quantile of one degree of freedom.
    assert few_cluster_effect([3, 1], [10, 10]) == pytest.approx(4 / 3.2 * (12.706205 / 1.959964) ** 2)
    assert few_cluster_effect([3], [10]) is None


def test_clusters_that_tell_nothing_leave_the_trials_or_say_so() -> None:
    assert few_cluster_effect([0, 0, 0], [5, 5, 5]) == 1.0
    assert few_cluster_effect([3], [5]) is None
    assert few_cluster_effect([3, 1], [5, 5], ["a", "b"]) is None


def test_senseless_input_is_refused() -> None:
    with pytest.raises(ValueError, match="between 0 and trials"):
        design_effect([3], [2])
    with pytest.raises(ValueError, match="one length"):
        design_effect([3, 1], [4])
    for impossible in ((0, 0), (4, 3), (-1, 3), (1, 2, 0.5)):
        with pytest.raises(ValueError, match="are no proportion"):
            wilson_interval(*impossible)


@pytest.mark.parametrize(
    ("prefix", "scores"),
    [("", [0, 0.5, 1.5, 4, 7]), ("equal.", [1, 2, 3, 4, 5]), ("score8.", [0, 0.5, 1.5, 4, 8])],
)
def test_trend_matches_graubard_and_korn_1987(prefix: str, scores: list[float]) -> None:
    # Graubard and Korn 1987, Biometrics 43:471-476; Agresti, Categorical Data Analysis; a StatXact example.
    case = reference_case("trend_malformation")
    found = cochran_armitage(case.numbers("cases"), case.numbers("total"), scores)
    assert found is not None
    total = sum(case.numbers("total"))
    computed = {"chisq": found.statistic, "p": found.p_value, "m2": found.statistic * (total - 1) / total}
    for key, value in computed.items():
        expected, tol = case.answer(prefix + key)
        assert value == pytest.approx(expected, abs=tol)
        if prefix + key in case.published:
            printed = case.published[prefix + key]
            assert value == pytest.approx(printed["value"], abs=printed["tol"])
    assert found.slope > 0


def test_slope_is_the_change_of_a_straight_proportion() -> None:
    found = cochran_armitage([10, 20, 30], [100, 100, 100], [150, 160, 170])
    assert found is not None
    assert found.slope == pytest.approx(0.01)


def test_dispersion_divides_the_statistic() -> None:
    plain = cochran_armitage([10, 20, 30], [100, 100, 100], [1, 2, 3])
    halved = cochran_armitage([10, 20, 30], [100, 100, 100], [1, 2, 3], dispersion=2)
    assert plain is not None
    assert halved is not None
    assert halved.statistic == pytest.approx(plain.statistic / 2)


@pytest.mark.parametrize(
    ("events", "trials", "scores"),
    [([0, 0], [4, 4], [1, 2]), ([4, 4], [4, 4], [1, 2]), ([1, 2], [4, 4], [1, 1]), ([1, 0], [4, 0], [1, 2])],
)
def test_nothing_to_test_gives_none(events: list[float], trials: list[float], scores: list[float]) -> None:
    assert cochran_armitage(events, trials, scores) is None


def test_events_above_trials_are_refused() -> None:
    with pytest.raises(ValueError, match="between 0 and trials"):
        cochran_armitage([5, 1], [4, 4], [1, 2])


def test_how_many_were_not_seen_is_bracketed_at_its_level() -> None:
    # scipy's beta-negative binomial; without others nothing is known of the share, and no number is excluded.
    low, high = unseen(9, 6, 6)
    there = betanbinom(10, 7, 7)
    assert there.cdf(low - 1) < 0.025 <= there.cdf(low)
    assert there.cdf(high - 1) < 0.975 <= there.cdf(high)
    assert unseen(5, 1000, 0) == (0.0, 0.0)
    assert unseen(1, 0, 3)[1] > 50
