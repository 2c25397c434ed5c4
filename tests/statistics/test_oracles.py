"""The project's own statistics against scipy, statsmodels and firthmodels on drawn data, to 1e-6."""

from collections.abc import Callable, Iterator

import numpy as np
import pytest
import statsmodels.api as sm
from firthmodels import FirthLogisticRegression
from numpy.typing import NDArray
from scipy import optimize, stats
from statsmodels.duration.survfunc import CumIncidenceRight, SurvfuncRight, survdiff
from statsmodels.stats.contingency_tables import StratifiedTable
from statsmodels.stats.multitest import multipletests
from statsmodels.stats.proportion import proportion_confint
from statsmodels.stats.rates import confint_poisson

from bait_mortality.survival import cumulative_incidence, kaplan_meier, log_rank
from benchwater.statistics.interval import benjamini_hochberg_adjusted, holm_adjusted
from benchwater.statistics.proportions import clopper_pearson_interval, wilson_interval
from benchwater.statistics.rates import poisson_interval, rate_ratio
from benchwater.statistics.uncertainty import coverage_factor
from defect_rate.logistic import LikelihoodProfile, fit_line
from defect_rate.rates import trend_within
from material_balance.balance import reconcile

FloatArray = NDArray[np.float64]
TOLERANCE = 1e-6


def near(expected: object) -> object:
    return pytest.approx(expected, rel=TOLERANCE, abs=TOLERANCE)


def drawn(seeds: int = 5) -> Iterator[np.random.Generator]:
    for seed in range(seeds):
        yield np.random.default_rng(seed)


def flaws(rng: np.random.Generator) -> tuple[FloatArray, FloatArray]:
    """Single castings, temperatures about 0 and 1, and whether each was bad."""
    x = rng.normal(0, 1, 60)
    return x, (rng.random(60) < 1 / (1 + np.exp(2 * x))).astype(float)


def test_proportions_and_counts() -> None:
    for x, n in ((0, 9), (3, 17), (40, 45), (12, 12)):
        own, exact = wilson_interval(x, n), clopper_pearson_interval(x, n)
        assert (own.low, own.high) == near(proportion_confint(x, n, method="wilson"))
        assert (exact.low, exact.high) == near(proportion_confint(x, n, method="beta"))
        known = stats.binomtest(x, n).proportion_ci(method="wilson")
        assert (own.low, own.high) == near((known.low, known.high))
    for x in (1, 4, 31):
        counted = poisson_interval(x)
        assert (counted.low, counted.high) == near(confint_poisson(x, 1, method="exact-c"))


def test_the_exact_rate_ratio_is_the_binomial_test() -> None:
    # scipy's two-sided p is by small probabilities; ours is twice the smaller tail, so tails are compared.
    for x1, t1, x2, t2 in ((3, 10.0, 9, 12.0), (0, 5.0, 4, 6.0), (20, 31.0, 11, 40.0)):
        share = t1 / (t1 + t2)
        tails = [stats.binomtest(x1, x1 + x2, share, alternative=way).pvalue for way in ("less", "greater")]
        assert rate_ratio(x1, t1, x2, t2).p_central == near(min(1.0, 2 * min(tails)))


def test_maximum_likelihood_and_firth_logistic_regression() -> None:
    for rng in drawn():
        x, y = flaws(rng)
        ones = np.ones(y.size)
        known = sm.Logit(y, sm.add_constant(x)).fit(disp=0, tol=1e-12)
        plain = fit_line(y, ones, x, firth=False)
        assert (plain.intercept, plain.slope) == near(tuple(known.params))
        assert plain.covariance == near(known.cov_params())
        firth = FirthLogisticRegression(gtol=1e-8, max_iter=500).fit(x[:, None], y)
        own = fit_line(y, ones, x)
        assert (own.intercept, own.slope) == near((firth.intercept_, firth.coef_[0]))
        assert LikelihoodProfile(own).flat_p_value() == near(firth.lrt().lrt_pvalues_[0])
        profile, of_intercept = LikelihoodProfile(own), firth.conf_int(method="pl")[-1]
        falls = [profile.statistic_at(0.0, 1 / (1 + np.exp(-limit)))[0] for limit in of_intercept]
        assert falls == pytest.approx([float(stats.chi2.ppf(0.95, 1))] * 2, rel=1e-5)


def test_firth_of_counts_is_the_highest_penalised_likelihood() -> None:
    """Jeffreys' penalty written down anew, maximised by scipy; and how far it falls where a slope is held."""
    trials = np.array([5.0, 3, 4, 6, 5, 4, 5, 2])
    x = np.linspace(-1.5, 1.5, 8)
    for rng in drawn():
        y = rng.binomial(trials.astype(int), 1 / (1 + np.exp(1.5 * x))).astype(float)

        def penalised(b: FloatArray, y: FloatArray = y) -> float:
            eta = b[0] + b[1] * x
            p = 1 / (1 + np.exp(-eta))
            w = trials * p * (1 - p)
            information = np.array([[w.sum(), (w * x).sum()], [(w * x).sum(), (w * x * x).sum()]])
            likelihood = float((y * eta - trials * np.log1p(np.exp(eta))).sum())
            return likelihood + 0.5 * float(np.linalg.slogdet(information)[1])

        def lost(b: FloatArray, of: Callable[[FloatArray], float] = penalised) -> float:
            return -of(b)

        best = optimize.minimize(lost, np.zeros(2), method="BFGS", options={"gtol": 1e-9})
        own = fit_line(y, trials, x)
        assert (own.intercept, own.slope) == near(tuple(best.x))
        flat = optimize.minimize_scalar(lambda b: lost(np.array([b, 0.0])), bracket=(-1, 1), tol=1e-12)
        fall = 2 * float(flat.fun - best.fun)
        assert LikelihoodProfile(own).flat_p_value() == near(stats.chi2.sf(fall, 1))
        for at, share in ((0.0, 0.2), (1.0, 0.6), (-2.0, 0.9)):
            height = float(np.log(share / (1 - share)))
            held = optimize.minimize_scalar(
                lambda b, at=at, height=height: lost(np.array([height - b * at, b])),
                bracket=(-1, 1),
                tol=1e-12,
            )
            fall = LikelihoodProfile(own).statistic_at(at, share)[0]
            assert fall == near(2 * float(held.fun - best.fun))


def test_causes_as_competing_risks() -> None:
    for rng in drawn():
        time, cause = np.round(rng.weibull(1.2, 90) * 5, 1) + 0.1, rng.integers(0, 3, 90)
        cause[time == time.max()] = 0  # else statsmodels divides by zero
        own, known = cumulative_incidence(time, cause), CumIncidenceRight(time, cause)
        at = np.searchsorted(known.times, own[1].time, side="right") - 1
        for curve, theirs in zip(own.values(), known.cinc, strict=True):
            assert curve.share == near(theirs[at])


def test_odds_ratios_within_strata() -> None:
    for rng in drawn():
        sizes, events = rng.integers(5, 20, (2, 6)), np.zeros((2, 6))
        events[0], events[1] = rng.binomial(sizes[0], 0.4), rng.binomial(sizes[1], 0.25)
        tables = [
            np.array([[e1, n1 - e1], [e2, n2 - e2]])
            for (e1, e2), (n1, n2) in zip(events.T, sizes.T, strict=True)
        ]
        own = trend_within([*range(6)] * 2, np.repeat([1, 0], 6), events.ravel(), sizes.ravel())
        test = StratifiedTable(tables).test_null_odds(correction=False)
        assert own[1] == near(test.pvalue)


def test_survival_and_the_log_rank_test() -> None:
    for rng in drawn():
        life, followed = rng.weibull(1.3, 80) * 8, rng.uniform(1, 15, 80)
        time, lost = np.round(np.minimum(life, followed), 1) + 0.1, (life <= followed).astype(float)
        group = (rng.random(80) < 0.4).astype(int)
        curve, known = kaplan_meier(time, lost), SurvfuncRight(time, lost)
        assert curve.time == near(known.surv_times)
        assert curve.share == near(known.surv_prob)
        alive = (curve.share > 0) & (curve.share < 1)
        logs = np.log(curve.share[alive])
        errors = curve.share[alive] * np.log(np.log(curve.low[alive]) / logs) * -logs / stats.norm.ppf(0.975)
        assert errors == near(known.surv_prob_se[alive])
        statistic, p = survdiff(time, lost, group)
        own = log_rank(time, lost, group)
        assert (own.statistic, own.p) == near((statistic, p))
        theirs = stats.ecdf(stats.CensoredData.right_censored(time, lost == 0)).sf
        assert curve.share == near(theirs.evaluate(curve.time))


def test_adjusted_p_values() -> None:
    for rng in drawn():
        p = rng.random(7) ** 3
        assert holm_adjusted(p) == near(multipletests(p, method="holm")[1])
        assert benjamini_hochberg_adjusted(p) == near(multipletests(p, method="fdr_bh")[1])


def test_reconciliation_is_constrained_least_squares() -> None:
    # The same through the normal equations with multipliers.
    for rng in drawn():
        a = np.hstack([np.eye(4, 5) - np.eye(4, 5, 1), np.eye(4)])
        y, v = rng.normal(50, 20, 9), rng.uniform(0.5, 3, 9) ** 2
        system = np.block([[np.diag(1 / v), a.T], [a, np.zeros((4, 4))]])
        solved = np.linalg.solve(system, np.concatenate([y / v, np.zeros(4)]))
        found = reconcile(y, v, a)
        assert found.reconciled == near(solved[:9])
        assert found.p_value == near(stats.chi2.sf(((solved[:9] - y) ** 2 / v).sum(), 4))


def test_coverage_factors() -> None:
    assert [coverage_factor(n) for n in (1, 4, 9)] == near([stats.t.ppf(0.975, n) for n in (1, 4, 9)])
