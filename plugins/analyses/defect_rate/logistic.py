"""Logistic regression of counts, the dispersion of clusters, and inverse prediction."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import expit, logit, xlogy

from benchwater.statistics.uncertainty import coverage_factor

from .binomial_likelihood import BinomialLikelihood

FloatArray = NDArray[np.float64]

SMALLEST_PROBABILITY = 1e-14


@dataclass(frozen=True, slots=True, kw_only=True)
class LogisticFit:
    """A fitted logistic regression of binomial counts.

    `covariance` is the inverse Fisher information at the estimate (times a dispersion factor after
    `with_dispersion`, known to `dispersion_df` degrees of freedom). `loglik` contains the binomial
    coefficients; `penalised_loglik` adds half the log-determinant of the information and is None after
    ordinary maximum likelihood.
    """

    coefficients: FloatArray
    covariance: FloatArray
    design: FloatArray
    events: FloatArray
    trials: FloatArray
    fitted_probability: FloatArray
    loglik: float
    penalised_loglik: float | None
    deviance: float
    null_deviance: float
    pearson: float
    residual_df: int
    firth: bool
    dispersion: float = 1.0
    dispersion_df: float = np.inf

    @property
    def standard_errors(self) -> FloatArray:
        """Square roots of the diagonal of `covariance`."""
        return np.sqrt(np.diag(self.covariance))


@dataclass(frozen=True, slots=True, kw_only=True)
class Dispersion:
    """How many times outcomes alike within clusters inflate a variance, and how well that is known.

    `degrees` of freedom are infinite where `factor` is not an estimate.
    """

    factor: float
    degrees: float = np.inf


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """Lower and upper confidence limits, element by element; infinite where the set has no bound."""

    lower: FloatArray
    upper: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class InversePrediction:
    """The x at which a fitted line on the logit scale reaches a probability.

    `lower`, `upper` are -inf, inf where the slope does not differ from zero at the chosen confidence: the set
    of x not rejected then has no bound. `standard_error` is the delta-method one.
    """

    estimate: float
    standard_error: float
    delta_lower: float
    delta_upper: float
    lower: float
    upper: float

    @property
    def bounded(self) -> bool:
        """Whether the confidence set is a finite interval."""
        return bool(np.isfinite(self.lower) and np.isfinite(self.upper))


def line_design(x: ArrayLike) -> FloatArray:
    """Design matrix (n, 2) of an intercept and x, shape (n,)."""
    values = np.asarray(x, dtype=np.float64)
    return np.column_stack([np.ones_like(values), values])


def fit_logistic(
    events: ArrayLike, trials: ArrayLike, design: ArrayLike, *, firth: bool = True
) -> LogisticFit:
    """Logistic regression of `events` out of `trials`, both (n,), on `design` (n, k), intercept included.

    With `firth` the likelihood is multiplied by the square root of the determinant of the information
    (Jeffreys' prior), which removes the first-order bias and gives finite estimates under complete separation
    and without any event: Firth 1993, Biometrika 80:27-38; Heinze and Schemper 2002, Statistics in Medicine
    21:2409-2419 (from memory; checked against the data of the second). Without it, ordinary maximum
    likelihood: McCullagh and Nelder 1989, Generalized Linear Models, chapter 4. Rows without trials carry no
    weight.

    Raises ValueError for unequal shapes, events outside 0..trials, values that are not finite, a
    rank-deficient design (one temperature only, say), and, without `firth`, data so separated that no
    estimate exists.
    """
    y, n, x = _checked_counts(events, trials, design)
    used = n > 0
    problem = BinomialLikelihood.of(y[used], n[used], x[used], firth)
    count = x.shape[1]
    start, certainty = problem.empirical_logit(y[used], n[used])
    found = problem.maximise(np.zeros(count), np.eye(count), start, certainty=certainty)
    coefficients = found.coefficients
    information = problem.information(coefficients)
    if not firth:
        problem.refuse_separation(coefficients)
    probability = expit(x @ coefficients)
    expected = n * probability
    inner = np.clip(probability, SMALLEST_PROBABILITY, 1 - SMALLEST_PROBABILITY)
    pearson = (y - n * inner)[used] ** 2 / (n * inner * (1 - inner))[used]
    return LogisticFit(
        coefficients=coefficients,
        covariance=np.asarray(np.linalg.inv(information), dtype=np.float64),
        design=x,
        events=y,
        trials=n,
        fitted_probability=probability,
        loglik=problem.loglik(problem.design @ coefficients),
        penalised_loglik=found.value if firth else None,
        deviance=_deviance(y, n, expected),
        null_deviance=_deviance(y, n, n * (y.sum() / n.sum())),
        pearson=float(pearson.sum()),
        residual_df=int(used.sum()) - count,
        firth=firth,
    )


def cluster_dispersion(fit: LogisticFit, clusters: ArrayLike | None = None) -> Dispersion:
    """How much outcomes alike within a cluster inflate the covariance of `fit`.

    `clusters` (n,) gives the cluster of each row (castings of one fill share metal, mold temperature and
    hand, and are not independent); None takes each row as one. The factor is Pearson's chi-square of the
    cluster totals over (clusters - coefficients), divided by one plus the mean of V'(mu)(y - mu)/V(mu), the
    correction for sparse counts of Fletcher 2012, Biometrika 99:230-237 (formula read in the documentation of
    another program), and held between 1 and the mean size of a cluster weighted by size, the design effect of
    an intra-cluster correlation between 0 and 1 (Kish 1965, Survey Sampling; from memory). One common factor
    suits clusters of about equal size, such as the fills of one mold. It is preferred to a sandwich
    covariance, which tends to zero where events are few.

    Where it cannot be estimated, because there are no more clusters than coefficients or the outcomes within
    every cluster are all alike (no event at all, say), it is that upper bound: each cluster then counts as
    one trial. Raises ValueError for clusters of another length than the rows.
    """
    labels = np.arange(fit.events.size) if clusters is None else np.asarray(clusters)
    if labels.shape != fit.events.shape:
        raise ValueError(f"clusters has shape {labels.shape}, the fit has {fit.events.size} rows")
    used = fit.trials > 0
    group = np.unique(labels[used], return_inverse=True)[1]
    y, n = fit.events[used], fit.trials[used]
    p = np.clip(fit.fitted_probability[used], SMALLEST_PROBABILITY, 1 - SMALLEST_PROBABILITY)
    count = int(group.max()) + 1
    degrees = count - fit.coefficients.size
    size = np.bincount(group, n)
    upper = max(1.0, float((size**2).sum() / size.sum()))
    happened = np.bincount(group, y)
    if degrees <= 0 or np.all((happened == 0) | (happened == size)):
        return Dispersion(factor=upper)
    residual = np.bincount(group, y - n * p)
    variance = np.bincount(group, n * p * (1 - p))
    slope = np.bincount(group, n * p * (1 - p) * (1 - 2 * p)) / variance
    pearson = float((residual**2 / variance).sum()) / degrees
    sparse = 1 + float((slope * residual / variance).mean())
    factor = min(max(1.0, pearson / sparse), upper) if sparse > 0 else upper
    return Dispersion(factor=factor, degrees=float(degrees))


def with_dispersion(fit: LogisticFit, dispersion: Dispersion) -> LogisticFit:
    """The same fit with its covariance multiplied by the factor and its tests divided by it.

    Quasi-likelihood: McCullagh and Nelder 1989, Generalized Linear Models, section 4.5. Where the factor is
    an estimate, Student's t takes the place of the normal and F of chi-square: Venables and Ripley 2002,
    Modern Applied Statistics with S, section 7.5 (both from memory).
    Raises ValueError unless the factor is finite and positive.
    """
    if not (np.isfinite(dispersion.factor) and dispersion.factor > 0):
        raise ValueError(f"dispersion must be finite and positive, not {dispersion.factor}")
    return replace(
        fit,
        covariance=fit.covariance * (dispersion.factor / fit.dispersion),
        dispersion=float(dispersion.factor),
        dispersion_df=float(dispersion.degrees),
    )


def probability_limits(fit: LogisticFit, design: ArrayLike, *, level: float = 0.95) -> Limits:
    """Pointwise Wald limits, on the logit scale, of the probability at the rows of `design` (m, k).

    Hosmer and Lemeshow 2000, Applied Logistic Regression, section 1.4 (from memory); Student's t where the
    dispersion is an estimate.
    Raises ValueError for a level outside (0, 1).
    """
    x = np.asarray(design, dtype=np.float64)
    centre = x @ fit.coefficients
    half = coverage_factor(fit.dispersion_df, level=level) * np.sqrt(
        np.einsum("ij,jk,ik->i", x, fit.covariance, x)
    )
    return Limits(lower=np.asarray(expit(centre - half)), upper=np.asarray(expit(centre + half)))


def inverse_prediction(
    coefficients: ArrayLike,
    covariance: ArrayLike,
    probability: float,
    *,
    degrees: float = np.inf,
    level: float = 0.95,
) -> InversePrediction | None:
    """The x at which intercept + slope * x equals logit(probability), with delta and Fieller limits.

    `coefficients` (2,) and any `covariance` (2, 2) of them, its scale known to so many `degrees` of freedom.
    Fieller 1954, Journal of the Royal Statistical Society B 16:175-185; for the dose-response case Finney
    1971, Probit Analysis (from memory). None where the slope is zero (under a millionth of its standard
    error), as after `firth` without events: no x has that probability. Raises ValueError for other shapes, or
    a probability or level outside (0, 1).
    """
    beta = np.asarray(coefficients, dtype=np.float64)
    cov = np.asarray(covariance, dtype=np.float64)
    if beta.shape != (2,) or cov.shape != (2, 2):
        raise ValueError("inverse prediction needs an intercept, a slope and their 2 x 2 covariance")
    if not 0 < probability < 1:
        raise ValueError(f"probability must lie between 0 and 1, not {probability}")
    if abs(beta[1]) <= 1e-6 * np.sqrt(cov[1, 1]):
        return None
    z = coverage_factor(degrees, level=level)
    height = float(beta[0] - logit(probability))
    slope = float(beta[1])
    estimate = -height / slope
    gradient = np.array([1.0, estimate])
    standard_error = float(np.sqrt(gradient @ cov @ gradient)) / abs(slope)
    quadratic = slope**2 - z**2 * cov[1, 1]
    lower, upper = -np.inf, np.inf
    if quadratic > 0:
        half_linear = height * slope - z**2 * cov[0, 1]
        constant = height**2 - z**2 * cov[0, 0]
        root = float(np.sqrt(max(half_linear**2 - quadratic * constant, 0.0)))
        lower, upper = (-half_linear - root) / quadratic, (-half_linear + root) / quadratic
    return InversePrediction(
        estimate=estimate,
        standard_error=standard_error,
        delta_lower=estimate - z * standard_error,
        delta_upper=estimate + z * standard_error,
        lower=float(lower),
        upper=float(upper),
    )


def summed_rate(cold: LogisticFit | None, hot: LogisticFit | None, x: ArrayLike) -> FloatArray:
    """Sum, at most 1, of the rates of two flaws that exclude each other, at x (m,); None counts as zero."""
    design = line_design(x)
    total = np.zeros(design.shape[0])
    for limb in (cold, hot):
        if limb is not None:
            total = total + expit(design @ limb.coefficients)
    return np.minimum(total, 1.0)


def _checked_counts(
    events: ArrayLike, trials: ArrayLike, design: ArrayLike
) -> tuple[FloatArray, FloatArray, FloatArray]:
    y, n = np.asarray(events, dtype=np.float64), np.asarray(trials, dtype=np.float64)
    x = np.asarray(design, dtype=np.float64)
    if y.ndim != 1 or y.shape != n.shape or x.ndim != 2 or x.shape[0] != y.size:
        raise ValueError(
            f"events {y.shape}, trials {n.shape} and design {x.shape} must be (n,), (n,) and (n, k)"
        )
    if not (np.isfinite(y).all() and np.isfinite(n).all() and np.isfinite(x).all()):
        raise ValueError("events, trials and design must be finite")
    if np.any(y < 0) or np.any(y > n):
        raise ValueError("events must lie between 0 and trials")
    if n.sum() == 0:
        raise ValueError("there are no trials")
    return y, n, x


def _deviance(y: FloatArray, n: FloatArray, expected: FloatArray) -> float:
    rest, expected_rest = n - y, n - expected
    with np.errstate(divide="ignore", invalid="ignore"):
        terms = xlogy(y, y / expected) + xlogy(rest, rest / expected_rest)
    return 2 * float(np.where(n > 0, np.nan_to_num(terms), 0.0).sum())
