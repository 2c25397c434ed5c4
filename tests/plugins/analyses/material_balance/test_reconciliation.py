from itertools import product

import numpy as np
import pytest
from numpy.typing import ArrayLike
from scipy.stats import chi2

from material_balance.balance import CountChain, Reconciliation, reconcile, reconcile_counts
from reference_cases import ReferenceCase, reference_case

NODES = ("splitter", "exchanger", "valve", "mixer")


def check(case: ReferenceCase, key: str, value: object) -> None:
    expected, tol = case.answer(key)
    assert value == pytest.approx(expected, abs=max(tol, 1e-12)), key
    if key in case.published:
        printed = case.published[key]
        assert value == pytest.approx(printed["value"], abs=max(printed["tol"], 1e-12)), key


def reconciled_case(name: str) -> tuple[ReferenceCase, Reconciliation]:
    case = reference_case(name)
    balances = [case.numbers(node) for node in NODES]
    return case, reconcile(case.numbers("measured"), case.numbers("variance"), balances)


@pytest.mark.parametrize("name", ["recon_bypass", "recon_bypass_bias"])
def test_bypass_matches_narasimhan_and_jordache_2000(name: str) -> None:
    # Narasimhan and Jordache 2000, Data Reconciliation and Gross Error Detection, chapters 1 and 7.
    case, found = reconciled_case(name)
    check(case, "reconciled", found.reconciled)
    check(case, "adjustment", found.adjustment)
    check(case, "sd_reconciled", np.sqrt(np.diag(found.covariance)))
    check(case, "global_stat", found.statistic)
    check(case, "df", found.degrees_of_freedom)
    check(case, "global_p", found.p_value)
    check(case, "measurement_z", found.measurement_z)


def test_the_biased_stream_has_the_largest_measurement_test() -> None:
    # Stream 2 carries the bias by construction.
    case, found = reconciled_case("recon_bypass_bias")
    check(case, "global_stat_without_each", found.statistic - found.measurement_z**2)
    assert int(np.nanargmax(found.measurement_z)) + 1 == case.answer("measurement_flagged")[0]


def test_statistic_without_a_stream_is_that_of_the_balances_with_it_eliminated() -> None:
    measured = np.array([101.91, 68.45, 34.65, 64.2, 36.44, 98.88])
    without_second = [[1, 0, -1, -1, 0, 0], [0, 0, 1, 0, -1, 0], [0, 0, 0, 1, 1, -1]]
    full = reconciled_case("recon_bypass_bias")[1]
    reduced = reconcile(measured, np.ones(6), without_second)
    assert reduced.statistic == pytest.approx(full.statistic - full.measurement_z[1] ** 2)
    assert reduced.degrees_of_freedom == full.degrees_of_freedom - 1
    assert np.isnan(reduced.measurement_z[1])


def test_one_balance_cannot_tell_which_quantity_is_wrong() -> None:
    found = reconcile([10.0, 4.0, 3.0], [0.01, 0.02, 0.03], [[1, -1, -1]])
    assert found.measurement_z == pytest.approx(np.full(3, 3 / np.sqrt(0.06)))


def chained(counts: ArrayLike, count_u: ArrayLike, flows: ArrayLike, flow_u: ArrayLike) -> CountChain:
    return reconcile_counts(counts, count_u, flows, flow_u, significance=0.01)


def test_two_counts_share_the_imbalance_by_variance() -> None:
    # 100 - 30 is 70, and 64 was counted: 6 over three quantities of variance 1, 4, 1.
    found = chained([100, 64], [1, 1], [-30], [2]).reconciliation
    assert found.reconciled == pytest.approx([99, 65, -34])
    assert found.statistic == pytest.approx(6.0)
    assert found.p_value == pytest.approx(chi2.sf(6.0, 1))


def test_chain_that_agrees_has_no_suspect() -> None:
    found = chained([100, 80, 61, 40], [1] * 4, [-20, -20, -20], [1] * 3)
    assert found.agrees
    assert found.suspects == ()


@pytest.mark.parametrize("flow", [1, 2])
def test_what_left_without_a_row_is_the_flow(flow: int) -> None:
    counts = np.array([100.0, 80, 60, 40, 20])
    counts[flow + 1 :] -= 30
    found = chained(counts, [1] * 5, [-20] * 4, [1] * 4)
    assert not found.agrees
    assert found.suspects == ((5 + flow,),)


def test_mistyped_count_is_the_count() -> None:
    found = chained([100, 80, 600, 40, 20], [1] * 5, [-20] * 4, [1] * 4)
    assert found.suspects == ((2,),)


def test_last_count_and_last_flow_cannot_be_told_apart() -> None:
    found = chained([100, 80, 60, 10], [1] * 4, [-20] * 3, [1] * 3)
    assert found.suspects == ((3, 6),)


def test_two_errors_are_found_one_after_the_other() -> None:
    counts = [100, 80, 30, 10, -10, -10 + 7, -30 + 7, -50 + 7]
    found = chained(counts, [0.5] * 8, [-20] * 7, [0.5] * 7)
    assert found.suspects == ((9,), (12,))


def test_chain_wrong_everywhere_blames_nobody() -> None:
    found = chained([100, 70, 40, 10, -20], [1] * 5, [-20] * 4, [1] * 4)
    assert not found.agrees
    assert found.suspects == ()


def test_an_explanation_that_leaves_nothing_to_check_is_none() -> None:
    found = chained([100, 50, 70], [1] * 3, [-20] * 2, [1] * 2)
    assert not found.agrees
    assert found.suspects == ()
    assert chained([100, 50], [1] * 2, [-20], [1]).suspects == ()


def test_what_the_rest_implies_for_the_odd_count() -> None:
    # From before: 80 - 20 = 60 +- sqrt(1 + 1 + 1 + 1) and so on; by symmetry 60 again.
    found = chained([100, 80, 600, 40, 20], [1] * 5, [-20] * 4, [1] * 4)
    (((value, u),),) = found.implied
    assert value == pytest.approx(60.0)
    # Each side: two counts and two flows, a count of 80 known as well as 1 / (1 / 1 + 1 / 2) = 2 / 3, + 1.
    assert u == pytest.approx(np.sqrt((2 / 3 + 1) / 2))


def test_each_alternative_has_what_it_should_have_been() -> None:
    found = chained([100, 80, 60, 10], [1] * 4, [-20] * 3, [1] * 3)
    (((count, _), (flow, _)),) = found.implied
    assert count == pytest.approx(40.0)
    assert flow == pytest.approx(-50.0)


def test_two_errors_are_each_implied_without_the_other() -> None:
    counts = [100, 80, 30, 10, -10, -10 + 7, -30 + 7, -50 + 7]
    found = chained(counts, [0.5] * 8, [-20] * 7, [0.5] * 7)
    assert [value for ((value, _),) in found.implied] == pytest.approx([-50.0, 7.0])


@pytest.mark.parametrize(("count_u", "flow_u"), [(0.2887, 0.2887), (1.0, 0.5)])
def test_no_quantity_stands_in_two_groups_of_suspects(count_u: float, flow_u: float) -> None:
    # Three stretches, every small deviation: ties of the measurement test are common in whole numbers.
    for a, b, d in product(range(-3, 4), repeat=3):
        found = chained([200, 190 + a, 180 + b, 170 + d], [count_u] * 4, [-10] * 3, [flow_u] * 3)
        named = [quantity for group in found.suspects for quantity in group]
        assert len(named) == len(set(named)), (a, b, d)
        assert all(found.suspects)
        assert np.isfinite([pair for group in found.implied for pair in group]).all()
        assert [len(group) for group in found.implied] == [len(group) for group in found.suspects]


def test_of_a_tie_what_the_next_group_names_is_dropped() -> None:
    found = chained([200, 193, 183, 170], [0.2887] * 4, [-10] * 3, [0.2887] * 3)
    assert found.suspects == ((0, 4), (3, 6))
