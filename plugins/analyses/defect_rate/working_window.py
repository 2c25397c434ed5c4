"""The working window of two opposed responses to one quantity."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit, softmax

from benchwater.statistics.uncertainty import coverage_factor

from .crossings import crossing_between, first_positive, lowest
from .likelihood_profile import LikelihoodProfile
from .logistic import LogisticFit, line_design

FloatArray = NDArray[np.float64]

SMALLEST_SHARE = 1e-8


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkingWindow:
    """The range of x, within the range searched, in which the summed rate meets the target.

    `best` and `rate_at_best` always exist. `first_met` and the window are None where the target is met
    nowhere; `starts_before` (`ends_after`) says that it is still met at the low (high) edge of the range
    searched, so that the window end given is that edge and not a crossing. At `first_met_lower` the rate is
    shown to exceed the target (None: at no x below `first_met`, or below `best` where it is met nowhere); at
    `first_met_upper` it is shown to meet it (None: at no x from `first_met` to `best`). `last_met_lower` and
    `last_met_upper` are the same of `window_high`: shown to meet it below, and to exceed it above.
    """

    best: float
    rate_at_best: float
    window_low: float | None
    window_high: float | None
    starts_before: bool
    ends_after: bool
    first_met: float | None
    first_met_lower: float | None
    first_met_upper: float | None
    last_met_lower: float | None
    last_met_upper: float | None


def working_window(
    cold: LogisticFit | None,
    hot: LogisticFit | None,
    target_rate: float,
    low: float,
    high: float,
    *,
    plain: LogisticFit | None = None,
    level: float = 0.95,
) -> WorkingWindow:
    """Where, between `low` and `high`, the sum of fitted rates on one x is at most `target_rate`.

    `cold` is the fit (intercept, slope) of the flaws of a cold mold, `hot` that of a hot one, `plain` that
    (intercept alone) of flaws that x does not change; None = no such flaws. Below one half each logistic
    curve is convex, hence so is their sum wherever it meets a target below one half: the window is one
    interval, `first_met` its lower end.

    The limits of both ends are those of the profile (penalised) likelihood: the x next to an end at which
    "the summed rate is the target" is rejected, the statistics of the fits, each over its own dispersion,
    being added and minimised over the parts of the target that fall to each (Cox and Hinkley 1974,
    Theoretical Statistics, section 9.3; from memory). The sum has no Fieller form, and normal draws of the
    coefficients mislead under separation; with one fit the limits are those of `profile_inverse_prediction`.
    The fits are taken as independent, which flaws excluding each other are nearly while all are rare. Where
    dispersions are estimates, the least of their degrees of freedom counts.

    Raises ValueError for a target outside (0, 0.5), low >= high, a level outside (0, 1), neither `cold` nor
    `hot`, or a fit of another number of coefficients.
    """
    lines, constants = ([fit for fit in fits if fit is not None] for fits in ((cold, hot), (plain,)))
    limbs = [*lines, *constants]
    if not lines:
        raise ValueError("a working window needs at least one fitted response")
    sizes = [limb.coefficients.size for limb in limbs]
    if sizes != [2] * len(lines) + [1] * len(constants):
        raise ValueError("a working window needs fits of an intercept and one slope, or a constant one")
    if not 0 < target_rate < 0.5:
        raise ValueError(f"the target rate must lie between 0 and 0.5, not {target_rate}")
    if not low < high:
        raise ValueError(f"the range searched is empty: {low} to {high}")
    low, high = float(low), float(high)

    def excess_rate(x: float) -> float:
        return float(sum(_rate(limb, x) for limb in limbs)) - target_rate

    def summed_rates(x: FloatArray) -> FloatArray:
        design = line_design(x)
        rates = [expit(design[:, : fit.coefficients.size] @ fit.coefficients) for fit in limbs]
        return np.asarray(np.sum(rates, axis=0))

    best = lowest(excess_rate, low, high, of_many=summed_rates)
    met = excess_rate(best) <= 0
    starts_before = met and excess_rate(low) <= 0
    ends_after = met and excess_rate(high) <= 0
    window_low = window_high = None
    if met:
        window_low = low if starts_before else crossing_between(excess_rate, low, best)
        window_high = high if ends_after else crossing_between(excess_rate, best, high)

    critical = coverage_factor(min(limb.dispersion_df for limb in limbs), level=level)
    statistic = _SumProfile(limbs, target_rate)

    def rejection(x: float) -> float:
        return float(np.sqrt(statistic(x))) - critical

    def rejected_from(start: float, end: float) -> float | None:
        return first_positive(rejection, start, end, _error_of_crossing(limbs, start))

    exceeded_below = exceeded_above = met_above = met_below = None
    if not starts_before:
        exceeded_below = rejected_from(best if window_low is None else window_low, low)
    if met and not ends_after:
        exceeded_above = rejected_from(best if window_high is None else window_high, high)
    if window_low is not None:
        met_above = rejected_from(window_low, best)
    if window_high is not None:
        met_below = rejected_from(window_high, best)
    return WorkingWindow(
        best=best,
        rate_at_best=min(excess_rate(best) + target_rate, 1.0),
        window_low=window_low,
        window_high=window_high,
        starts_before=starts_before,
        ends_after=ends_after,
        first_met=window_low,
        first_met_lower=exceeded_below,
        first_met_upper=met_above,
        last_met_lower=met_below,
        last_met_upper=exceeded_above,
    )


def _rate(limb: LogisticFit, x: float) -> float:
    return float(expit(limb.coefficients @ (1.0, x)[: limb.coefficients.size]))


def _error_of_crossing(limbs: list[LogisticFit], x: float) -> float:
    """Delta-method standard error of where the summed rate crosses what it is at x: a length to search by."""
    variance = slope = 0.0
    for limb in limbs:
        rate, size = _rate(limb, x), limb.coefficients.size
        gradient = rate * (1 - rate) * np.array([1.0, x])[:size]
        variance += float(gradient @ limb.covariance @ gradient)
        slope += rate * (1 - rate) * float(limb.coefficients[1]) if size == 2 else 0.0
    return float(np.sqrt(variance)) / abs(slope) if slope else np.inf


class _SumProfile:
    """Likelihood-ratio statistic of "the rates of these fits at x add up to the target"."""

    def __init__(self, limbs: list[LogisticFit], target: float) -> None:
        self._limbs = limbs
        self._profiles = [LikelihoodProfile(limb) for limb in limbs]
        self._target = target

    def __call__(self, x: float) -> float:
        from scipy.optimize import minimize

        if len(self._profiles) == 1:
            return self._profiles[0].statistic_at(x, self._target)
        fitted = np.array([max(_rate(limb, x), SMALLEST_SHARE * self._target) for limb in self._limbs])
        start = np.log(fitted[:-1] / fitted[-1])
        unit = self._unit(start, x)

        def along(steps: FloatArray) -> tuple[float, FloatArray]:
            value, slope = self._of_parts(start + unit @ steps, x)
            return value, slope @ unit

        return float(minimize(along, 0 * start, jac=True, method="BFGS", options={"gtol": 1e-3}).fun)

    def _of_parts(self, log_odds: FloatArray, x: float) -> tuple[float, FloatArray]:
        """The summed statistic and its slope by the log-odds of each part of the target against the last."""
        shares, rates = self._parts(log_odds)
        found = [profile.slope_at(x, rate) for profile, rate in zip(self._profiles, rates, strict=True)]
        slopes = np.array([slope for _, slope in found])
        return sum(value for value, _ in found), slopes @ _turns(shares, rates)

    def _unit(self, log_odds: FloatArray, x: float) -> FloatArray:
        """Steps (columns) that would each change the statistic alike, were the fits' logits at x normal."""
        turns = _turns(*self._parts(log_odds))
        at = [np.array([1.0, x])[: limb.coefficients.size] for limb in self._limbs]
        variances = [
            float(place @ limb.covariance @ place) for limb, place in zip(self._limbs, at, strict=True)
        ]
        curvature = 2 * turns.T @ (turns / np.array(variances)[:, None])
        whole = curvature + 1e-6 * np.trace(curvature) * np.eye(log_odds.size)
        return np.asarray(np.linalg.inv(np.linalg.cholesky(whole)).T)

    def _parts(self, log_odds: FloatArray) -> tuple[FloatArray, FloatArray]:
        """The share of the target that falls to each limb, and the rate that makes."""
        shares = softmax(np.append(log_odds, 0.0))
        return shares, np.clip(self._target * shares, SMALLEST_SHARE**2, None)


def _turns(shares: FloatArray, rates: FloatArray) -> FloatArray:
    """Derivatives (limbs, limbs - 1) of the limbs' logits by the log-odds of their parts."""
    return np.asarray(((np.eye(shares.size) - shares) / (1 - rates)[:, None])[:, :-1])
