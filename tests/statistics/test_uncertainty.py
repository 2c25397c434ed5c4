import numpy as np
import pytest

from benchwater.statistics.uncertainty import (
    combined_uncertainty,
    coverage_factor,
    rectangular_uncertainty,
    resolution_uncertainty,
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
    combined = combined_uncertainty(case.numbers("contribution_nm"))
    factor = coverage_factor(case.answer("nu_eff")[0], level=0.99)
    check(case, "u_combined_nm", combined)
    check(case, "k99", factor)
    check(case, "U99_nm", factor * combined)


def test_a_scale_step_is_a_rectangle_of_half_its_width() -> None:
    # JCGM 100:2008, F.2.2.1: 0.29 of the step.
    assert resolution_uncertainty(0.1) == pytest.approx(0.1 / np.sqrt(12))
    assert resolution_uncertainty(1) == pytest.approx(0.29, abs=0.005)
    assert rectangular_uncertainty(0.05) == pytest.approx(resolution_uncertainty(0.1))
    with pytest.raises(ValueError, match="negative"):
        resolution_uncertainty(-0.1)


def test_degrees_of_freedom_at_the_ends() -> None:
    assert coverage_factor() == pytest.approx(1.959964, abs=1e-6)
    assert coverage_factor(1.9) == pytest.approx(12.7062, abs=1e-4)
    with pytest.raises(ValueError, match="at least 1"):
        coverage_factor(0.5)
