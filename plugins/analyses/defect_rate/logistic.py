"""Penalised logistic regression of counts, the dispersion of clusters, and likelihood-ratio tests."""

from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.linalg.lapack import dgeqrf, dorgqr
from scipy.special import chdtrc, expit, gammaln, logit

from benchwater.statistics.uncertainty import coverage_factor

FloatArray = NDArray[np.float64]

SMALLEST_PROBABILITY = 1e-14
MAX_ITERATIONS = 500
SEPARATION_RATIO = 1e-7


@dataclass(frozen=True, slots=True, kw_only=True)
class LogisticFit:
    """A fitted logistic regression of `events` out of `trials` on `design`.

    `covariance` is the inverse Fisher information at the estimate, times the `dispersion`.
    """

    coefficients: FloatArray
    covariance: FloatArray
    design: FloatArray
    events: FloatArray
    trials: FloatArray
    fitted_probability: FloatArray
    firth: bool
    dispersion: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """Lower and upper confidence limits, element by element."""

    lower: FloatArray
    upper: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class LikelihoodRatioTests:
    """One (penalised) likelihood-ratio test for each coefficient, on one degree of freedom each."""

    statistic: FloatArray
    p_value: FloatArray


def line_design(x: ArrayLike) -> FloatArray:
    """Returns the design matrix (n, 2) of an intercept and x (n,)."""
    values = np.asarray(x, dtype=np.float64)
    return np.column_stack([np.ones_like(values), values])


def fit_logistic(
    events: ArrayLike, trials: ArrayLike, design: ArrayLike, *, firth: bool = True
) -> LogisticFit:
    """Fits `events` out of `trials`, both (n,), to `design` (n, k), which includes the intercept.

    With `firth` the likelihood is multiplied by the square root of the determinant of the information
    (Jeffreys' prior). This removes the first-order bias and gives finite estimates under complete separation
    and without any event: Firth 1993, Biometrika 80:27-38; Heinze and Schemper 2002, Statistics in Medicine
    21:2409-2419 (from memory; checked against the data of the second). Without it the fit is ordinary maximum
    likelihood: McCullagh and Nelder 1989, Generalized Linear Models, chapter 4. Rows without trials have no
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
    among = problem.free(np.eye(count), start, certainty)
    coefficients = problem.highest(np.zeros(count), among, 1e-16).coefficients
    if not firth:
        problem.refuse_separation(coefficients)
    return LogisticFit(
        coefficients=coefficients,
        covariance=np.asarray(np.linalg.inv(problem.information(coefficients)), dtype=np.float64),
        design=x,
        events=y,
        trials=n,
        fitted_probability=expit(x @ coefficients),
        firth=firth,
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
    group = np.unique(np.asarray(clusters)[fit.trials > 0], return_inverse=True)[1]
    y, n, p = (values[fit.trials > 0] for values in (fit.events, fit.trials, fit.fitted_probability))
    residual, variance, size = _summed(group, y - n * p), _summed(group, n * p * (1 - p)), _summed(group, n)
    degrees = size.size - fit.coefficients.size
    if degrees <= 0:
        return None
    likest = float((size**2).sum() / size.sum())
    alike = not np.any((_summed(group, y) > 0) & (_summed(group, y) < size))
    found = float((residual**2).sum() / variance.sum()) * size.size / degrees if variance.sum() > 0 else 1.0
    factor = likest if alike else min(found, likest)
    return max(1.0, factor * (coverage_factor(degrees) / coverage_factor()) ** 2)


def with_dispersion(fit: LogisticFit, factor: float) -> LogisticFit:
    """Returns the fit with its covariance multiplied, and its tests divided, by the dispersion factor.

    Quasi-likelihood: McCullagh and Nelder 1989, Generalized Linear Models, section 4.5 (from memory).
    Raises ValueError unless the factor is finite and positive.
    """
    if not (np.isfinite(factor) and factor > 0):
        raise ValueError(f"dispersion must be finite and positive, not {factor}")
    return replace(fit, covariance=fit.covariance * (factor / fit.dispersion), dispersion=float(factor))


def probability_limits(fit: LogisticFit, design: ArrayLike) -> Limits:
    """Returns pointwise 95 % Wald limits, on the logit scale, of the probability at rows of `design` (m, k).

    Hosmer and Lemeshow 2000, Applied Logistic Regression, section 1.4 (from memory).
    """
    x = np.asarray(design, dtype=np.float64)
    centre = x @ fit.coefficients
    half = coverage_factor() * np.sqrt(np.einsum("ij,jk,ik->i", x, fit.covariance, x))
    return Limits(lower=np.asarray(expit(centre - half)), upper=np.asarray(expit(centre + half)))


def summed_rate(cold: LogisticFit | None, hot: LogisticFit | None, x: ArrayLike) -> FloatArray:
    """Returns the sum, at most 1, of the rates of two flaws that exclude each other, at x (m,).

    None counts as a rate of zero.
    """
    design = line_design(x)
    total = np.zeros(design.shape[0])
    for fit in (cold, hot):
        if fit is not None:
            total = total + expit(design @ fit.coefficients)
    return np.minimum(total, 1.0)


def likelihood_ratio_tests(fit: LogisticFit) -> LikelihoodRatioTests:
    """Tests each coefficient against zero by twice the fall of the (penalised) log-likelihood.

    The penalty of the restricted fit keeps the information matrix of the full design, as in Heinze and
    Schemper 2002 (from memory). The statistics are divided by `fit.dispersion`.
    """
    count = fit.coefficients.size
    profile = LikelihoodProfile(fit)
    statistics = np.array(
        [profile.statistic(np.zeros(count), np.delete(np.eye(count), j, axis=1)) for j in range(count)]
    )
    return LikelihoodRatioTests(statistic=statistics, p_value=np.asarray(chdtrc(1.0, statistics)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Maximum:
    """The coefficients with the highest objective, that objective, and its derivative by each logit (n,)."""

    coefficients: FloatArray
    value: float
    score: FloatArray


@dataclass(frozen=True, slots=True)
class Free:
    """The subspace in which coefficients may vary: an origin plus `basis` @ free, the same for every origin.

    `directions` is an orthonormal basis of design @ basis, `weighted` the same times the weight of each row.
    `reference` holds one logit a row, from which the search starts.
    """

    basis: FloatArray
    reference: FloatArray
    directions: FloatArray
    triangle: FloatArray
    weighted: FloatArray


@dataclass(frozen=True, slots=True)
class _Point:
    """The objective at some logits, with the terms of its derivative."""

    probability: FloatArray
    weights: FloatArray
    value: float
    reflectors: tuple[FloatArray, FloatArray] | None


@dataclass(frozen=True, slots=True, kw_only=True)
class BinomialLikelihood:
    """The (penalised) binomial likelihood on the logit scale, of the data of one regression.

    Rows with equal rows of the design are added up, as the likelihood needs only their sums. `group` (rows,)
    is the place of each original row, `orthonormal` an orthonormal basis of the design.
    """

    group: NDArray[np.int64]
    events: FloatArray
    trials: FloatArray
    design: FloatArray
    orthonormal: FloatArray
    log_scale: float
    log_binomials: float
    firth: bool

    @classmethod
    def of(
        cls, events: FloatArray, trials: FloatArray, design: FloatArray, firth: bool
    ) -> "BinomialLikelihood":
        """Makes one from rows that all have trials; raises ValueError where the design is rank deficient."""
        binomials = gammaln(trials + 1) - gammaln(events + 1) - gammaln(trials - events + 1)
        first, group = _equal_rows(design)
        design = design[first]
        spread = np.sqrt((design**2).sum(axis=0))
        if np.any(spread == 0) or np.linalg.matrix_rank(design / spread) < design.shape[1]:
            raise ValueError(
                "the design matrix is rank deficient: "
                "at least as many different rows with trials as coefficients are needed"
            )
        orthonormal, triangle = np.linalg.qr(design)
        return cls(
            group=group,
            events=_summed(group, events),
            trials=_summed(group, trials),
            design=design,
            orthonormal=orthonormal,
            log_scale=float(np.log(np.abs(np.diag(triangle))).sum()),
            log_binomials=float(binomials.sum()),
            firth=firth,
        )

    def empirical_logit(self, events: FloatArray, trials: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Returns logits to start the iteration from, and their weights, from the original rows."""
        logits = np.log((events + 0.5) / (trials - events + 0.5))
        certainty = trials * expit(logits) * expit(-logits)
        whole = _summed(self.group, certainty)
        return _summed(self.group, certainty * logits) / whole, whole

    def weights(self, eta: FloatArray) -> FloatArray:
        """Returns the binomial variance of each row."""
        return np.asarray(self.trials * expit(eta) * expit(-eta))

    def information(self, coefficients: FloatArray) -> FloatArray:
        """Returns the Fisher information of the coefficients."""
        weights = self.weights(self.design @ coefficients)
        return np.asarray((self.design * weights[:, None]).T @ self.design)

    def loglik(self, eta: FloatArray) -> float:
        """Returns the binomial log-likelihood, binomial coefficients included."""
        failures = self.trials - self.events
        terms = self.events * np.logaddexp(0.0, -eta) + failures * np.logaddexp(0.0, eta)
        return self.log_binomials - float(terms.sum())

    def objective(self, eta: FloatArray) -> float:
        """Returns the log-likelihood, with the penalty if `firth`."""
        return self._at(eta).value

    def free(self, basis: FloatArray, reference: FloatArray, weights: FloatArray | None = None) -> Free:
        """Prepares `highest`; rows are weighted by the binomial variance at `reference` unless given."""
        if basis.shape[1] == 0:
            return Free(basis, reference, basis, basis, basis)
        directions, triangle = np.linalg.qr(self.design @ basis)
        given = self.weights(reference) if weights is None else weights
        return Free(basis, reference, directions, triangle, directions * given[:, None])

    def highest(self, origin: FloatArray, among: Free, tolerance: float) -> Maximum:
        """Returns the highest objective among coefficients origin + among.basis @ free.

        Fisher scoring with step halving from the least-squares projection of the reference, until the score
        times the step is below `tolerance`.
        """
        offset, directions = self.design @ origin, among.directions
        if among.basis.shape[1] == 0:
            point = self._at(offset)
            return Maximum(coefficients=origin, value=point.value, score=self._score(point))
        free = _solved(among.weighted.T @ directions, among.weighted.T @ (among.reference - offset))
        point = self._at(offset + directions @ free)
        score = self._score(point)
        for _ in range(MAX_ITERATIONS):
            if not np.isfinite(point.value):
                break
            uphill = directions.T @ score
            step = _solved((directions * point.weights[:, None]).T @ directions, uphill)
            length = 1.0
            rounding = 1e-13 * (1 + abs(point.value))
            while length > 1e-10:
                candidate = self._at(offset + directions @ (free + length * step))
                if candidate.value >= point.value - rounding:
                    break
                length /= 2
            else:
                break
            free, point = free + length * step, candidate
            score = self._score(point)
            if abs(float(uphill @ step)) < tolerance * (1 + abs(point.value)):
                break
        coefficients = origin + among.basis @ np.linalg.solve(among.triangle, free)
        return Maximum(coefficients=coefficients, value=point.value, score=score)

    def refuse_separation(self, coefficients: FloatArray) -> None:
        """Raises ValueError where the information vanishes along some direction."""
        weights = self.weights(self.design @ coefficients)
        reached = np.linalg.eigvalsh((self.orthonormal * weights[:, None]).T @ self.orthonormal)[0]
        largest = np.linalg.eigvalsh((self.orthonormal * self.trials[:, None]).T @ self.orthonormal)[0] / 4
        if reached < SEPARATION_RATIO * largest:
            raise ValueError("no maximum likelihood estimate exists: the outcomes are separated or all alike")

    def _at(self, eta: FloatArray) -> _Point:
        probability = expit(eta)
        weights = np.asarray(self.trials * probability * expit(-eta))
        value = self.loglik(eta)
        if not self.firth:
            return _Point(probability, weights, value, None)
        reflectors, scales, *_ = dgeqrf(self.orthonormal * np.sqrt(weights)[:, None])
        diagonal = np.abs(np.diag(reflectors))
        value = value + self.log_scale + float(np.log(diagonal).sum()) if diagonal.min() > 0 else -np.inf
        return _Point(probability, weights, value, (reflectors, scales))

    def _score(self, point: _Point) -> FloatArray:
        """Returns the residual of each row, adjusted by its leverage if `firth`."""
        residual = np.asarray(self.events - self.trials * point.probability)
        if point.reflectors is None:
            return residual
        rotated = dorgqr(*point.reflectors)[0]
        return np.asarray(residual + (rotated**2).sum(axis=1) * (0.5 - point.probability))


class LikelihoodProfile:
    """Likelihood-ratio statistics of restrictions of one fit, divided by its dispersion."""

    def __init__(self, fit: LogisticFit) -> None:
        """Rows without trials have no weight."""
        used = fit.trials > 0
        self._problem = BinomialLikelihood.of(fit.events[used], fit.trials[used], fit.design[used], fit.firth)
        self._reference = self._problem.design @ fit.coefficients
        self._top = self._problem.objective(self._reference)
        self._dispersion = fit.dispersion
        self._held_at = cache(self._free_at)

    def statistic(self, origin: FloatArray, basis: FloatArray) -> float:
        """Returns twice the fall of the objective when the coefficients must be origin + basis @ free."""
        among = self._problem.free(basis, self._reference)
        return self._fall(self._problem.highest(origin, among, 1e-11))

    def statistic_at(self, x: float, probability: float) -> float:
        """Returns the statistic of "the fitted line (or the intercept alone) gives `probability` at x"."""
        return self.slope_at(x, probability)[0]

    def slope_at(self, x: float, probability: float) -> tuple[float, float]:
        """Returns `statistic_at` and its derivative by the logit of `probability`.

        By the envelope theorem the derivative of a maximum is that of the objective with the free
        coefficients held fixed: the sum of the rows' scores, as the logit shifts all rows equally.
        """
        origin = np.array([logit(probability), 0.0])[: self._problem.design.shape[1]]
        found = self._problem.highest(origin, self._held_at(x), 1e-11)
        return self._fall(found), -2 * float(found.score.sum()) / self._dispersion

    def _free_at(self, x: float) -> Free:
        """Returns the freedom left where the logit at x is given: the slope of a line through that point."""
        constant = self._problem.design.shape[1] == 1
        basis = np.zeros((1, 0)) if constant else np.array([[-x], [1.0]])
        return self._problem.free(basis, self._reference)

    def _fall(self, found: Maximum) -> float:
        return max(2 * (self._top - found.value), 0.0) / self._dispersion


def _solved(square: FloatArray, right: FloatArray) -> FloatArray:
    """Solves a symmetric system; of least length where it is singular."""
    if right.size == 1:
        return right / square[0] if square[0, 0] > 0 else np.zeros(1)
    return np.asarray(np.linalg.lstsq(square, right, rcond=None)[0])


def _equal_rows(design: FloatArray) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Returns the first of each set of equal rows, sets in order of their columns, and the set of each row.

    The same as `np.unique` over whole rows, but column by column, which is much faster.
    """
    group = np.zeros(len(design), dtype=np.int64)
    for column in design.T:
        codes = np.unique(column, return_inverse=True)[1]
        group = group * (int(codes.max(initial=0)) + 1) + codes
        first, group = np.unique(group, return_index=True, return_inverse=True)[1:]
    return first, group


def _summed(group: NDArray[np.int64], values: FloatArray) -> FloatArray:
    return np.asarray(np.bincount(group, values), dtype=np.float64)


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
