"""Logistic lines: published fits, separated data by hand, and how outcomes alike in a cluster widen them."""

import numpy as np
import pytest
import statsmodels.api as sm
from numpy.typing import NDArray
from scipy.special import expit

from benchwater.statistics.uncertainty import coverage_factor
from defect_rate.logistic import (
    LikelihoodProfile,
    LogisticFit,
    cluster_dispersion,
    fit_constant,
    fit_line,
    with_dispersion,
)
from defect_rate.working_window import working_window
from reference_cases import ReferenceCase, reference_case

TEMPERATURES = [100.0, 120.0, 140.0, 160.0, 180.0, 200.0]
FILLED = [4.0] * 6
T_OF_2, Z = 4.302653, 1.959964


def beetles() -> tuple[ReferenceCase, LogisticFit]:
    case = reference_case("dose_beetles")
    dose, killed, n = (case.numbers(name) for name in ("log10_dose", "killed", "n"))
    return case, fit_line(killed, n, dose, firth=False)


def beetles_by_statsmodels(fit: LogisticFit) -> sm.GLM:
    counts = np.column_stack([fit.events, fit.trials - fit.events])
    return sm.GLM(counts, sm.add_constant(fit.x), family=sm.families.Binomial()).fit()


def standard_errors(fit: LogisticFit) -> NDArray[np.float64]:
    return np.sqrt(np.diag(fit.covariance))


def check(case: ReferenceCase, key: str, value: object) -> None:
    expected, tol = case.answer(key)
    assert value == pytest.approx(expected, abs=tol), key
    if key in case.published:
        printed = case.published[key]
        assert value == pytest.approx(printed["value"], abs=printed["tol"]), key


def test_firth_adds_one_half_to_each_count_of_two_groups_of_which_one_is_all_bad() -> None:
    # The data of Heinze and Schemper 2002 by their separating column; Firth 1993, section 4, by hand.
    case = reference_case("firth_endometrial")
    group, bad = np.array(case.numbers("NV")), np.array(case.numbers("HG"))
    fit = fit_line(bad, np.ones(bad.size), group)
    counts = [[bad[group == which].sum(), (1 - bad[group == which]).sum()] for which in (0, 1)]
    assert counts[1][1] == 0
    (b0, g0), (b1, g1) = np.array(counts) + 0.5
    assert (fit.intercept, fit.slope) == pytest.approx((np.log(b0 / g0), np.log(b1 * g0 / g1 / b0)))
    made = np.array(counts).sum(axis=1)
    variances = [1 / (n * b * g / (b + g) ** 2) for n, b, g in zip(made, (b0, b1), (g0, g1), strict=True)]
    assert standard_errors(fit) ** 2 == pytest.approx((variances[0], sum(variances)))
    assert fit.logit_variance([0.0, 1.0]) == pytest.approx(variances)


@pytest.mark.parametrize(
    ("prefix", "events", "trials"), [("incident", "incident", 1), ("rings", "damaged", 6)]
)
def test_maximum_likelihood_matches_dalal_1989_and_agresti(prefix: str, events: str, trials: int) -> None:
    # Dalal, Fowlkes and Hoadley 1989, JASA 84:945-957; Agresti, Categorical Data Analysis.
    case = reference_case("logistic_oring")
    n = np.full(len(case.rows), trials)
    fit = fit_line(case.numbers(events), n, case.numbers("temp_f"), firth=False)
    check(case, f"{prefix}.coef", [fit.intercept, fit.slope])
    check(case, f"{prefix}.se", standard_errors(fit))
    check(case, f"{prefix}.vcov01", fit.covariance[0, 1])
    check(case, f"{prefix}.lrt_p", LikelihoodProfile(fit).flat_p_value())
    check(case, f"{prefix}.p_at_31F", float(fit.rate(31.0)))


def test_beetles_match_dobson() -> None:
    # Bliss 1935; Dobson, An Introduction to Generalized Linear Models.
    case, fit = beetles()
    check(case, "coef", [fit.intercept, fit.slope])
    check(case, "se", standard_errors(fit))
    check(case, "vcov01", fit.covariance[0, 1])
    check(case, "fitted", fit.trials * fit.rate(fit.x))
    check(case, "lrt_p", LikelihoodProfile(fit).flat_p_value())


def test_the_dose_that_kills_nine_of_ten_has_the_published_value_and_limits() -> None:
    # Fieller 1954; data of Bliss 1935. The window of the survivors is met first where one in ten survives.
    case, fit = beetles()
    survivors = fit_line(fit.trials - fit.events, fit.trials, fit.x, firth=False)
    window = working_window([survivors], 0.1, min(fit.x), max(fit.x))
    assert window.first_met == pytest.approx(case.answer("dose")[0][1], abs=case.answer("dose")[1])
    fieller = case.answer("fieller90")[0]
    assert [window.first_met_lower, window.first_met_upper] == pytest.approx(fieller, abs=1e-3)


def test_complete_separation_gives_finite_limits_around_the_gap() -> None:
    fit = fit_line([4, 4, 4, 0, 0, 0], FILLED, TEMPERATURES)
    window = working_window([fit], 0.499, 100, 200)
    assert window.first_met_lower is not None
    assert window.first_met is not None
    assert window.first_met_upper is not None
    assert 120 < window.first_met_lower < 140 < window.first_met < 160 < window.first_met_upper < 180
    assert window.first_met == pytest.approx(150, abs=0.1)


def test_a_wide_gap_between_separated_fills_keeps_every_result_finite() -> None:
    fit = fit_line([8, 8, 8, 0], [8, 8, 8, 8], [100.0, 101.0, 102.0, 250.0])
    assert np.isfinite([fit.intercept, fit.slope, *standard_errors(fit)]).all()
    assert cluster_dispersion(fit, range(4)) == pytest.approx(8 * (T_OF_2 / Z) ** 2, rel=1e-5)


def test_a_limit_is_where_the_probability_is_just_rejected() -> None:
    fit = fit_line([4, 4, 2, 1, 0, 0], FILLED, TEMPERATURES)
    upper = working_window([fit], 0.1, 100, 300).first_met_upper
    assert upper is not None
    assert LikelihoodProfile(fit).statistic_at(upper, 0.1)[0] == pytest.approx(Z**2, abs=1e-3)


def test_no_event_at_all_is_a_flat_fit() -> None:
    # By hand: with two coefficients Firth's estimate without events is 1 over (n + 2).
    fit = fit_line([0.0] * 6, FILLED, TEMPERATURES)
    assert fit.slope == pytest.approx(0, abs=1e-12)
    assert fit.rate(TEMPERATURES) == pytest.approx(np.full(6, 1 / 26))


def test_one_temperature_only_is_refused_with_its_reason() -> None:
    with pytest.raises(ValueError, match="two different x"):
        fit_line([1, 0, 2], [4, 4, 4], [150.0, 150.0, 150.0])
    with pytest.raises(ValueError, match="two different x"):
        fit_line([1, 0], [4, 0], [150.0, 160.0])


@pytest.mark.parametrize("events", [5.0, -1.0, np.nan])
def test_counts_that_cannot_be_are_refused(events: float) -> None:
    with pytest.raises(ValueError, match="between 0 and trials"):
        fit_line([events, 1], [4, 4], [1, 2])


def test_a_constant_share_has_the_statistic_of_the_binomial_likelihood() -> None:
    # By hand: 3 of 12 bad, tested against one half; over a dispersion of 2.
    fit = with_dispersion(fit_constant(np.array([1.0, 2.0]), np.array([5.0, 7.0])), 2.0)
    assert float(fit.rate(150.0)) == pytest.approx(0.25)
    assert float(fit.logit_variance(150.0)) == pytest.approx(2 / (12 * 0.25 * 0.75))
    statistic, slope = LikelihoodProfile(fit).statistic_at(150.0, 0.5)
    assert statistic == pytest.approx(3 * np.log(0.25 / 0.5) + 9 * np.log(0.75 / 0.5))
    assert slope == pytest.approx(-(3 - 12 * 0.5))


@pytest.mark.parametrize("size", [2, 4, 8])
def test_castings_that_agree_within_a_fill_count_as_one(size: int) -> None:
    fills = 60
    x = np.linspace(100, 200, fills)
    rejected = (np.random.default_rng(4).random(fills) < expit((140 - x) / 12)).astype(float)
    single = fit_line(rejected, np.ones(fills), x, firth=False)
    repeated = fit_line(size * rejected, np.full(fills, size), x, firth=False)
    doubt = (coverage_factor(fills - 2) / coverage_factor()) ** 2
    assert cluster_dispersion(repeated, range(fills)) == pytest.approx(size * doubt)
    inflated = with_dispersion(repeated, size)
    assert inflated.covariance == pytest.approx(single.covariance, rel=1e-6)
    tested = [LikelihoodProfile(fit) for fit in (inflated, single)]
    assert tested[0].flat_p_value() == pytest.approx(tested[1].flat_p_value())
    assert tested[0].statistic_at(150, 0.5) == pytest.approx(tested[1].statistic_at(150, 0.5), rel=1e-5)


def test_dispersion_of_clusters_matches_a_sum_by_hand_on_the_fit_of_statsmodels() -> None:
    # The counts of Bliss 1935, pairs of doses taken as clusters.
    _, fit = beetles()
    n, p = fit.trials, beetles_by_statsmodels(fit).fittedvalues
    pairs = np.arange(8) // 2
    beside = [float((fit.events - n * p)[pairs == pair].sum()) ** 2 for pair in range(4)]
    by_hand = sum(beside) / float((n * p * (1 - p)).sum()) * 4 / 2
    found = cluster_dispersion(fit, pairs)
    assert found == pytest.approx(max(1.0, by_hand * (T_OF_2 / Z) ** 2), rel=1e-5)


def test_independent_castings_are_hardly_inflated() -> None:
    random = np.random.default_rng(7)
    x = np.linspace(100, 200, 400)
    fit = fit_line(random.binomial(4, expit((120 - x) / 15)), np.full(400, 4), x)
    found = cluster_dispersion(fit, range(400))
    assert found is not None
    assert 1 <= found < 1.2
    assert cluster_dispersion(fit, np.arange(400) // 200) is None, "two sessions do not tell"


def test_pointwise_limits_match_statsmodels() -> None:
    _, fit = beetles()
    prediction = beetles_by_statsmodels(fit).get_prediction(sm.add_constant(fit.x))
    assert np.column_stack(fit.limits(fit.x)) == pytest.approx(prediction.conf_int(), rel=1e-6)
