import numpy as np
import pytest
from scipy.stats import chi2

from benchwater.ledger.count_chain import reconcile_counts


def test_two_counts_share_the_imbalance_by_variance() -> None:
    # 100 - 30 is 70, and 64 was counted: 6 over three quantities of variance 1, 4, 1.
    found = reconcile_counts([100, 64], [1, 1], [-30], [2]).reconciliation
    assert found.reconciled == pytest.approx([99, 65, -34])
    assert found.statistic == pytest.approx(6.0)
    assert found.p_value == pytest.approx(chi2.sf(6.0, 1))


def test_chain_that_agrees_has_no_suspect() -> None:
    found = reconcile_counts([100, 80, 61, 40], [1] * 4, [-20, -20, -20], [1] * 3)
    assert found.agrees
    assert found.suspects == ()


@pytest.mark.parametrize("flow", [1, 2])
def test_what_left_without_a_row_is_the_flow(flow: int) -> None:
    counts = np.array([100.0, 80, 60, 40, 20])
    counts[flow + 1 :] -= 30
    found = reconcile_counts(counts, [1] * 5, [-20] * 4, [1] * 4)
    assert not found.agrees
    assert found.suspects == ((5 + flow,),)


def test_mistyped_count_is_the_count() -> None:
    found = reconcile_counts([100, 80, 600, 40, 20], [1] * 5, [-20] * 4, [1] * 4)
    assert found.suspects == ((2,),)


def test_last_count_and_last_flow_cannot_be_told_apart() -> None:
    found = reconcile_counts([100, 80, 60, 10], [1] * 4, [-20] * 3, [1] * 3)
    assert found.suspects == ((3, 6),)


def test_two_errors_are_found_one_after_the_other() -> None:
    counts = [100, 80, 30, 10, -10, -10 + 7, -30 + 7, -50 + 7]
    found = reconcile_counts(counts, [0.5] * 8, [-20] * 7, [0.5] * 7)
    assert found.suspects == ((9,), (12,))


def test_chain_wrong_everywhere_blames_nobody() -> None:
    found = reconcile_counts([100, 70, 40, 10, -20], [1] * 5, [-20] * 4, [1] * 4)
    assert not found.agrees
    assert found.suspects == ()


def test_an_explanation_that_leaves_nothing_to_check_is_none() -> None:
    found = reconcile_counts([100, 50, 70], [1] * 3, [-20] * 2, [1] * 2, most_errors=9)
    assert not found.agrees
    assert found.suspects == ()
    assert reconcile_counts([100, 50], [1] * 2, [-20], [1]).suspects == ()


@pytest.mark.parametrize(
    ("counts", "count_u", "flows", "flow_u"),
    [([1], [1], [], []), ([1, 2], [1], [1], [1]), ([1, 2], [1, 1], [1, 1], [1, 1])],
)
def test_other_shapes_are_refused(
    counts: list[float], count_u: list[float], flows: list[float], flow_u: list[float]
) -> None:
    with pytest.raises(ValueError, match="need"):
        reconcile_counts(counts, count_u, flows, flow_u)


def test_what_the_rest_implies_for_the_odd_count() -> None:
    # From before: 80 - 20 = 60 +- sqrt(1 + 1 + 1 + 1) and so on; by symmetry 60 again.
    found = reconcile_counts([100, 80, 600, 40, 20], [1] * 5, [-20] * 4, [1] * 4)
    (((value, u),),) = found.implied
    assert value == pytest.approx(60.0)
    # Each side: two counts and two flows, a count of 80 known as well as 1 / (1 / 1 + 1 / 2) = 2 / 3, + 1.
    assert u == pytest.approx(np.sqrt((2 / 3 + 1) / 2))


def test_each_alternative_has_what_it_should_have_been() -> None:
    found = reconcile_counts([100, 80, 60, 10], [1] * 4, [-20] * 3, [1] * 3)
    (((count, _), (flow, _)),) = found.implied
    assert count == pytest.approx(40.0)
    assert flow == pytest.approx(-50.0)


def test_two_errors_are_each_implied_without_the_other() -> None:
    counts = [100, 80, 30, 10, -10, -10 + 7, -30 + 7, -50 + 7]
    found = reconcile_counts(counts, [0.5] * 8, [-20] * 7, [0.5] * 7)
    assert [value for ((value, _),) in found.implied] == pytest.approx([-50.0, 7.0])
