import numpy as np
import pytest
from numpy.typing import NDArray

from benchwater.mathematics.logistic import (
    LogisticFit,
    dispersion_factor,
    fit_logistic,
    inverse_prediction,
    likelihood_ratio_tests,
    line_design,
    probability_limits,
    profile_inverse_prediction,
    profile_limits,
    summed_rate,
    with_dispersion,
    working_window,
)
from reference_cases import ReferenceCase, reference_case

TEMPERATURES = line_design([100.0, 120.0, 140.0, 160.0, 180.0, 200.0])
FILLED = [4.0] * 6


def endometrial() -> tuple[ReferenceCase, list[float], NDArray[np.float64]]:
    case = reference_case("firth_endometrial")
    columns = [case.numbers(name) for name in ("NV", "PI", "EH")]
    return case, case.numbers("HG"), np.column_stack([np.ones(len(case.rows)), *columns])


def beetles() -> tuple[ReferenceCase, LogisticFit]:
    case = reference_case("dose_beetles")
    design = line_design(case.numbers("log10_dose"))
    return case, fit_logistic(case.numbers("killed"), case.numbers("n"), design, firth=False)


def check(case: ReferenceCase, key: str, value: object) -> None:
    expected, tol = case.answer(key)
    assert value == pytest.approx(expected, abs=tol), key
    if key in case.published:
        printed = case.published[key]
        assert value == pytest.approx(printed["value"], abs=printed["tol"]), key


def test_firth_matches_heinze_and_schemper_2002_under_quasi_separation() -> None:
    # Heinze and Schemper 2002, Statistics in Medicine 21:2409-2419.
    case, high_grade, design = endometrial()
    fit = fit_logistic(high_grade, np.ones(len(high_grade)), design)
    limits = profile_limits(fit)
    check(case, "coef", fit.coefficients)
    check(case, "se", fit.standard_errors)
    check(case, "penalised_loglik", fit.penalised_loglik)
    check(case, "profile_lower", limits.lower)
    check(case, "profile_upper", limits.upper)
    check(case, "p_penalised_lr", likelihood_ratio_tests(fit).p_value)


def test_maximum_likelihood_refuses_the_separated_data() -> None:
    _, high_grade, design = endometrial()
    with pytest.raises(ValueError, match="separated"):
        fit_logistic(high_grade, np.ones(len(high_grade)), design, firth=False)


@pytest.mark.parametrize(
    ("prefix", "events", "trials"), [("incident", "incident", None), ("rings", "damaged", 6)]
)
def test_maximum_likelihood_matches_dalal_1989_and_agresti(
    prefix: str, events: str, trials: int | None
) -> None:
    # Dalal, Fowlkes and Hoadley 1989, JASA 84:945-957; Agresti, Categorical Data Analysis.
    case = reference_case("logistic_oring")
    design = line_design(case.numbers("temp_f"))
    fit = fit_logistic(case.numbers(events), np.full(len(case.rows), trials or 1), design, firth=False)
    test = likelihood_ratio_tests(fit)
    check(case, f"{prefix}.coef", fit.coefficients)
    check(case, f"{prefix}.se", fit.standard_errors)
    check(case, f"{prefix}.vcov01", fit.covariance[0, 1])
    check(case, f"{prefix}.loglik", fit.loglik)
    check(case, f"{prefix}.deviance", fit.deviance)
    check(case, f"{prefix}.null_deviance", fit.null_deviance)
    check(case, f"{prefix}.lrt", test.statistic[1])
    check(case, f"{prefix}.lrt_p", test.p_value[1])
    check(case, f"{prefix}.p_at_31F", summed_rate(fit, None, [31.0])[0])


def test_o_ring_temperature_of_one_half() -> None:
    # Minus intercept over slope, Agresti, Categorical Data Analysis.
    case = reference_case("logistic_oring")
    trials = np.ones(len(case.rows))
    fit = fit_logistic(case.numbers("incident"), trials, line_design(case.numbers("temp_f")), firth=False)
    half = inverse_prediction(fit.coefficients, fit.covariance, 0.5)
    assert half is not None
    check(case, "incident.temp_p50", half.estimate)


def test_beetles_match_dobson() -> None:
    # Bliss 1935; Dobson, An Introduction to Generalized Linear Models.
    case, fit = beetles()
    test = likelihood_ratio_tests(fit)
    check(case, "coef", fit.coefficients)
    check(case, "se", fit.standard_errors)
    check(case, "vcov01", fit.covariance[0, 1])
    check(case, "loglik", fit.loglik)
    check(case, "deviance", fit.deviance)
    check(case, "null_deviance", fit.null_deviance)
    check(case, "pearson", fit.pearson)
    check(case, "fitted", fit.trials * fit.fitted_probability)
    check(case, "lrt", test.statistic[1])
    check(case, "lrt_p", test.p_value[1])
    assert fit.residual_df == 6


def test_inverse_prediction_gives_delta_and_fieller_limits() -> None:
    # Fieller 1954; data of Bliss 1935.
    case, fit = beetles()
    doses = [inverse_prediction(fit.coefficients, fit.covariance, p) for p in (0.5, 0.9)]
    assert doses[0] is not None
    assert doses[1] is not None
    check(case, "dose", [dose.estimate for dose in doses if dose])
    check(case, "dose_se_delta", [dose.standard_error for dose in doses if dose])
    check(case, "fieller50", [doses[0].lower, doses[0].upper])
    check(case, "fieller90", [doses[1].lower, doses[1].upper])
    profile = profile_inverse_prediction(fit, 0.5)
    assert profile is not None
    assert [profile.lower, profile.upper] == pytest.approx([doses[0].lower, doses[0].upper], abs=2e-4)


def test_limits_are_unbounded_where_the_slope_is_not_distinguished_from_zero() -> None:
    fit = fit_logistic([1.0, 0, 1, 0, 0, 1], FILLED, TEMPERATURES)
    for found in (
        inverse_prediction(fit.coefficients, fit.covariance, 0.1),
        profile_inverse_prediction(fit, 0.1),
    ):
        assert found is not None
        assert not found.bounded
        assert (found.lower, found.upper) == (-np.inf, np.inf)


def test_complete_separation_gives_finite_limits_around_the_gap() -> None:
    fit = fit_logistic([4, 4, 4, 0, 0, 0], FILLED, TEMPERATURES)
    found = profile_inverse_prediction(fit, 0.5)
    assert found is not None
    assert 120 < found.lower < 140 < found.estimate < 160 < found.upper < 180
    assert found.estimate == pytest.approx(150)


def test_a_wide_gap_between_separated_fills_keeps_every_result_finite() -> None:
    fit = fit_logistic([8, 8, 8, 0], [8, 8, 8, 8], line_design([100.0, 101.0, 102.0, 250.0]))
    limits = profile_limits(fit)
    assert np.isfinite([*limits.lower, *limits.upper, fit.pearson, fit.deviance]).all()
    assert dispersion_factor(fit) == 8


def test_profile_limits_reject_exactly_at_the_level() -> None:
    fit = fit_logistic([4, 4, 2, 1, 0, 0], FILLED, TEMPERATURES)
    found = profile_inverse_prediction(fit, 0.1)
    assert found is not None
    moved = fit_logistic([4, 4, 2, 1, 0, 0], FILLED, line_design(TEMPERATURES[:, 1] - found.upper))
    limits = profile_limits(moved)
    assert limits.upper[0] == pytest.approx(np.log(0.1 / 0.9), abs=1e-5)


def test_no_event_at_all_is_a_flat_fit_without_inverse_prediction() -> None:
    # By hand: Firth's estimate without events is 1/2 over (n + 1), with a second coefficient 1 over (n + 2).
    fit = fit_logistic([0.0] * 6, FILLED, TEMPERATURES)
    assert fit.coefficients[1] == pytest.approx(0, abs=1e-12)
    assert fit.fitted_probability == pytest.approx(np.full(6, 1 / 26))
    assert inverse_prediction(fit.coefficients, fit.covariance, 0.1) is None
    assert profile_inverse_prediction(fit, 0.1) is None
    flat = fit_logistic([0.0], [24.0], [[1.0]])
    assert flat.fitted_probability == pytest.approx([0.5 / 25])


def test_one_temperature_only_is_refused_with_its_reason() -> None:
    with pytest.raises(ValueError, match="rank deficient"):
        fit_logistic([1, 0, 2], [4, 4, 4], line_design([150.0, 150.0, 150.0]))
    with pytest.raises(ValueError, match="rank deficient"):
        fit_logistic([1, 0], [4, 0], line_design([150.0, 160.0]))


@pytest.mark.parametrize(
    ("events", "trials", "message"),
    [
        ([5], [4], "between 0 and trials"),
        ([0], [0], "no trials"),
        ([np.nan], [1], "finite"),
        ([1, 1], [4], "must be"),
    ],
)
def test_counts_that_cannot_be_are_refused(events: list[float], trials: list[float], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        fit_logistic(events, trials, np.ones((1, 1)))


@pytest.mark.parametrize("alike", [2, 4, 8])
def test_castings_alike_within_a_fill_count_as_one(alike: int) -> None:
    fills = 60
    x = np.linspace(100, 200, fills)
    rejected = (np.random.default_rng(4).random(fills) < 1 / (1 + np.exp((x - 140) / 12))).astype(float)
    single = fit_logistic(rejected, np.ones(fills), line_design(x), firth=False)
    repeated = fit_logistic(
        np.repeat(rejected, alike), np.ones(fills * alike), line_design(np.repeat(x, alike)), firth=False
    )
    factor = dispersion_factor(repeated, np.repeat(np.arange(fills), alike))
    assert factor == pytest.approx(alike)
    inflated = with_dispersion(repeated, factor)
    assert inflated.covariance == pytest.approx(single.covariance, rel=1e-6)
    assert likelihood_ratio_tests(inflated).p_value == pytest.approx(likelihood_ratio_tests(single).p_value)


def test_dispersion_of_rows_matches_pearson_of_statsmodels_with_fletchers_correction() -> None:
    # Fletcher 2012, Biometrika 99:230-237, on the counts of Bliss 1935.
    import statsmodels.api as sm

    case, fit = beetles()
    killed, n = np.array(case.numbers("killed")), np.array(case.numbers("n"))
    outside = sm.GLM(np.column_stack([killed, n - killed]), fit.design, family=sm.families.Binomial()).fit()
    p = outside.fittedvalues
    sparse = 1 + np.mean((1 - 2 * p) / (p * (1 - p)) * (killed / n - p))
    assert dispersion_factor(fit) == pytest.approx(outside.pearson_chi2 / 6 / sparse)
    assert fit.coefficients == pytest.approx(outside.params)


def test_independent_castings_are_hardly_inflated() -> None:
    random = np.random.default_rng(7)
    x = np.repeat(np.linspace(100, 200, 400), 4)
    rejected = random.binomial(1, 1 / (1 + np.exp((x - 120) / 15)))
    fit = fit_logistic(rejected, np.ones(x.size), line_design(x))
    assert 1 <= dispersion_factor(fit, np.repeat(np.arange(400), 4)) < 1.15


def test_pointwise_limits_match_statsmodels() -> None:
    import statsmodels.api as sm

    case, fit = beetles()
    killed, n = np.array(case.numbers("killed")), np.array(case.numbers("n"))
    outside = sm.GLM(np.column_stack([killed, n - killed]), fit.design, family=sm.families.Binomial()).fit()
    limits = probability_limits(fit, fit.design)
    assert np.column_stack([limits.lower, limits.upper]) == pytest.approx(
        outside.get_prediction(fit.design).conf_int(), rel=1e-6
    )


def limbs(fills: int) -> tuple[LogisticFit, LogisticFit]:
    """Fits to expected counts: cold flaws one half at 140, hot ones one half at 260."""
    x = np.linspace(100, 260, fills)
    trials = np.full(fills, 4.0)
    cold = 4 / (1 + np.exp((x - 140) * 0.08))
    hot = 4 / (1 + np.exp((260 - x) * 0.06))
    return (
        fit_logistic(cold, trials, line_design(x), firth=False),
        fit_logistic(hot, trials, line_design(x), firth=False),
    )


def test_window_lies_between_the_two_responses() -> None:
    cold, hot = limbs(60)
    window = working_window(cold, hot, 0.1, 100, 260)
    assert window.window_low is not None
    assert window.window_high is not None
    ends = np.array([window.window_low, window.window_high])
    assert summed_rate(cold, hot, ends) == pytest.approx([0.1, 0.1])
    assert window.window_low < window.best < window.window_high
    assert window.rate_at_best <= summed_rate(cold, hot, np.linspace(100, 260, 5000)).min() + 1e-9
    assert window.first_met == window.window_low
    assert not window.starts_before
    assert not window.ends_after
    assert window.first_met_lower is not None
    assert window.first_met_upper is not None
    assert window.first_met_lower < window.window_low < window.first_met_upper < window.best


def test_more_fills_narrow_the_limits_of_the_temperature_first_met() -> None:
    wide, narrow = (working_window(*limbs(fills), 0.1, 100, 260) for fills in (60, 240))
    assert wide.first_met_lower is not None
    assert narrow.first_met_lower is not None
    assert wide.first_met is not None
    assert narrow.first_met is not None
    ratio = (wide.first_met - wide.first_met_lower) / (narrow.first_met - narrow.first_met_lower)
    assert ratio == pytest.approx(2, rel=0.25)


def test_a_negligible_hot_response_leaves_the_limits_of_the_cold_one() -> None:
    cold, _ = limbs(60)
    negligible = fit_logistic([0] * 9 + [90], [100] * 10, line_design([*np.linspace(100, 300, 9), 400.0]))
    alone = working_window(cold, None, 0.1, 100, 260)
    both = working_window(cold, negligible, 0.1, 100, 260)
    inverse = profile_inverse_prediction(cold, 0.1)
    assert inverse is not None
    assert alone.ends_after
    assert alone.best == 260
    assert [alone.first_met_lower, alone.first_met_upper] == pytest.approx(
        [inverse.lower, inverse.upper], abs=1e-3
    )
    assert [both.first_met_lower, both.first_met_upper] == pytest.approx(
        [inverse.lower, inverse.upper], abs=0.05
    )


def test_window_is_none_where_the_target_is_met_nowhere() -> None:
    cold, hot = limbs(60)
    window = working_window(cold, hot, 0.01, 100, 260)
    assert (window.window_low, window.window_high, window.first_met) == (None, None, None)
    assert window.first_met_upper is None
    assert window.rate_at_best > 0.01


def test_window_met_everywhere_has_open_ends() -> None:
    quiet = fit_logistic([0.0] * 6, [100.0] * 6, TEMPERATURES)
    window = working_window(quiet, None, 0.2, 100, 200)
    assert (window.window_low, window.window_high) == (100, 200)
    assert window.starts_before
    assert window.ends_after
    assert window.first_met_lower is None
    assert window.first_met_upper == 100


@pytest.mark.parametrize(
    ("target", "low", "high", "message"), [(0.5, 100, 200, "target"), (0.1, 200, 100, "empty")]
)
def test_windows_that_make_no_sense_are_refused(target: float, low: float, high: float, message: str) -> None:
    fit = fit_logistic([4, 4, 2, 1, 0, 0], FILLED, TEMPERATURES)
    with pytest.raises(ValueError, match=message):
        working_window(fit, None, target, low, high)
    with pytest.raises(ValueError, match="at least one"):
        working_window(None, None, 0.1, 100, 200)
