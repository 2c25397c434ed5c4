"""Logistic lines fitted to counts: penalised, with the dispersion of clusters and likelihood-ratio tests."""

from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtrc, expit, logit

from benchwater.statistics.uncertainty import coverage_factor

FloatArray = NDArray[np.float64]

MAX_ITERATIONS = 500
FIT_TOLERANCE, PROFILE_TOLERANCE = 1e-16, 1e-11


@dataclass(frozen=True, slots=True, kw_only=True)
class LogisticFit:
    """The fit of logit(share) = intercept + slope * x to `events` out of `trials`, all (n,).

    `covariance` (2, 2) is the inverse Fisher information at the estimate, times the `dispersion`. A constant
    share has slope 0, and no variance of it; `fitted` counts the coefficients that were fitted.
    """

    intercept: float
    slope: float
    covariance: FloatArray
    x: FloatArray
    events: FloatArray
    trials: FloatArray
    firth: bool
    fitted: int = 2
    dispersion: float = 1.0

    def rate(self, x: ArrayLike) -> FloatArray:
        """Returns the fitted share at x (m,)."""
        return np.asarray(expit(self.intercept + self.slope * np.asarray(x, dtype=np.float64)))

    def logit_variance(self, x: ArrayLike) -> FloatArray:
        """Returns the variance of the fitted logit at x (m,)."""
        at = np.asarray(x, dtype=np.float64)
        (own, shared), (_, of_slope) = self.covariance.tolist()
        return np.asarray(own + 2 * shared * at + of_slope * at**2)

    def limits(self, x: ArrayLike) -> tuple[FloatArray, FloatArray]:
        """Returns pointwise 95 % Wald limits, on the logit scale, of the share at x (m,).

        Hosmer and Lemeshow 2000, Applied Logistic Regression, section 1.4 (from memory).
        """
        at = np.asarray(x, dtype=np.float64)
        centre, half = self.intercept + self.slope * at, coverage_factor() * np.sqrt(self.logit_variance(at))
        return np.asarray(expit(centre - half)), np.asarray(expit(centre + half))


def fit_line(events: ArrayLike, trials: ArrayLike, x: ArrayLike, *, firth: bool = True) -> LogisticFit:
    """Fits `events` out of `trials` as a logistic line over x, all (n,).

    With `firth` the likelihood is multiplied by the square root of the determinant of the information
    (Jeffreys' prior). This removes the first-order bias and gives finite estimates under complete separation
    and without any event: Firth 1993, Biometrika 80:27-38; Heinze and Schemper 2002, Statistics in Medicine
    21:2409-2419 (from memory). Without it the fit is ordinary maximum likelihood: McCullagh and Nelder 1989,
    Generalized Linear Models, chapter 4. Rows without trials have no weight.

    Raises ValueError for events outside 0..trials, values that are not finite, or trials at fewer than two x.
    """
    y, n, at = (np.asarray(values, dtype=np.float64) for values in (events, trials, x))
    if not (np.isfinite([y, n, at]).all() and np.all((y >= 0) & (y <= n))):
        raise ValueError("events, trials and x must be finite, and events lie between 0 and trials")
    likelihood = _Likelihood.of(y, n, at, firth)
    if likelihood.x.size < 2:
        raise ValueError("a line needs trials at two different x")
    top = likelihood.highest(*likelihood.empirical_line(), None, FIT_TOLERANCE)
    whole = float(top.weights.sum())
    mean = float(top.weights @ likelihood.x) / whole
    of_slope = 1 / float(top.weights @ (likelihood.x - mean) ** 2)
    shared = -mean * of_slope
    return LogisticFit(
        intercept=top.intercept,
        slope=top.slope,
        covariance=np.array([[1 / whole - mean * shared, shared], [shared, of_slope]]),
        x=at,
        events=y,
        trials=n,
        firth=firth,
    )


def fit_constant(events: FloatArray, trials: FloatArray) -> LogisticFit:
    """Fits one share of `events` out of `trials`, both (n,), by maximum likelihood; it must not be 0 or 1."""
    share = float(events.sum() / trials.sum())
    return LogisticFit(
        intercept=float(logit(share)),
        slope=0.0,
        covariance=np.diag([1 / (float(trials.sum()) * share * (1 - share)), 0.0]),
        x=np.zeros(events.size),
        events=events,
        trials=trials,
        firth=False,
        fitted=1,
    )


def cluster_dispersion(fit: LogisticFit, clusters: ArrayLike) -> float | None:
    """Returns how much outcomes that agree within `clusters` (n,) of rows inflate the covariance of `fit`.

    Castings of one session share metal, hand and day, so they are not independent. With r the events of a
    cluster beyond those fitted and v their binomial variance, the factor is sum r^2 over sum v, times
    clusters over (clusters - coefficients): a ratio of sums, so that clusters in which hardly anything is
    expected do not weigh. It is held below the mean size of a cluster weighted by size, the design effect
    where all outcomes of a cluster are alike (Kish 1965, Survey Sampling; from memory), then multiplied by
    (t / z)^2 for the doubt of few clusters (Korn and Graubard 1998, Survey Methodology 24:193-201; from
    memory), and never below 1. It is preferred to a sandwich covariance, which tends to zero where events
    are few.

    None with no more clusters than coefficients.
    """
    used = fit.trials > 0
    group = np.unique(np.asarray(clusters)[used], return_inverse=True)[1]
    y, n, p = (values[used] for values in (fit.events, fit.trials, fit.rate(fit.x)))
    bad, size, residual = (np.bincount(group, values) for values in (y, n, y - n * p))
    degrees, variance = size.size - fit.fitted, float((n * p * (1 - p)).sum())
    if degrees <= 0:
        return None
    largest = float((size**2).sum() / size.sum())
    alike = not np.any((bad > 0) & (bad < size))
    found = float((residual**2).sum()) / variance * size.size / degrees if variance > 0 else 1.0
    factor = largest if alike else min(found, largest)
    return max(1.0, factor * (coverage_factor(degrees) / coverage_factor()) ** 2)


def with_dispersion(fit: LogisticFit, factor: float) -> LogisticFit:
    """Returns a fit with its covariance multiplied, and its tests divided, by the dispersion factor.

    Quasi-likelihood: McCullagh and Nelder 1989, Generalized Linear Models, section 4.5 (from memory).
    """
    return replace(fit, covariance=fit.covariance * factor, dispersion=factor)


@dataclass(frozen=True, slots=True)
class _Point:
    """A line, its (penalised) log-likelihood, and by row the binomial variance and the score of the logit."""

    intercept: float
    slope: float
    value: float
    weights: FloatArray
    score: FloatArray


@dataclass(frozen=True, slots=True)
class _Likelihood:
    """The (penalised) likelihood of logistic lines, up to a constant; rows of equal x are added up."""

    x: FloatArray
    events: FloatArray
    trials: FloatArray
    firth: bool

    @classmethod
    def of(cls, events: FloatArray, trials: FloatArray, x: FloatArray, firth: bool) -> "_Likelihood":
        used = trials > 0
        places, group = np.unique(x[used], return_inverse=True)
        y, n = (np.bincount(group, each[used]).astype(np.float64) for each in (events, trials))
        return cls(places, y, n, firth)

    def empirical_line(self) -> tuple[float, float]:
        """Returns the weighted least-squares line through the logits of the rows, from which a fit starts."""
        logits = np.log((self.events + 0.5) / (self.trials - self.events + 0.5))
        weights = self.trials * expit(logits) * expit(-logits)
        centred = self.x - weights @ self.x / weights.sum()
        slope = float(weights * centred @ logits / (weights @ centred**2))
        return float(weights @ (logits - slope * self.x) / weights.sum()), slope

    def at(self, intercept: float, slope: float) -> _Point:
        """Returns the likelihood and its derivatives of a line."""
        eta = intercept + slope * self.x
        failures = self.trials - self.events
        value = -float((self.events * np.logaddexp(0.0, -eta) + failures * np.logaddexp(0.0, eta)).sum())
        share = expit(eta)
        weights = self.trials * share * expit(-eta)
        score = self.events - self.trials * share
        if self.firth:
            whole = float(weights.sum())
            squares = (self.x - weights @ self.x / whole) ** 2 if whole > 0 else 0 * weights
            spread = float(weights @ squares)
            if not spread > 0:
                return _Point(intercept, slope, -np.inf, weights, score)
            value += 0.5 * float(np.log(whole) + np.log(spread))
            score = score + weights * (1 / whole + squares / spread) * (0.5 - share)
        return _Point(intercept, slope, value, weights, score)

    def highest(self, intercept: float, slope: float, pivot: float | None, tolerance: float) -> _Point:
        """Returns the highest point, searched from a line on; of lines with its height at `pivot` if given.

        Fisher scoring with step halving, until the score times the step is below `tolerance`.
        """
        point = self.at(intercept, slope)
        for _ in range(MAX_ITERATIONS):
            if not np.isfinite(point.value):
                break
            whole, rise = float(point.weights.sum()), 0.0
            around = pivot
            if around is None:
                around, rise = float(point.weights @ self.x) / whole, float(point.score.sum()) / whole
            lever = self.x - around
            information, uphill = float(point.weights @ lever**2), float(point.score @ lever)
            turn = uphill / information if information > 0 else 0.0
            length, rounding = 1.0, 1e-13 * (1 + abs(point.value))
            while length > 1e-10:
                slope = point.slope + length * turn
                height = point.intercept + point.slope * around + length * rise
                candidate = self.at(height - slope * around, slope)
                if candidate.value >= point.value - rounding:
                    break
                length /= 2
            else:
                break
            point = candidate
            if abs(rise**2 * whole + uphill * turn) < tolerance * (1 + abs(point.value)):
                break
        return point


class LikelihoodProfile:
    """Likelihood-ratio statistics of restrictions of one fit, divided by its dispersion."""

    def __init__(self, fit: LogisticFit) -> None:
        """Rows without trials have no weight."""
        self._fit = fit
        self._likelihood = _Likelihood.of(fit.events, fit.trials, fit.x, fit.firth)
        self._top = self._likelihood.at(fit.intercept, fit.slope)
        self._levers = cache(self._levers_around)

    def flat_p_value(self) -> float:
        """Returns the p-value of a slope of 0, by chi-square on one degree of freedom.

        The penalty keeps the information of both coefficients, as in Heinze and Schemper 2002 (from memory):
        with it, the best constant share is that of one event and one failure more.
        """
        more = 1.0 if self._fit.firth else 0.0
        bad, made = (float(each.sum()) for each in (self._likelihood.events, self._likelihood.trials))
        flat = self._likelihood.at(float(logit((bad + more) / (made + 2 * more))), 0.0)
        return float(chdtrc(1.0, self._fall(flat)))

    def statistic_at(self, x: float, share: float) -> tuple[float, float]:
        """Returns the statistic of "the fitted share at x is this", and its derivative by the share's logit.

        By the envelope theorem the derivative of a maximum is that of the objective with the slope held
        fixed: the sum of the rows' scores, as the logit shifts all rows equally.
        """
        height, slope = float(logit(share)), 0.0
        if self._fit.fitted == 1:
            found = self._likelihood.at(height, slope)
        else:
            lever, spread = self._levers(x)
            slope = self._fit.slope
            if spread > 0:
                slope += (self._fit.intercept + slope * x - height) * lever / spread
            found = self._likelihood.highest(height - slope * x, slope, x, PROFILE_TOLERANCE)
        return self._fall(found), -2 * float(found.score.sum()) / self._fit.dispersion

    def _levers_around(self, x: float) -> tuple[float, float]:
        """Returns the sums of weights times the distance from x, and times its square."""
        lever = self._likelihood.x - x
        return float(self._top.weights @ lever), float(self._top.weights @ lever**2)

    def _fall(self, found: _Point) -> float:
        return max(2 * (self._top.value - found.value), 0.0) / self._fit.dispersion
