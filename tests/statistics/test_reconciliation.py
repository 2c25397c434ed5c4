import numpy as np
import pytest

from benchwater.statistics.reconciliation import Reconciliation, reconcile
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
    check(case, "sd_reconciled", found.standard_deviation)
    check(case, "residual", found.imbalance)
    check(case, "global_stat", found.statistic)
    check(case, "df", found.degrees_of_freedom)
    check(case, "global_p", found.p_value)
    check(case, "measurement_z", found.measurement_z)
    check(case, "measurement_crit_sidak", found.measurement_critical)
    check(case, "nodal_z", found.nodal_z)


def test_the_biased_stream_is_named_and_no_other() -> None:
    # Stream 2 carries the bias by construction.
    case, found = reconciled_case("recon_bypass_bias")
    check(case, "global_stat_without_each", found.statistic_without_each)
    assert [i + 1 for i in found.likeliest_gross_errors] == [case.answer("measurement_flagged")[0]]
    assert reconciled_case("recon_bypass")[1].likeliest_gross_errors == ()


def test_statistic_without_a_stream_is_that_of_the_balances_with_it_eliminated() -> None:
    measured = np.array([101.91, 68.45, 34.65, 64.2, 36.44, 98.88])
    without_second = [[1, 0, -1, -1, 0, 0], [0, 0, 1, 0, -1, 0], [0, 0, 0, 1, 1, -1]]
    full = reconciled_case("recon_bypass_bias")[1]
    reduced = reconcile(measured, np.ones(6), without_second)
    assert reduced.statistic == pytest.approx(full.statistic_without_each[1])
    assert reduced.degrees_of_freedom == full.degrees_of_freedom - 1
    assert np.isnan(reduced.measurement_z[1])


def test_an_exact_quantity_is_not_changed_and_the_rest_takes_the_whole_gap() -> None:
    found = reconcile([4.0, 2.5, 1.0], [0.0, 0.04, 0.01], [[1, -1, -1]])
    assert found.reconciled == pytest.approx([4.0, 2.9, 1.1])
    assert found.standard_deviation[0] == 0
    assert np.isnan(found.measurement_z[0])
    assert found.nodal_z == pytest.approx([0.5 / np.sqrt(0.05)])


def test_one_balance_cannot_tell_which_quantity_is_wrong() -> None:
    found = reconcile([10.0, 4.0, 3.0], [0.01, 0.02, 0.03], [[1, -1, -1]])
    assert found.measurement_z == pytest.approx(np.full(3, found.nodal_z[0]))
    assert found.likeliest_gross_errors == (0, 1, 2)


def test_a_repeated_balance_and_other_units_change_nothing() -> None:
    plain = reconcile([10.0, 6.0, 3.0], [0.01, 0.02, 0.03], [[1, -1, -1]], [0.5])
    balances = [[1.0, -1.0, -1.0], [1e6, -1e6, -1e6]]
    repeated = reconcile([10.0, 6.0, 3.0], [0.01, 0.02, 0.03], balances, [0.5, 0.5e6])
    assert repeated.reconciled == pytest.approx(plain.reconciled)
    assert repeated.degrees_of_freedom == plain.degrees_of_freedom == 1
    assert float(np.dot([1, -1, -1], plain.reconciled)) == pytest.approx(0.5)


def test_balances_that_cannot_be_met_are_refused() -> None:
    with pytest.raises(ValueError, match="exact quantities alone"):
        reconcile([4.0, 3.0, 1.0], [0.0, 0.0, 1.0], [[1, -1, 0]])
    with pytest.raises(ValueError, match="contradict"):
        reconcile([4.0, 3.0], [1.0, 1.0], [[1, -1], [1, -1]], [0.0, 1.0])
    with pytest.raises(ValueError, match="not negative"):
        reconcile([4.0, 3.0], [1.0, -1.0], [[1, -1]])


def test_exact_quantities_that_balance_leave_no_test() -> None:
    found = reconcile([3.0, 3.0], [0.0, 0.0], [[1, -1]])
    assert found.degrees_of_freedom == 0
    assert found.p_value is None
    assert found.likeliest_gross_errors == ()
