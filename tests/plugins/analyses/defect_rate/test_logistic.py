from collections.abc import Sequence

import numpy as np
import pytest
from numpy.typing import NDArray

from benchwater.statistics.uncertainty import coverage_factor
from defect_rate.logistic import (
    LikelihoodProfile,
    LogisticFit,
    cluster_dispersion,
    fit_logistic,
    likelihood_ratio_tests,
    line_design,
    probability_limits,
    summed_rate,
    with_dispersion,
)
from defect_rate.working_window import working_window
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


def standard_errors(fit: LogisticFit) -> NDArray[np.float64]:
    return np.sqrt(np.diag(fit.covariance))


def falls_at(fit: LogisticFit, values: Sequence[float]) -> list[float]:
    """The likelihood-ratio statistic of each coefficient being the value given for it."""
    profile, unit = LikelihoodProfile(fit), np.eye(fit.coefficients.size)
    return [profile.statistic(value * unit[j], np.delete(unit, j, axis=1)) for j, value in enumerate(values)]


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
    check(case, "coef", fit.coefficients)
    check(case, "se", standard_errors(fit))
    for limits in ("profile_lower", "profile_upper"):
        at_limits = falls_at(fit, case.answer(limits)[0])
        assert at_limits == pytest.approx([coverage_factor() ** 2] * 4, abs=2e-4)
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
    check(case, f"{prefix}.se", standard_errors(fit))
    check(case, f"{prefix}.vcov01", fit.covariance[0, 1])
    check(case, f"{prefix}.lrt", test.statistic[1])
    check(case, f"{prefix}.lrt_p", test.p_value[1])
    check(case, f"{prefix}.p_at_31F", summed_rate(fit, None, [31.0])[0])


def test_beetles_match_dobson() -> None:
    # Bliss 1935; Dobson, An Introduction to Generalized Linear Models.
    case, fit = beetles()
    test = likelihood_ratio_tests(fit)
    check(case, "coef", fit.coefficients)
    check(case, "se", standard_errors(fit))
    check(case, "vcov01", fit.covariance[0, 1])
    check(case, "fitted", fit.trials * fit.fitted_probability)
    check(case, "lrt", test.statistic[1])
    check(case, "lrt_p", test.p_value[1])


def test_the_dose_that_kills_nine_of_ten_has_the_published_value_and_limits() -> None:
    # Fieller 1954; data of Bliss 1935. The window of the survivors is met first where one in ten survives.
    case, fit = beetles()
    dose, survived = case.numbers("log10_dose"), fit.trials - fit.events
    survivors = fit_logistic(survived, fit.trials, line_design(dose), firth=False)
    window = working_window(survivors, None, 0.1, min(dose), max(dose))
    assert window.first_met == pytest.approx(case.answer("dose")[0][1], abs=case.answer("dose")[1])
    fieller = case.answer("fieller90")[0]
    assert [window.first_met_lower, window.first_met_upper] == pytest.approx(fieller, abs=1e-3)


def test_complete_separation_gives_finite_limits_around_the_gap() -> None:
    fit = fit_logistic([4, 4, 4, 0, 0, 0], FILLED, TEMPERATURES)
    window = working_window(fit, None, 0.499, 100, 200)
    assert window.first_met_lower is not None
    assert window.first_met is not None
    assert window.first_met_upper is not None
    assert 120 < window.first_met_lower < 140 < window.first_met < 160 < window.first_met_upper < 180
    assert window.first_met == pytest.approx(150, abs=0.1)


def test_a_wide_gap_between_separated_fills_keeps_every_result_finite() -> None:
    fit = fit_logistic([8, 8, 8, 0], [8, 8, 8, 8], line_design([100.0, 101.0, 102.0, 250.0]))
    assert np.isfinite([*fit.coefficients, *standard_errors(fit)]).all()
    assert cluster_dispersion(fit, range(4)) == pytest.approx(8 * (4.302653 / 1.959964) ** 2, rel=1e-5)


def test_a_limit_is_where_the_probability_is_just_rejected() -> None:
    fit = fit_logistic([4, 4, 2, 1, 0, 0], FILLED, TEMPERATURES)
    upper = working_window(fit, None, 0.1, 100, 300).first_met_upper
    assert upper is not None
    moved = fit_logistic([4, 4, 2, 1, 0, 0], FILLED, line_design(TEMPERATURES[:, 1] - upper))
    assert falls_at(moved, [np.log(0.1 / 0.9)]) == pytest.approx([coverage_factor() ** 2], abs=1e-3)


def test_no_event_at_all_is_a_flat_fit() -> None:
    # By hand: Firth's estimate without events is 1/2 over (n + 1), with a second coefficient 1 over (n + 2).
    fit = fit_logistic([0.0] * 6, FILLED, TEMPERATURES)
    assert fit.coefficients[1] == pytest.approx(0, abs=1e-12)
    assert fit.fitted_probability == pytest.approx(np.full(6, 1 / 26))
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


@pytest.mark.parametrize("size", [2, 4, 8])
def test_castings_that_agree_within_a_fill_count_as_one(size: int) -> None:
    fills = 60
    x = np.linspace(100, 200, fills)
    rejected = (np.random.default_rng(4).random(fills) < 1 / (1 + np.exp((x - 140) / 12))).astype(float)
    single = fit_logistic(rejected, np.ones(fills), line_design(x), firth=False)
    repeated = fit_logistic(size * rejected, np.full(fills, size), line_design(x), firth=False)
    found = cluster_dispersion(repeated, range(fills))
    doubt = (coverage_factor(fills - 2) / coverage_factor()) ** 2
    assert found == pytest.approx(size * doubt)
    for impossible in (0.0, -1.0, np.inf, np.nan):
        with pytest.raises(ValueError, match="finite and positive"):
            with_dispersion(repeated, impossible)
    inflated = with_dispersion(repeated, size)
    assert inflated.covariance == pytest.approx(single.covariance, rel=1e-6)
    assert likelihood_ratio_tests(inflated).p_value == pytest.approx(likelihood_ratio_tests(single).p_value)


def test_dispersion_of_clusters_matches_a_sum_by_hand_on_the_fit_of_statsmodels() -> None:
    # The counts of Bliss 1935, pairs of doses taken as clusters.
    import statsmodels.api as sm

    case, fit = beetles()
    killed, n = np.array(case.numbers("killed")), np.array(case.numbers("n"))
    outside = sm.GLM(np.column_stack([killed, n - killed]), fit.design, family=sm.families.Binomial()).fit()
    p = outside.fittedvalues
    pairs = np.arange(8) // 2
    beside = [float((killed - n * p)[pairs == pair].sum()) ** 2 for pair in range(4)]
    found = cluster_dispersion(fit, pairs)
    by_hand = sum(beside) / float((n * p * (1 - p)).sum()) * 4 / 2
    assert found == pytest.approx(max(1.0, by_hand * (4.302653 / 1.959964) ** 2), rel=1e-5)
    assert fit.coefficients == pytest.approx(outside.params)


def test_independent_castings_are_hardly_inflated() -> None:
    random = np.random.default_rng(7)
    x = np.linspace(100, 200, 400)
    rejected = random.binomial(4, 1 / (1 + np.exp((x - 120) / 15)))
    fit = fit_logistic(rejected, np.full(400, 4), line_design(x))
    found = cluster_dispersion(fit, range(400))
    assert found is not None
    assert 1 <= found < 1.2
    assert cluster_dispersion(fit, np.arange(400) // 200) is None, "two sessions do not tell"


def test_pointwise_limits_match_statsmodels() -> None:
    import statsmodels.api as sm

    case, fit = beetles()
    killed, n = np.array(case.numbers("killed")), np.array(case.numbers("n"))
    outside = sm.GLM(np.column_stack([killed, n - killed]), fit.design, family=sm.families.Binomial()).fit()
    limits = probability_limits(fit, fit.design)
    assert np.column_stack([limits.lower, limits.upper]) == pytest.approx(
        outside.get_prediction(fit.design).conf_int(), rel=1e-6
    )
