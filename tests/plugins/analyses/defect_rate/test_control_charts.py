import numpy as np
import pytest

from defect_rate.control_charts import p_chart
from reference_cases import reference_case


def test_p_chart_matches_montgomery() -> None:
    # NIST/SEMATECH e-Handbook 6.3.3.2; Montgomery, Introduction to Statistical Quality Control, chapter 7.
    case = reference_case("chart_p_constant")
    chart = p_chart(case.numbers("defective"), case.numbers("n"))
    found = {
        "center": chart.center,
        "ucl": chart.upper[0],
        "lcl": chart.lower[0],
        "out": list(np.flatnonzero(chart.signal) + 1),
    }
    for key, value in found.items():
        expected, tol = case.answer(key)
        assert value == pytest.approx(expected, abs=max(tol, 1e-12)), key
        if key in case.published:
            printed = case.published[key]
            assert value == pytest.approx(printed["value"], abs=max(printed["tol"], 1e-12)), key


def test_a_point_on_its_limit_is_not_beyond_it() -> None:
    # By hand: centre 1/2; of 4 trials with one sigma the limits are 1/2 +- 1/4.
    chart = p_chart([3, 1, 4, 0], [4, 4, 4, 4], sigmas=1.0)
    assert chart.signal.tolist() == [False, False, True, True]


def test_limits_stay_within_0_and_1_and_an_empty_sample_gives_nan() -> None:
    chart = p_chart([1, 0, 3], [4, 0, 4])
    assert chart.center == 0.5
    assert chart.lower[0] == 0
    assert chart.upper[0] == 1
    assert np.isnan([chart.value[1], chart.lower[1], chart.upper[1]]).all()
    assert not chart.signal.any()


def test_charts_without_trials_are_refused() -> None:
    with pytest.raises(ValueError, match="no trials"):
        p_chart([0], [0])
    with pytest.raises(ValueError, match="exceed"):
        p_chart([5], [4])
