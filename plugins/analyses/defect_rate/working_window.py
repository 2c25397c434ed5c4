"""The working window of a mold: cold and hot flaws fitted apart over temperature, and added."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache, cached_property
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import expit, logit, softmax

from benchwater.statistics.uncertainty import coverage_factor

from .logistic import (
    LikelihoodProfile,
    LogisticFit,
    cluster_dispersion,
    fit_constant,
    fit_line,
    with_dispersion,
)
from .rates import SIGNIFICANCE, trend_within

FloatArray = NDArray[np.float64]

SMALLEST_TARGET, LARGEST_TARGET = 0.005, 0.499
ENOUGH_FLAWED = 5
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

    `rest` is the fit of that share, None where it is 0 or 1. `window` is None where `plain` alone uses up the
    target. `falls` (`rises`) says that cold flaws are shown to fall (hot ones to rise) with temperature, at
    the 5 % level.
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
        """Returns the summed rate of all flaws, at most 1."""
        lines = sum(fit.rate(temperature) for fit in (self.cold, self.hot) if fit is not None)
        return np.minimum(lines + self.plain, 1.0)

    def total_limits(self, temperature: ArrayLike) -> tuple[FloatArray, FloatArray]:
        """Returns pointwise 95 % limits of the summed rate, by the delta method on its logit.

        The lower one is no lower than that of any kind of flaws alone.
        """
        total = np.clip(self.total(temperature), SMALLEST_SHARE, 1 - SMALLEST_SHARE)
        fits = [fit for fit in (self.cold, self.hot, self.rest) if fit is not None]
        half = coverage_factor() * np.sqrt(_variance(fits, temperature)) / (total * (1 - total))
        least = np.max([fit.limits(temperature)[0] for fit in fits], axis=0)
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
) -> FlawWindow | None:
    """Finds the working window from counts by fill, all (n,): castings and three kinds of flaws.

    Cold and hot flaws are fitted apart (Firth 1993; Heinze and Schemper 2002), `other` ones as a constant
    share, each with its dispersion over `sessions` (over fills where these are too few). The limits of both
    ends (see `working_window`) allow for the uncertainty of all three. `temperature` may be any scale that
    warms with a session, such as the number of the fill.

    A kind is fitted from its first flaw on, which the penalty allows: the slope of one to four hot flaws is
    almost unknown, and the limits of the target temperature say so. How often the limits hold the truth:
    tests/simulations/summary.md.

    Returns None where neither kind has ENOUGH_FLAWED flaws or there are not two temperatures. Raises
    ValueError as `fit_line` does.
    """
    x, n, others = (np.asarray(values, dtype=np.float64) for values in (temperature, castings, other))
    kinds, unit = [np.asarray(kind, dtype=np.float64) for kind in (cold, hot)], np.asarray(sessions)
    poured = x[n > 0]
    if np.unique(poured).size < 2 or max(kind.sum() for kind in kinds) < ENOUGH_FLAWED:
        return None
    lines = [_with_dispersion(fit_line(kind, n, x), unit) if kind.sum() > 0 else None for kind in kinds]
    plain = float(others.sum()) / float(n.sum())
    rest = None if plain in (0.0, 1.0) else _with_dispersion(fit_constant(others, n), unit)
    coldest, hottest = float(poured.min()), float(poured.max())
    goal, window = min(target, LARGEST_TARGET), None
    if goal - plain >= SMALLEST_TARGET:
        fits = [fit for fit in (*lines, rest) if fit is not None]
        window = working_window(fits, goal, coldest, hottest)
    return FlawWindow(
        coldest=coldest,
        hottest=hottest,
        cold=lines[0],
        hot=lines[1],
        plain=plain,
        rest=rest,
        window=window,
        falls=_is_shown(lines[0], -1, unit),
        rises=_is_shown(lines[1], 1, unit),
    )


def working_window(fits: Sequence[LogisticFit], target_rate: float, low: float, high: float) -> WorkingWindow:
    """Finds where, between `low` and `high`, the sum of fitted rates on one x is at most `target_rate`.

    `fits` are those of the flaws of a cold mold, of a hot one, and of those that x does not change, one or
    more. The target lies between 0 and one half: there each logistic curve is convex, hence so is their sum
    wherever it meets the target, and the window is one interval, `first_met` its lower end.

    The 95 % limits of both ends are those of the profile (penalised) likelihood: the x next to an end at
    which "the summed rate is the target" is rejected. The statistics of the fits, each over its own
    dispersion, are added and minimised over the parts of the target that fall to each (Cox and Hinkley 1974,
    Theoretical Statistics, section 9.3; from memory); with one fit these are the limits of Williams 1986,
    Biometrics 42:641-645 (from memory). The sum has no Fieller form, and normal draws of the coefficients
    mislead under separation. The fits are taken as independent, which flaws that exclude each other nearly
    are while all are rare.
    """

    def excess_rate(x: ArrayLike) -> FloatArray:
        return np.asarray(sum(fit.rate(x) for fit in fits)) - target_rate

    best = lowest(excess_rate, low, high)
    met, met_low, met_high = (bool(excess_rate(x) <= 0) for x in (best, low, high))
    first_met = last_met = None
    if met:
        first_met = low if met_low else crossing_between(excess_rate, low, best)
        last_met = high if met_high else crossing_between(excess_rate, best, high)
    statistic, critical = _SumProfile(fits, target_rate), coverage_factor()

    def rejected_from(start: float, end: float) -> float | None:
        steepness = abs(sum(float(fit.rate(start) * (1 - fit.rate(start))) * fit.slope for fit in fits))
        error = float(np.sqrt(_variance(fits, start))) / steepness if steepness else np.inf
        return first_positive(lambda x: float(np.sqrt(statistic(x))) - critical, start, end, error)

    return WorkingWindow(
        best=best,
        starts_before=met_low,
        ends_after=met_high,
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
    function: Callable[[float], Any], one: float, other: float, *, tolerance: float = 1e-10
) -> float:
    """Returns where `function` crosses 0 between two places where its signs differ, within `tolerance`."""
    from scipy.optimize import brentq

    def limited(x: float) -> float:
        return min(float(function(x)), 1e6)

    return one if one == other else float(brentq(limited, one, other, xtol=tolerance, rtol=1e-12))


def lowest(function: Callable[[Any], Any], low: float, high: float) -> float:
    """Returns where a function of arrays is lowest between two places, searched on a grid, then within it."""
    from scipy.optimize import minimize_scalar

    grid = np.linspace(low, high, 1001)
    index = int(function(grid).argmin())
    if index in (0, grid.size - 1):
        return float(grid[index])
    ends = grid[index - 1], grid[index + 1]
    return float(minimize_scalar(function, bounds=ends, method="bounded", options={"xatol": 1e-6}).x)


def _with_dispersion(fit: LogisticFit, sessions: NDArray[Any]) -> LogisticFit:
    return with_dispersion(fit, cluster_dispersion(fit, sessions) or _by_fill(fit))


def _by_fill(fit: LogisticFit) -> float:
    return cluster_dispersion(fit, np.arange(fit.trials.size)) or float(fit.trials.max())


def _is_shown(fit: LogisticFit | None, sign: int, sessions: NDArray[Any]) -> bool:
    """Whether the slope has this sign and differs from zero at the 5 % level.

    Tested within sessions, which no difference between them disturbs, and over all; the better of the two
    counts, at half the level each.
    """
    if fit is None or np.sign(fit.slope) != sign:
        return False
    way, within = trend_within(sessions, fit.x, fit.events, fit.trials, dispersion=_by_fill(fit))
    tests = [LikelihoodProfile(fit).flat_p_value(), within if way == sign else 1.0]
    return bool(min(tests) < SIGNIFICANCE / len(tests))


def _variance(fits: Sequence[LogisticFit], x: ArrayLike) -> FloatArray:
    """Returns the variance of the summed rate at x, by the delta method."""
    parts = [(fit.rate(x) * (1 - fit.rate(x))) ** 2 * fit.logit_variance(x) for fit in fits]
    return np.asarray(np.sum(parts, axis=0))


class _SumProfile:
    """Likelihood-ratio statistic of "the rates of these fits at x add up to the target"."""

    def __init__(self, fits: Sequence[LogisticFit], target: float) -> None:
        self._fits = fits
        self._profiles = [LikelihoodProfile(fit) for fit in fits]
        self._target = target

    def __call__(self, x: float) -> float:
        from scipy.optimize import minimize

        if len(self._profiles) == 1:
            return self._profiles[0].statistic_at(x, self._target)[0]
        fitted = np.array([max(float(fit.rate(x)), SMALLEST_SHARE * self._target) for fit in self._fits])
        start = np.log(fitted[:-1] / fitted[-1])
        scaling = self._scaling(start, x)

        def scaled(steps: FloatArray) -> tuple[float, FloatArray]:
            value, slope = self._of_parts(start + scaling @ steps, x)
            return value, slope @ scaling

        return float(minimize(scaled, 0 * start, jac=True, method="BFGS", options={"gtol": 1e-3}).fun)

    def _of_parts(self, log_odds: FloatArray, x: float) -> tuple[float, FloatArray]:
        """Returns the summed statistic and its gradient by the log-odds of each part against the last."""
        rates, derivatives = self._parts(log_odds)
        found = [profile.statistic_at(x, rate) for profile, rate in zip(self._profiles, rates, strict=True)]
        value, slopes = np.transpose(found)
        return float(value.sum()), slopes @ derivatives

    def _scaling(self, log_odds: FloatArray, x: float) -> FloatArray:
        """Returns steps (columns) that each change the statistic equally where the logits at x are normal."""
        derivatives = self._parts(log_odds)[1]
        variances = np.array([[float(fit.logit_variance(x))] for fit in self._fits])
        curvature = 2 * derivatives.T @ (derivatives / variances)
        whole = curvature + 1e-6 * np.trace(curvature) * np.eye(log_odds.size)
        return np.asarray(np.linalg.inv(np.linalg.cholesky(whole)).T)

    def _parts(self, log_odds: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Returns the rates of the fits, whose shares of the target have these log-odds against the last one.

        With them the derivatives (fits, fits - 1) of their logits by the log-odds.
        """
        shares = softmax(np.append(log_odds, 0.0))
        rates = np.clip(self._target * shares, SMALLEST_SHARE**2, None)
        return rates, ((np.eye(shares.size) - shares) / (1 - rates)[:, None])[:, :-1]
