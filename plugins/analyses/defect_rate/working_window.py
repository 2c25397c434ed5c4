"""The working window of a mold: cold and hot flaws fitted apart over temperature, and added."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache, cached_property
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import expit, logit, softmax

from benchwater.statistics.uncertainty import coverage_factor

from .comparisons import trend_within
from .logistic import (
    LikelihoodProfile,
    Limits,
    LogisticFit,
    cluster_dispersion,
    fit_logistic,
    likelihood_ratio_tests,
    line_design,
    probability_limits,
    summed_rate,
    with_dispersion,
)

FloatArray = NDArray[np.float64]

SMALLEST_TARGET = 0.005
LARGEST_TARGET = 0.499
SIGNIFICANCE = 0.05
SMALLEST_SHARE = 1e-8


@dataclass(frozen=True, kw_only=True, eq=False)
class WorkingWindow:
    """The range of x, from `first_met` to `last_met`, in which the summed rate meets the target.

    Both are None where the target is met nowhere. `best` is where the rate is lowest; it always exists.
    `starts_before` (`ends_after`) says that the target is still met at the low (high) edge of the range
    `searched`, so that the end given is that edge and not a crossing. `rejected_from` finds where, from one x
    to another, "the rate is the target" is first rejected.
    """

    best: float
    starts_before: bool
    ends_after: bool
    first_met: float | None
    last_met: float | None
    searched: tuple[float, float]
    rejected_from: Callable[[float, float], float | None]

    @cached_property
    def first_met_lower(self) -> float | None:
        """Where the rate is shown to exceed the target below `first_met`, or below `best` without one."""
        start = self.best if self.first_met is None else self.first_met
        return None if self.starts_before else self.rejected_from(start, self.searched[0])

    @cached_property
    def first_met_upper(self) -> float | None:
        """Where the rate is shown to meet the target, from `first_met` to `best`."""
        return None if self.first_met is None else self.rejected_from(self.first_met, self.best)

    @cached_property
    def last_met_lower(self) -> float | None:
        """Where the rate is shown to meet the target, from `last_met` down to `best`."""
        return None if self.last_met is None else self.rejected_from(self.last_met, self.best)

    @cached_property
    def last_met_upper(self) -> float | None:
        """Where the rate is shown to exceed the target above `last_met`."""
        if self.last_met is None or self.ends_after:
            return None
        return self.rejected_from(self.last_met, self.searched[1])


@dataclass(frozen=True, slots=True, kw_only=True)
class FlawWindow:
    """The two fits (None without a flaw of the kind), the constant share `plain` of others, and the window.

    `rest` is the fit of that share, None where it is 0.
    `window` is None where `plain` alone uses up the target. `falls` (`rises`) says that cold flaws are shown
    to fall (hot ones to rise) with temperature, at the 5 % level.
    """

    coldest: float
    hottest: float
    cold: LogisticFit | None
    hot: LogisticFit | None
    plain: float
    rest: LogisticFit | None
    window: WorkingWindow | None
    falls: bool
    rises: bool

    @property
    def first_met(self) -> float | None:
        """Where the target is first met, None where it is met nowhere or already at the coldest."""
        return None if self.window is None or self.window.starts_before else self.window.first_met

    @property
    def top(self) -> float | None:
        """Where the target is last met, None where it is met nowhere or still at the hottest."""
        return None if self.window is None or self.window.ends_after else self.window.last_met

    @property
    def top_limits(self) -> tuple[float | None, float | None]:
        """Limits of `top`, None where there is none."""
        if self.window is None or self.top is None:
            return None, None
        return self.window.last_met_lower, self.window.last_met_upper

    def total(self, temperature: ArrayLike) -> FloatArray:
        """Returns the summed rate of all flaws."""
        return np.asarray(np.minimum(summed_rate(self.cold, self.hot, temperature) + self.plain, 1.0))

    def total_limits(self, temperature: ArrayLike) -> tuple[FloatArray, FloatArray]:
        """Returns pointwise 95 % limits of the summed rate, by the delta method on its logit.

        The lower one is no lower than that of any kind of flaws alone.
        """
        total = np.clip(self.total(temperature), SMALLEST_SHARE, 1 - SMALLEST_SHARE)
        design = line_design(temperature)
        variance, least = np.zeros(total.shape), np.zeros(total.shape)
        for fit in (self.cold, self.hot, self.rest):
            if fit is not None:
                rows = design[:, : fit.coefficients.size]
                rate = expit(rows @ fit.coefficients)
                gradient = rows * (rate * (1 - rate))[:, None]
                variance += np.einsum("ij,jk,ik->i", gradient, fit.covariance, gradient)
                least = np.maximum(least, probability_limits(fit, rows).lower)
        half = coverage_factor() * np.sqrt(variance) / (total * (1 - total))
        return np.maximum(least, expit(logit(total) - half)), np.asarray(expit(logit(total) + half))


def flaw_window(
    temperature: ArrayLike,
    castings: ArrayLike,
    cold: ArrayLike,
    hot: ArrayLike,
    other: ArrayLike,
    sessions: ArrayLike,
    *,
    target: float,
    enough: int = 5,
) -> FlawWindow | None:
    """Finds the working window from counts by fill, all (n,): castings and three kinds of flaws.

    Cold and hot flaws are fitted apart (Firth 1993; Heinze and Schemper 2002), `other` ones as a constant
    share, each with its dispersion over `sessions` (over fills where these are too few). The limits of both
    ends (see `working_window`) allow for the uncertainty of all three. `temperature` may be any scale that
    warms with a session, such as the number of the fill.

    A kind is fitted from its first flaw on, which the penalty allows: the slope of one to four hot flaws is
    almost unknown, and the limits of the target temperature say so. How often the limits hold the truth:
    tests/simulations/summary.md.

    Returns None where neither kind has `enough` flaws or there are not two temperatures. Raises ValueError as
    `fit_logistic` does.
    """
    x, n = np.asarray(temperature, dtype=np.float64), np.asarray(castings, dtype=np.float64)
    kinds, unit = [np.asarray(kind, dtype=np.float64) for kind in (cold, hot)], np.asarray(sessions)
    if np.unique(x[n > 0]).size < 2 or max(kind.sum() for kind in kinds) < enough:
        return None
    cold_fit, hot_fit = (_fit(line_design(x), n, kind, unit) if kind.sum() > 0 else None for kind in kinds)
    plain = float(np.sum(other)) / float(n.sum())
    coldest, hottest = float(x[n > 0].min()), float(x[n > 0].max())
    goal, window = min(target, LARGEST_TARGET), None
    others = np.asarray(other, dtype=np.float64)
    rest = None if plain in (0.0, 1.0) else _fit(np.ones((x.size, 1)), n, others, unit)
    if goal - plain >= SMALLEST_TARGET:
        window = working_window(cold_fit, hot_fit, goal, coldest, hottest, plain=rest)
    return FlawWindow(
        coldest=coldest,
        hottest=hottest,
        cold=cold_fit,
        hot=hot_fit,
        plain=plain,
        rest=rest,
        window=window,
        falls=_is_shown(cold_fit, -1, x, unit),
        rises=_is_shown(hot_fit, 1, x, unit),
    )


def rate_limits(fit: LogisticFit, temperature: ArrayLike) -> tuple[FloatArray, Limits]:
    """Returns the fitted rate at each temperature (m,) and its pointwise limits."""
    return summed_rate(fit, None, temperature), probability_limits(fit, line_design(temperature))


def working_window(
    cold: LogisticFit | None,
    hot: LogisticFit | None,
    target_rate: float,
    low: float,
    high: float,
    *,
    plain: LogisticFit | None = None,
) -> WorkingWindow:
    """Finds where, between `low` and `high`, the sum of fitted rates on one x is at most `target_rate`.

    `cold` is the fit (intercept, slope) of the flaws of a cold mold, `hot` that of a hot one, `plain` that
    (intercept alone) of flaws that x does not change; None means no such flaws. Below one half each logistic
    curve is convex, hence so is their sum wherever it meets a target below one half: the window is one
    interval, `first_met` its lower end.

    The 95 % limits of both ends are those of the profile (penalised) likelihood: the x next to an end at
    which "the summed rate is the target" is rejected. The statistics of the fits, each over its own
    dispersion, are added and minimised over the parts of the target that fall to each (Cox and Hinkley 1974,
    Theoretical Statistics, section 9.3; from memory); with one fit these are the limits of Williams 1986,
    Biometrics 42:641-645 (from memory). The sum has no Fieller form, and normal draws of the coefficients
    mislead under separation. The fits are taken as independent, which flaws that exclude each other nearly
    are while all are rare.

    Raises ValueError for a target outside (0, 0.5), low >= high, neither `cold` nor `hot`, or a fit of
    another number of coefficients.
    """
    lines, constants = ([fit for fit in fits if fit is not None] for fits in ((cold, hot), (plain,)))
    fits = [*lines, *constants]
    if not lines:
        raise ValueError("a working window needs at least one fitted response")
    sizes = [fit.coefficients.size for fit in fits]
    if sizes != [2] * len(lines) + [1] * len(constants):
        raise ValueError("a working window needs fits of an intercept and one slope, or a constant one")
    if not 0 < target_rate < 0.5:
        raise ValueError(f"the target rate must lie between 0 and 0.5, not {target_rate}")
    if not low < high:
        raise ValueError(f"the range searched is empty: {low} to {high}")
    low, high = float(low), float(high)

    def excess_rate(x: float) -> float:
        return float(sum(_rate(fit, x) for fit in fits)) - target_rate

    def summed_rates(x: FloatArray) -> FloatArray:
        design = line_design(x)
        rates = [expit(design[:, : fit.coefficients.size] @ fit.coefficients) for fit in fits]
        return np.asarray(np.sum(rates, axis=0))

    best = lowest(excess_rate, low, high, vectorised=summed_rates)
    met = excess_rate(best) <= 0
    starts_before = met and excess_rate(low) <= 0
    ends_after = met and excess_rate(high) <= 0
    first_met = last_met = None
    if met:
        first_met = low if starts_before else crossing_between(excess_rate, low, best)
        last_met = high if ends_after else crossing_between(excess_rate, best, high)

    critical = coverage_factor()
    statistic = _SumProfile(fits, target_rate)

    def rejection(x: float) -> float:
        return float(np.sqrt(statistic(x))) - critical

    def rejected_from(start: float, end: float) -> float | None:
        return first_positive(rejection, start, end, _error_of_crossing(fits, start))

    return WorkingWindow(
        best=best,
        starts_before=starts_before,
        ends_after=ends_after,
        first_met=first_met,
        last_met=last_met,
        searched=(low, high),
        rejected_from=rejected_from,
    )


def first_positive(function: Callable[[float], float], start: float, end: float, step: float) -> float | None:
    """Returns where `function` first turns positive from `start` to `end`, None where it does not.

    The search goes by growing steps, the first of length `step`. It misses two sign changes within one step.
    """
    function = cache(function)
    if function(start) > 0:
        return start
    way, length = np.sign(end - start), abs(end - start)
    inner, reached = start, min(step, length)
    while inner != end:
        outer = end if reached >= length else float(start + way * reached)
        if function(outer) > 0:
            return crossing_between(function, inner, outer, tolerance=length * 1e-6)
        inner, step = outer, step * 1.5
        reached += step
    return None


def crossing_between(
    function: Callable[[float], float], one: float, other: float, *, tolerance: float = 1e-10
) -> float:
    """Returns where `function` crosses 0 between two places where its signs differ, within `tolerance`."""
    from scipy.optimize import brentq

    def limited(x: float) -> float:
        return min(function(x), 1e6)

    return one if one == other else float(brentq(limited, one, other, xtol=tolerance, rtol=1e-12))


def lowest(
    function: Callable[[float], float],
    low: float,
    high: float,
    *,
    vectorised: Callable[[FloatArray], FloatArray],
) -> float:
    """Returns where `function` is lowest between two places, searched on a grid and then within it.

    `vectorised` is the same function of an array, up to a constant.
    """
    from scipy.optimize import minimize_scalar

    grid = np.linspace(low, high, 1001)
    index = int(vectorised(grid).argmin())
    if index in (0, grid.size - 1):
        return float(grid[index])
    found = minimize_scalar(
        function, bounds=(grid[index - 1], grid[index + 1]), method="bounded", options={"xatol": 1e-6}
    )
    return float(found.x)


def _fit(design: FloatArray, n: FloatArray, events: FloatArray, sessions: NDArray[Any]) -> LogisticFit:
    fit = fit_logistic(events, n, design, firth=design.shape[1] > 1)
    return with_dispersion(fit, cluster_dispersion(fit, sessions) or _by_fill(fit))


def _by_fill(fit: LogisticFit) -> float:
    return cluster_dispersion(fit, np.arange(fit.trials.size)) or float(fit.trials.max())


def _is_shown(fit: LogisticFit | None, sign: int, x: FloatArray, sessions: NDArray[Any]) -> bool:
    """Whether the slope has this sign and differs from zero at the 5 % level.

    Tested within sessions, which no difference between them disturbs, and over all; the better of the two
    counts, at half the level each.
    """
    if fit is None or np.sign(fit.coefficients[1]) != sign:
        return False
    within = trend_within(sessions, x, fit.events, fit.trials, dispersion=_by_fill(fit))
    tests = [likelihood_ratio_tests(fit).p_value[1], within[1] if np.sign(within[0]) == sign else 1.0]
    return bool(min(tests) < SIGNIFICANCE / len(tests))


def _rate(fit: LogisticFit, x: float) -> float:
    return float(expit(fit.coefficients @ (1.0, x)[: fit.coefficients.size]))


def _error_of_crossing(fits: list[LogisticFit], x: float) -> float:
    """Returns the delta-method standard error of where the summed rate crosses its value at x."""
    variance = slope = 0.0
    for fit in fits:
        rate, size = _rate(fit, x), fit.coefficients.size
        gradient = rate * (1 - rate) * np.array([1.0, x])[:size]
        variance += float(gradient @ fit.covariance @ gradient)
        slope += rate * (1 - rate) * float(fit.coefficients[1]) if size == 2 else 0.0
    return float(np.sqrt(variance)) / abs(slope) if slope else np.inf


class _SumProfile:
    """Likelihood-ratio statistic of "the rates of these fits at x add up to the target"."""

    def __init__(self, fits: list[LogisticFit], target: float) -> None:
        self._fits = fits
        self._profiles = [LikelihoodProfile(fit) for fit in fits]
        self._target = target

    def __call__(self, x: float) -> float:
        from scipy.optimize import minimize

        if len(self._profiles) == 1:
            return self._profiles[0].statistic_at(x, self._target)
        fitted = np.array([max(_rate(fit, x), SMALLEST_SHARE * self._target) for fit in self._fits])
        start = np.log(fitted[:-1] / fitted[-1])
        scaling = self._scaling(start, x)

        def scaled(steps: FloatArray) -> tuple[float, FloatArray]:
            value, slope = self._of_parts(start + scaling @ steps, x)
            return value, slope @ scaling

        return float(minimize(scaled, 0 * start, jac=True, method="BFGS", options={"gtol": 1e-3}).fun)

    def _of_parts(self, log_odds: FloatArray, x: float) -> tuple[float, FloatArray]:
        """Returns the summed statistic and its gradient by the log-odds of each part against the last."""
        shares, rates = self._parts(log_odds)
        found = [profile.slope_at(x, rate) for profile, rate in zip(self._profiles, rates, strict=True)]
        slopes = np.array([slope for _, slope in found])
        return sum(value for value, _ in found), slopes @ _logit_derivatives(shares, rates)

    def _scaling(self, log_odds: FloatArray, x: float) -> FloatArray:
        """Returns steps (columns) that each change the statistic equally where the logits at x are normal."""
        derivatives = _logit_derivatives(*self._parts(log_odds))
        at = [np.array([1.0, x])[: fit.coefficients.size] for fit in self._fits]
        variances = [float(row @ fit.covariance @ row) for fit, row in zip(self._fits, at, strict=True)]
        curvature = 2 * derivatives.T @ (derivatives / np.array(variances)[:, None])
        whole = curvature + 1e-6 * np.trace(curvature) * np.eye(log_odds.size)
        return np.asarray(np.linalg.inv(np.linalg.cholesky(whole)).T)

    def _parts(self, log_odds: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Returns the share of the target that falls to each fit, and the rate which that makes."""
        shares = softmax(np.append(log_odds, 0.0))
        return shares, np.clip(self._target * shares, SMALLEST_SHARE**2, None)


def _logit_derivatives(shares: FloatArray, rates: FloatArray) -> FloatArray:
    """Returns the derivatives (fits, fits - 1) of the fits' logits by the log-odds of their parts."""
    return np.asarray(((np.eye(shares.size) - shares) / (1 - rates)[:, None])[:, :-1])
