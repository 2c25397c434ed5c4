"""Logistic regression of counts, inverse prediction, and the working window of two opposed responses."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtrc, chdtri, expit, gammaln, logit, xlogy

from benchwater.mathematics.interval import normal_quantile, tail_probability

FloatArray = NDArray[np.float64]

MAX_ITERATIONS = 500
SEPARATION_RATIO = 1e-7
SMALLEST_PROBABILITY = 1e-14
SPLIT_SPAN = 20.0


@dataclass(frozen=True, slots=True, kw_only=True)
class LogisticFit:
    """A fitted logistic regression of binomial counts.

    `covariance` is the inverse Fisher information at the estimate (times a dispersion factor after
    `with_dispersion`). `loglik` contains the binomial coefficients; `penalised_loglik` adds half the
    log-determinant of the information and is None after ordinary maximum likelihood.
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

    @property
    def standard_errors(self) -> FloatArray:
        """Square roots of the diagonal of `covariance`."""
        return np.sqrt(np.diag(self.covariance))


@dataclass(frozen=True, slots=True, kw_only=True)
class LikelihoodRatioTests:
    """One (penalised) likelihood-ratio test a coefficient, each on one degree of freedom."""

    statistic: FloatArray
    p_value: FloatArray


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


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkingWindow:
    """The range of x, within the range searched, in which the summed rate meets the target.

    `best` and `rate_at_best` always exist. `first_met` and the window are None where the target is met
    nowhere; `starts_before` (`ends_after`) says that it is still met at the low (high) edge of the range
    searched, so that the window end given is that edge and not a crossing. At `first_met_lower` the rate is
    shown to exceed the target (None: at no x below `first_met`, or below `best` where it is met nowhere); at
    `first_met_upper` it is shown to meet it (None: at no x from `first_met` to `best`).
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
    problem = _Problem.of(y[used], n[used], x[used], firth)
    count = x.shape[1]
    start, certainty = problem.empirical_logit(y[used], n[used])
    coefficients, objective = problem.maximise(np.zeros(count), np.eye(count), start, certainty=certainty)
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
        penalised_loglik=objective if firth else None,
        deviance=_deviance(y, n, expected),
        null_deviance=_deviance(y, n, n * (y.sum() / n.sum())),
        pearson=float(pearson.sum()),
        residual_df=int(used.sum()) - count,
        firth=firth,
    )


def likelihood_ratio_tests(fit: LogisticFit) -> LikelihoodRatioTests:
    """Test of each coefficient against zero by twice the fall of the (penalised) log-likelihood.

    The penalty of the restricted fit keeps the information matrix of the full design, as in Heinze and
    Schemper 2002 (from memory). The statistics are divided by `fit.dispersion`.
    """
    count = fit.coefficients.size
    profile = _Profile(fit)
    statistics = np.array(
        [profile.statistic(np.zeros(count), np.delete(np.eye(count), j, axis=1)) for j in range(count)]
    )
    return LikelihoodRatioTests(statistic=statistics, p_value=np.asarray(chdtrc(1.0, statistics)))


def profile_limits(fit: LogisticFit, *, level: float = 0.95) -> Limits:
    """Profile (penalised) likelihood limits of each coefficient, shape (k,).

    The values not rejected by the test of `likelihood_ratio_tests`: Heinze and Schemper 2002 (from memory).
    Raises ValueError for a level outside (0, 1).
    """
    profile = _Profile(fit)
    critical = float(chdtri(1.0, 2 * tail_probability(level)))
    unit = np.eye(fit.coefficients.size)
    lower, upper = [], []
    for j, (centre, step) in enumerate(zip(fit.coefficients, fit.standard_errors, strict=True)):
        basis = np.delete(unit, j, axis=1)

        def excess(value: float, j: int = j, basis: FloatArray = basis) -> float:
            return profile.statistic(value * unit[j], basis) - critical

        lower.append(_crossing(excess, float(centre), -float(step)))
        upper.append(_crossing(excess, float(centre), float(step)))
    return Limits(lower=np.array(lower), upper=np.array(upper))


def dispersion_factor(fit: LogisticFit, clusters: ArrayLike | None = None) -> float:
    """Factor by which outcomes alike within a cluster inflate the covariance of `fit`.

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
        return upper
    residual = np.bincount(group, y - n * p)
    variance = np.bincount(group, n * p * (1 - p))
    slope = np.bincount(group, n * p * (1 - p) * (1 - 2 * p)) / variance
    pearson = float((residual**2 / variance).sum()) / degrees
    sparse = 1 + float((slope * residual / variance).mean())
    return min(max(1.0, pearson / sparse), upper) if sparse > 0 else upper


def with_dispersion(fit: LogisticFit, dispersion: float) -> LogisticFit:
    """The same fit with its covariance multiplied by `dispersion` and its tests divided by it.

    Quasi-likelihood: McCullagh and Nelder 1989, Generalized Linear Models, section 4.5 (from memory).
    Raises ValueError unless `dispersion` is finite and positive.
    """
    if not (np.isfinite(dispersion) and dispersion > 0):
        raise ValueError(f"dispersion must be finite and positive, not {dispersion}")
    factor = dispersion / fit.dispersion
    return replace(fit, covariance=fit.covariance * factor, dispersion=float(dispersion))


def probability_limits(fit: LogisticFit, design: ArrayLike, *, level: float = 0.95) -> Limits:
    """Pointwise Wald limits, on the logit scale, of the probability at the rows of `design` (m, k).

    Hosmer and Lemeshow 2000, Applied Logistic Regression, section 1.4 (from memory).
    Raises ValueError for a level outside (0, 1).
    """
    x = np.asarray(design, dtype=np.float64)
    centre = x @ fit.coefficients
    half = normal_quantile(level) * np.sqrt(np.einsum("ij,jk,ik->i", x, fit.covariance, x))
    return Limits(lower=np.asarray(expit(centre - half)), upper=np.asarray(expit(centre + half)))


def inverse_prediction(
    coefficients: ArrayLike, covariance: ArrayLike, probability: float, *, level: float = 0.95
) -> InversePrediction | None:
    """The x at which intercept + slope * x equals logit(probability), with delta and Fieller limits.

    `coefficients` (2,) and any `covariance` (2, 2) of them. Fieller 1954, Journal of the Royal Statistical
    Society B 16:175-185; for the dose-response case Finney 1971, Probit Analysis (from memory). None where
    the slope is zero (under a millionth of its standard error), as after `firth` without events: no x has
    that probability. Raises ValueError for other shapes, or a probability or level outside (0, 1).
    """
    beta = np.asarray(coefficients, dtype=np.float64)
    cov = np.asarray(covariance, dtype=np.float64)
    if beta.shape != (2,) or cov.shape != (2, 2):
        raise ValueError("inverse prediction needs an intercept, a slope and their 2 x 2 covariance")
    if not 0 < probability < 1:
        raise ValueError(f"probability must lie between 0 and 1, not {probability}")
    if abs(beta[1]) <= 1e-6 * np.sqrt(cov[1, 1]):
        return None
    z = normal_quantile(level)
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


def profile_inverse_prediction(
    fit: LogisticFit, probability: float, *, level: float = 0.95
) -> InversePrediction | None:
    """As `inverse_prediction`, with limits from the (penalised) likelihood ratio in place of Fieller's.

    The limits enclose the x at which "the probability at x is `probability`" is not rejected; under
    separation they are to be preferred. Williams 1986, Biometrics 42:641-645 (from memory). None and
    ValueError as of `inverse_prediction`.
    """
    wald = inverse_prediction(fit.coefficients, fit.covariance, probability, level=level)
    if wald is None:
        return None
    profile = _Profile(fit)
    critical = float(chdtri(1.0, 2 * tail_probability(level)))
    if profile.statistic(np.zeros(2), np.array([[1.0], [0.0]])) <= critical:
        return replace(wald, lower=-np.inf, upper=np.inf)

    def excess(value: float) -> float:
        return profile.statistic_at(value, probability) - critical

    return replace(
        wald,
        lower=_crossing(excess, wald.estimate, -wald.standard_error),
        upper=_crossing(excess, wald.estimate, wald.standard_error),
    )


def summed_rate(cold: LogisticFit | None, hot: LogisticFit | None, x: ArrayLike) -> FloatArray:
    """Sum, at most 1, of the rates of two flaws that exclude each other, at x (m,); None counts as zero."""
    design = line_design(x)
    total = np.zeros(design.shape[0])
    for limb in (cold, hot):
        if limb is not None:
            total = total + expit(design @ limb.coefficients)
    return np.minimum(total, 1.0)


def working_window(
    cold: LogisticFit | None,
    hot: LogisticFit | None,
    target_rate: float,
    low: float,
    high: float,
    *,
    level: float = 0.95,
) -> WorkingWindow:
    """Where, between `low` and `high`, the sum of two fitted rates on one x is at most `target_rate`.

    `cold` is the fit (intercept, slope) of the flaws of a cold mold, `hot` that of a hot one; None = no such
    flaws. Below one half each logistic curve is convex, hence so is their sum wherever it meets a target
    below one half: the window is one interval and `first_met` its lower end.

    The limits of `first_met` are those of the profile (penalised) likelihood: the x next to it at which "the
    summed rate is the target" is rejected, the statistics of the two fits, each over its own dispersion,
    being added and minimised over the split of the target between them (Cox and Hinkley 1974, Theoretical
    Statistics, section 9.3; from memory). The sum has no Fieller form, and normal draws of the coefficients
    mislead under separation; with one fit the limits are those of `profile_inverse_prediction`. The two fits
    are taken as independent, which flaws excluding each other are nearly while both are rare.

    Raises ValueError for a target outside (0, 0.5), low >= high, a level outside (0, 1), no fit at all
    or a fit of other than two coefficients.
    """
    limbs = [limb for limb in (cold, hot) if limb is not None]
    if not limbs:
        raise ValueError("a working window needs at least one fitted response")
    if any(limb.coefficients.size != 2 for limb in limbs):
        raise ValueError("a working window needs fits of an intercept and one slope")
    if not 0 < target_rate < 0.5:
        raise ValueError(f"the target rate must lie between 0 and 0.5, not {target_rate}")
    if not low < high:
        raise ValueError(f"the range searched is empty: {low} to {high}")
    low, high = float(low), float(high)

    def excess_rate(x: float) -> float:
        return float(sum(expit(limb.coefficients @ (1.0, x)) for limb in limbs)) - target_rate

    best = _lowest(excess_rate, low, high)
    met = excess_rate(best) <= 0
    starts_before = met and excess_rate(low) <= 0
    ends_after = met and excess_rate(high) <= 0
    window_low = window_high = None
    if met:
        window_low = low if starts_before else _bisect(excess_rate, low, best)
        window_high = high if ends_after else _bisect(excess_rate, best, high)

    root_of_critical = float(np.sqrt(chdtri(1.0, 2 * tail_probability(level))))
    statistic = _SumProfile(limbs, target_rate)

    def rejection(x: float) -> float:
        return float(np.sqrt(statistic(x))) - root_of_critical

    shown_above = shown_met = None
    if not starts_before:
        shown_above = _first_positive(rejection, best if window_low is None else window_low, low)
    if window_low is not None:
        shown_met = _first_positive(rejection, window_low, best)
    return WorkingWindow(
        best=best,
        rate_at_best=min(excess_rate(best) + target_rate, 1.0),
        window_low=window_low,
        window_high=window_high,
        starts_before=starts_before,
        ends_after=ends_after,
        first_met=window_low,
        first_met_lower=shown_above,
        first_met_upper=shown_met,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Problem:
    """The data of one regression, alike rows of the design added up, with an orthonormal basis of it.

    All that the likelihood asks of rows of one temperature is their sums; `place` is where a row went.
    """

    place: NDArray[np.int64]
    events: FloatArray
    trials: FloatArray
    design: FloatArray
    orthonormal: FloatArray
    log_scale: float
    log_binomials: float
    firth: bool

    @classmethod
    def of(cls, events: FloatArray, trials: FloatArray, design: FloatArray, firth: bool) -> "_Problem":
        """Of rows that all have trials."""
        binomials = gammaln(trials + 1) - gammaln(events + 1) - gammaln(trials - events + 1)
        design, place = np.unique(design, axis=0, return_inverse=True)
        spread = np.sqrt((design**2).sum(axis=0))
        if np.any(spread == 0) or np.linalg.matrix_rank(design / spread) < design.shape[1]:
            raise ValueError(
                "the design matrix is rank deficient: "
                "at least as many different rows with trials as coefficients are needed"
            )
        orthonormal, triangle = np.linalg.qr(design)
        return cls(
            place=place,
            events=_summed(place, events),
            trials=_summed(place, trials),
            design=design,
            orthonormal=orthonormal,
            log_scale=float(np.log(np.abs(np.diag(triangle))).sum()),
            log_binomials=float(binomials.sum()),
            firth=firth,
        )

    def empirical_logit(self, events: FloatArray, trials: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Start of the iteration on the logit scale, from the single rows, and how much each tells."""
        logits = np.log((events + 0.5) / (trials - events + 0.5))
        certainty = trials * expit(logits) * expit(-logits)
        whole = _summed(self.place, certainty)
        return _summed(self.place, certainty * logits) / whole, whole

    def weights(self, eta: FloatArray) -> FloatArray:
        """Binomial variances of the rows."""
        return np.asarray(self.trials * expit(eta) * expit(-eta))

    def information(self, coefficients: FloatArray) -> FloatArray:
        """Fisher information of the coefficients."""
        weights = self.weights(self.design @ coefficients)
        return np.asarray((self.design * weights[:, None]).T @ self.design)

    def loglik(self, eta: FloatArray) -> float:
        """Binomial log-likelihood with its coefficients."""
        failures = self.trials - self.events
        terms = self.events * np.logaddexp(0.0, -eta) + failures * np.logaddexp(0.0, eta)
        return self.log_binomials - float(terms.sum())

    def objective(self, eta: FloatArray) -> float:
        """Log-likelihood, penalised if so chosen."""
        value = self.loglik(eta)
        if not self.firth:
            return value
        triangle = np.linalg.qr(self.orthonormal * np.sqrt(self.weights(eta))[:, None], mode="r")
        diagonal = np.abs(np.diag(triangle))
        return value + self.log_scale + float(np.log(diagonal).sum()) if diagonal.min() > 0 else -np.inf

    def working_score(self, eta: FloatArray) -> FloatArray:
        """Residual of each row, with the adjustment by its leverage if penalised."""
        probability = expit(eta)
        residual = np.asarray(self.events - self.trials * probability)
        if not self.firth:
            return residual
        rotated = np.linalg.qr(self.orthonormal * np.sqrt(self.weights(eta))[:, None])[0]
        return np.asarray(residual + (rotated**2).sum(axis=1) * (0.5 - probability))

    def maximise(
        self,
        origin: FloatArray,
        basis: FloatArray,
        reference: FloatArray,
        *,
        certainty: FloatArray | None = None,
        tolerance: float = 1e-16,
    ) -> tuple[FloatArray, float]:
        """Coefficients of the form origin + basis @ free with the highest objective, and that objective.

        Fisher scoring with step halving from the least-squares projection of `reference` (a logit a row of
        the design, weighed by its binomial variance or `certainty`), until the score times the step is under
        `tolerance`.
        """
        offset = self.design @ origin
        if basis.shape[1] == 0:
            return origin, self.objective(offset)
        directions, triangle = np.linalg.qr(self.design @ basis)
        pull = np.sqrt(self.weights(reference) if certainty is None else certainty)
        free = np.linalg.lstsq(directions * pull[:, None], pull * (reference - offset), rcond=None)[0]
        eta = offset + directions @ free
        value = self.objective(eta)
        for _ in range(MAX_ITERATIONS):
            if not np.isfinite(value):
                break
            score = directions.T @ self.working_score(eta)
            curvature = (directions * self.weights(eta)[:, None]).T @ directions
            step = np.linalg.lstsq(curvature, score, rcond=None)[0]
            length = 1.0
            rounding = 1e-13 * (1 + abs(value))
            while length > 1e-10:
                candidate = offset + directions @ (free + length * step)
                candidate_value = self.objective(candidate)
                if candidate_value >= value - rounding:
                    break
                length /= 2
            else:
                break
            free, eta, value = free + length * step, candidate, candidate_value
            if abs(float(score @ step)) < tolerance * (1 + abs(value)):
                break
        return origin + basis @ np.linalg.solve(triangle, free), value

    def refuse_separation(self, coefficients: FloatArray) -> None:
        """ValueError where the information has vanished along some direction."""
        weights = self.weights(self.design @ coefficients)
        reached = np.linalg.eigvalsh((self.orthonormal * weights[:, None]).T @ self.orthonormal)[0]
        largest = np.linalg.eigvalsh((self.orthonormal * self.trials[:, None]).T @ self.orthonormal)[0] / 4
        if reached < SEPARATION_RATIO * largest:
            raise ValueError("no maximum likelihood estimate exists: the outcomes are separated or all alike")


def _summed(place: NDArray[np.int64], values: FloatArray) -> FloatArray:
    return np.asarray(np.bincount(place, values), dtype=np.float64)


class _Profile:
    """Likelihood-ratio statistics of restrictions of one fit, on the scale of its dispersion."""

    def __init__(self, fit: LogisticFit) -> None:
        used = fit.trials > 0
        self._problem = _Problem.of(fit.events[used], fit.trials[used], fit.design[used], fit.firth)
        self._reference = self._problem.design @ fit.coefficients
        self._top = self._problem.objective(self._reference)
        self._dispersion = fit.dispersion

    def statistic(self, origin: FloatArray, basis: FloatArray) -> float:
        """Twice the fall of the objective when the coefficients must be origin + basis @ free."""
        value = self._problem.maximise(origin, basis, self._reference, tolerance=1e-11)[1]
        return max(2 * (self._top - value), 0.0) / self._dispersion

    def statistic_at(self, x: float, probability: float) -> float:
        """The statistic of "intercept + slope * x is the logit of the probability"."""
        return self.statistic(np.array([logit(probability), 0.0]), np.array([[-x], [1.0]]))


class _SumProfile:
    """Likelihood-ratio statistic of "the rates of these fits at x add up to the target"."""

    def __init__(self, limbs: list[LogisticFit], target: float) -> None:
        self._limbs = limbs
        self._profiles = [_Profile(limb) for limb in limbs]
        self._target = target

    def __call__(self, x: float) -> float:
        from scipy.optimize import minimize_scalar

        if len(self._profiles) == 1:
            return self._profiles[0].statistic_at(x, self._target)
        first, second = self._profiles

        def of_split(log_odds: float) -> float:
            one = first.statistic_at(x, self._target * float(expit(log_odds)))
            return one + second.statistic_at(x, self._target * float(expit(-log_odds)))

        found = minimize_scalar(
            of_split, bounds=self._split_bounds(x), method="bounded", options={"xatol": 1e-3}
        )
        return float(found.fun)

    def _split_bounds(self, x: float) -> tuple[float, float]:
        """Log-odds of the split around the minimum: both rates move the same way from their fits."""
        one, other = (max(float(expit(limb.coefficients @ (1.0, x))), 1e-200) for limb in self._limbs)
        target = self._target
        kept_first = float(np.log(one / (target - one))) if one < target else None
        kept_second = float(np.log((target - other) / other)) if other < target else None
        if kept_first is None:
            lower = -SPLIT_SPAN if kept_second is None else kept_second
            return lower, lower + (2 * SPLIT_SPAN if kept_second is None else SPLIT_SPAN)
        if kept_second is None:
            return kept_first - SPLIT_SPAN, kept_first
        lower, upper = sorted((kept_first, kept_second))
        return lower, max(upper, lower + 1e-6)


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


def _crossing(excess: Callable[[float], float], centre: float, step: float) -> float:
    """First sign change of `excess` going from `centre` by doubling steps; infinite if none is found."""
    inner = centre
    for _ in range(40):
        outer = inner + step
        if excess(outer) > 0:
            return _bisect(excess, inner, outer)
        inner, step = outer, step * 1.5
    return float(np.copysign(np.inf, step))


def _first_positive(function: Callable[[float], float], start: float, end: float) -> float | None:
    """Where `function` first turns positive on the way from `start` to `end`; None if it does not."""
    inner = start
    if function(start) > 0:
        return start
    for outer in np.linspace(start, end, 25)[1:]:
        if function(float(outer)) > 0:
            return _bisect(function, inner, float(outer), tolerance=abs(end - start) * 1e-6)
        inner = float(outer)
    return None


def _bisect(
    function: Callable[[float], float], one: float, other: float, *, tolerance: float = 1e-10
) -> float:
    from scipy.optimize import brentq

    def limited(x: float) -> float:
        return min(function(x), 1e6)

    return one if one == other else float(brentq(limited, one, other, xtol=tolerance, rtol=1e-12))


def _lowest(function: Callable[[float], float], low: float, high: float) -> float:
    from scipy.optimize import minimize_scalar

    grid = np.linspace(low, high, 1001)
    values = np.array([function(float(x)) for x in grid])
    index = int(values.argmin())
    if index in (0, grid.size - 1):
        return float(grid[index])
    found = minimize_scalar(
        function, bounds=(grid[index - 1], grid[index + 1]), method="bounded", options={"xatol": 1e-6}
    )
    return float(found.x)
