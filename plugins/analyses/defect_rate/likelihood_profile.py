"""Likelihood-ratio tests of a logistic regression, and the limits that enclose what they do not reject."""

from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtrc, logit, stdtr

from benchwater.statistics.uncertainty import coverage_factor

from .binomial_likelihood import BinomialLikelihood, Free, Maximum
from .crossings import crossing_beyond
from .logistic import InversePrediction, Limits, LogisticFit, inverse_prediction

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class LikelihoodRatioTests:
    """One (penalised) likelihood-ratio test a coefficient, each on one degree of freedom."""

    statistic: FloatArray
    p_value: FloatArray


def likelihood_ratio_tests(fit: LogisticFit) -> LikelihoodRatioTests:
    """Test of each coefficient against zero by twice the fall of the (penalised) log-likelihood.

    The penalty of the restricted fit keeps the information matrix of the full design, as in Heinze and
    Schemper 2002 (from memory). The statistics are divided by `fit.dispersion`, and follow F where that is an
    estimate (see `logistic.with_dispersion`).
    """
    count = fit.coefficients.size
    profile = LikelihoodProfile(fit)
    statistics = np.array(
        [profile.statistic(np.zeros(count), np.delete(np.eye(count), j, axis=1)) for j in range(count)]
    )
    p_value = chdtrc(1.0, statistics)
    if np.isfinite(fit.dispersion_df):
        p_value = 2 * stdtr(fit.dispersion_df, -np.sqrt(statistics))
    return LikelihoodRatioTests(statistic=statistics, p_value=np.asarray(p_value))


def profile_limits(fit: LogisticFit, *, level: float = 0.95) -> Limits:
    """Profile (penalised) likelihood limits of each coefficient, shape (k,).

    The values not rejected by the test of `likelihood_ratio_tests`: Heinze and Schemper 2002 (from memory).
    Raises ValueError for a level outside (0, 1).
    """
    profile = LikelihoodProfile(fit)
    critical = coverage_factor(fit.dispersion_df, level=level) ** 2
    unit = np.eye(fit.coefficients.size)
    lower, upper = [], []
    for j, (centre, step) in enumerate(zip(fit.coefficients, fit.standard_errors, strict=True)):
        basis = np.delete(unit, j, axis=1)

        def excess(value: float, j: int = j, basis: FloatArray = basis) -> float:
            return profile.statistic(value * unit[j], basis) - critical

        lower.append(crossing_beyond(excess, float(centre), -float(step)))
        upper.append(crossing_beyond(excess, float(centre), float(step)))
    return Limits(lower=np.array(lower), upper=np.array(upper))


def profile_inverse_prediction(
    fit: LogisticFit, probability: float, *, level: float = 0.95
) -> InversePrediction | None:
    """As `inverse_prediction`, with limits from the (penalised) likelihood ratio in place of Fieller's.

    The limits enclose the x at which "the probability at x is `probability`" is not rejected; under
    separation they are to be preferred. Williams 1986, Biometrics 42:641-645 (from memory). None and
    ValueError as of `inverse_prediction`.
    """
    wald = inverse_prediction(
        fit.coefficients, fit.covariance, probability, degrees=fit.dispersion_df, level=level
    )
    if wald is None:
        return None
    profile = LikelihoodProfile(fit)
    critical = coverage_factor(fit.dispersion_df, level=level) ** 2
    if profile.statistic(np.zeros(2), np.array([[1.0], [0.0]])) <= critical:
        return replace(wald, lower=-np.inf, upper=np.inf)

    def excess(value: float) -> float:
        return profile.statistic_at(value, probability) - critical

    return replace(
        wald,
        lower=crossing_beyond(excess, wald.estimate, -wald.standard_error),
        upper=crossing_beyond(excess, wald.estimate, wald.standard_error),
    )


class LikelihoodProfile:
    """Likelihood-ratio statistics of restrictions of one fit, divided by its dispersion."""

    def __init__(self, fit: LogisticFit) -> None:
        """Of a fit; its rows without trials carry no weight."""
        used = fit.trials > 0
        self._problem = BinomialLikelihood.of(fit.events[used], fit.trials[used], fit.design[used], fit.firth)
        self._reference = self._problem.design @ fit.coefficients
        self._top = self._problem.objective(self._reference)
        self._dispersion = fit.dispersion
        self._held_at = cache(self._free_at)

    def statistic(self, origin: FloatArray, basis: FloatArray) -> float:
        """Twice the fall of the objective when the coefficients must be origin + basis @ free."""
        return self._fall(self._problem.maximise(origin, basis, self._reference, tolerance=1e-11))

    def statistic_at(self, x: float, probability: float) -> float:
        """The statistic of "intercept + slope * x (or the intercept alone) is the logit of it"."""
        return self.slope_at(x, probability)[0]

    def slope_at(self, x: float, probability: float) -> tuple[float, float]:
        """`statistic_at`, and its derivative by that logit.

        By the envelope theorem the derivative of a maximum is that of the objective with the free
        coefficients held: here the sum of the rows' scores, as the logit moves all rows alike.
        """
        origin = np.array([logit(probability), 0.0])[: self._problem.design.shape[1]]
        found = self._problem.highest(origin, self._held_at(x), 1e-11)
        return self._fall(found), -2 * float(found.score.sum()) / self._dispersion

    def _free_at(self, x: float) -> Free:
        """What is free where the logit at x is given: the slope, of a line through there."""
        constant = self._problem.design.shape[1] == 1
        basis = np.zeros((1, 0)) if constant else np.array([[-x], [1.0]])
        return self._problem.free(basis, self._reference)

    def _fall(self, found: Maximum) -> float:
        return max(2 * (self._top - found.value), 0.0) / self._dispersion
