import pytest

from bench_safety.compute import lead_vapour_pressure, saturated_lead_vapour
from reference_cases import worked_examples


@pytest.mark.parametrize(("name", "inputs", "expected", "tolerance"), worked_examples("lead_vapour"))
def test_lead_vapour_matches_the_worked_examples(name, inputs, expected, tolerance):
    assert lead_vapour_pressure(inputs["T_C"]) == pytest.approx(expected["P_Pa"], rel=tolerance), name
    assert saturated_lead_vapour(inputs["T_C"]) == pytest.approx(expected["ug_m3"], rel=tolerance), name


def test_saturation_equals_the_workplace_limit_near_489_degc():
    assert saturated_lead_vapour(488) < 50 < saturated_lead_vapour(490)
