import numpy as np
import pytest

from benchwater.statistics.uncertainty import (
    combined_uncertainty,
    coverage_factor,
    propagated_covariance,
    propagated_uncertainty,
    rectangular_uncertainty,
    resolution_uncertainty,
    welch_satterthwaite,
)
from reference_cases import ReferenceCase, reference_case


def check(case: ReferenceCase, key: str, value: float) -> None:
    expected, tol = case.answer(key)
    assert value == pytest.approx(expected, abs=tol), key
    if key in case.published:
        printed = case.published[key]
        assert value == pytest.approx(printed["value"], abs=printed["tol"]), key


def test_end_gauge_calibration_matches_gum_h1() -> None:
    # JCGM 100:2008, H.1.
    case = reference_case("gum_h1")
    components, dof = case.numbers("contribution_nm"), case.numbers("dof")
    combined = combined_uncertainty(components)
    effective = welch_satterthwaite(components, dof)
    factor = coverage_factor(effective, level=0.99)
    check(case, "u_combined_nm", combined)
    check(case, "nu_eff", effective)
    check(case, "k99", factor)
    check(case, "U99_nm", factor * combined)
    assert propagated_uncertainty(np.ones(4), components) == pytest.approx(combined)


def test_correlated_inputs_match_gum_h2() -> None:
    # JCGM 100:2008, H.2.
    case = reference_case("gum_h2")
    rows = np.array([case.numbers(name) for name in ("V", "I_mA", "phi")])
    v, i, phi = rows.mean(axis=1)
    covariance = np.cov(rows) / rows.shape[1]
    u = np.sqrt(np.diag(covariance))
    correlation = covariance / np.outer(u, u)
    z = v / i * 1000
    jacobian = np.array(
        [
            [z * np.cos(phi) / v, -z * np.cos(phi) / i, -z * np.sin(phi)],
            [z * np.sin(phi) / v, -z * np.sin(phi) / i, z * np.cos(phi)],
            [z / v, -z / i, 0],
        ]
    )
    result = propagated_covariance(jacobian, covariance)
    for key, value in zip(("R", "X", "Z"), (z * np.cos(phi), z * np.sin(phi), z), strict=True):
        check(case, key, value)
    for key, value in zip(("mean_V", "mean_I_mA", "mean_phi"), (v, i, phi), strict=True):
        check(case, key, value)
    for key, value in zip(("u_V", "u_I_mA", "u_phi"), u, strict=True):
        check(case, key, value)
    for row, key in enumerate(("u_R", "u_X", "u_Z")):
        check(case, key, propagated_uncertainty(jacobian[row], u, correlation))
        check(case, key, float(np.sqrt(result[row, row])))
    for (a, b), key in {(0, 1): "corr_RX", (0, 2): "corr_RZ", (1, 2): "corr_XZ"}.items():
        check(case, key, result[a, b] / np.sqrt(result[a, a] * result[b, b]))


def test_a_scale_step_is_a_rectangle_of_half_its_width() -> None:
    # JCGM 100:2008, F.2.2.1: 0.29 of the step.
    assert resolution_uncertainty(0.1) == pytest.approx(0.1 / np.sqrt(12))
    assert resolution_uncertainty(1) == pytest.approx(0.29, abs=0.005)
    assert rectangular_uncertainty(0.05) == pytest.approx(resolution_uncertainty(0.1))
    with pytest.raises(ValueError, match="negative"):
        resolution_uncertainty(-0.1)


def test_full_correlation_adds_uncertainties_and_full_anticorrelation_cancels_them() -> None:
    assert propagated_uncertainty([1, 1], [3, 3], [[1, 1], [1, 1]]) == pytest.approx(6)
    assert propagated_uncertainty([1, -1], [3, 3], [[1, 1], [1, 1]]) == 0


def test_degrees_of_freedom_at_the_ends() -> None:
    assert welch_satterthwaite([1, 2], [np.inf, np.inf]) == np.inf
    assert welch_satterthwaite([0, 2], [3, 7]) == pytest.approx(7)
    assert coverage_factor() == pytest.approx(1.959964, abs=1e-6)
    assert coverage_factor(1.9) == pytest.approx(12.7062, abs=1e-4)
    with pytest.raises(ValueError, match="at least 1"):
        coverage_factor(0.5)
