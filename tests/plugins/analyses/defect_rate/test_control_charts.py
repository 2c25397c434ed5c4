import numpy as np
import pytest

from defect_rate.control_charts import c_chart, p_chart, u_chart
from reference_cases import ReferenceCase, reference_case


def check(case: ReferenceCase, key: str, value: object) -> None:
    expected, tol = case.answer(key)
    assert value == pytest.approx(expected, abs=max(tol, 1e-12)), key
    if key in case.published:
        printed = case.published[key]
        assert value == pytest.approx(printed["value"], abs=max(printed["tol"], 1e-12)), key


def test_p_chart_and_its_revision_match_montgomery() -> None:
    # NIST/SEMATECH e-Handbook 6.3.3.2; Montgomery, Introduction to Statistical Quality Control, chapter 7.
    case = reference_case("chart_p_constant")
    events, trials = case.numbers("defective"), case.numbers("n")
    chart = p_chart(events, trials)
    check(case, "center", chart.center)
    check(case, "ucl", chart.upper[0])
    check(case, "lcl", chart.lower[0])
    check(case, "out", list(np.flatnonzero(chart.signal) + 1))
    revised = p_chart(events, trials, base=~chart.signal)
    check(case, "revised_center", revised.center)
    check(case, "revised_ucl", revised.upper[0])
    check(case, "revised_lcl", revised.lower[0])


def test_u_chart_limits_follow_the_area_of_each_roll() -> None:
    # Montgomery, Introduction to Statistical Quality Control, chapter 7 (dyed cloth).
    case = reference_case("chart_u_cloth")
    units = np.array(case.numbers("area_m2")) / 50
    chart = u_chart(case.numbers("defects"), units)
    check(case, "units", units)
    check(case, "center", chart.center)
    check(case, "ucl", chart.upper)
    check(case, "lcl", chart.lower)
    check(case, "out", list(np.flatnonzero(chart.signal) + 1))


def test_c_chart_point_on_the_limit_is_not_beyond() -> None:
    # NIST/SEMATECH e-Handbook 6.3.3.1.
    case = reference_case("chart_c_wafers")
    chart = c_chart(case.numbers("defects"))
    check(case, "center", chart.center)
    check(case, "ucl", chart.upper[0])
    check(case, "lcl", chart.lower[0])
    assert chart.value[2] == chart.upper[2]
    assert list(np.flatnonzero(chart.above) + 1) == [case.answer("out")[0]]
    assert not chart.below.any()


def test_limits_of_a_proportion_stay_within_0_and_1_and_an_empty_sample_gives_nan() -> None:
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
