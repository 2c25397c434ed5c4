"""The (penalised) likelihood of binomial counts on the logit scale, and where it is highest."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg.lapack import dgeqrf, dorgqr
from scipy.special import expit, gammaln

FloatArray = NDArray[np.float64]

MAX_ITERATIONS = 500
SEPARATION_RATIO = 1e-7


@dataclass(frozen=True, slots=True, kw_only=True)
class Maximum:
    """Coefficients with the highest objective, that objective, and its slope (n,) by the logit of a row."""

    coefficients: FloatArray
    value: float
    score: FloatArray


@dataclass(frozen=True, slots=True)
class Free:
    """What coefficients may do that are held to an origin plus `basis` @ free: the same for every origin.

    `directions` are an orthonormal basis of the design along it, `pulled` these by how much each row tells of
    `reference`, a logit a row of the design.
    """

    basis: FloatArray
    reference: FloatArray
    directions: FloatArray
    triangle: FloatArray
    pulled: FloatArray


@dataclass(frozen=True, slots=True)
class _Point:
    """The objective at the logits `eta` (n,), with what its slope is made of."""

    eta: FloatArray
    probability: FloatArray
    weights: FloatArray
    value: float
    reflectors: tuple[FloatArray, FloatArray] | None


@dataclass(frozen=True, slots=True, kw_only=True)
class BinomialLikelihood:
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
    def of(
        cls, events: FloatArray, trials: FloatArray, design: FloatArray, firth: bool
    ) -> "BinomialLikelihood":
        """From rows that all have trials, a design (n, k); ValueError where its columns are dependent."""
        binomials = gammaln(trials + 1) - gammaln(events + 1) - gammaln(trials - events + 1)
        first, place = _alike(design)
        design = design[first]
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
        return self._at(eta).value

    def maximise(
        self,
        origin: FloatArray,
        basis: FloatArray,
        reference: FloatArray,
        *,
        certainty: FloatArray | None = None,
        tolerance: float = 1e-16,
    ) -> Maximum:
        """The highest objective among coefficients of the form origin + basis @ free; see `highest`."""
        return self.highest(origin, self.free(basis, reference, certainty), tolerance)

    def free(self, basis: FloatArray, reference: FloatArray, certainty: FloatArray | None = None) -> Free:
        """For `highest`: rows are weighed by the binomial variance of `reference`, or `certainty`."""
        if basis.shape[1] == 0:
            return Free(basis, reference, basis, basis, basis)
        directions, triangle = np.linalg.qr(self.design @ basis)
        pull = self.weights(reference) if certainty is None else certainty
        return Free(basis, reference, directions, triangle, directions * pull[:, None])

    def highest(self, origin: FloatArray, among: Free, tolerance: float) -> Maximum:
        """The highest objective among coefficients that lie at an origin but for what is free.

        Fisher scoring with step halving from the least-squares projection of the reference, until the score
        times the step is under `tolerance`.
        """
        offset, directions = self.design @ origin, among.directions
        if among.basis.shape[1] == 0:
            point = self._at(offset)
            return Maximum(coefficients=origin, value=point.value, score=self._score(point))
        free = _solved(among.pulled.T @ directions, among.pulled.T @ (among.reference - offset))
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
        """ValueError where the information has vanished along some direction."""
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
            return _Point(eta, probability, weights, value, None)
        reflectors, scales, *_ = dgeqrf(self.orthonormal * np.sqrt(weights)[:, None])
        diagonal = np.abs(np.diag(reflectors))
        value = value + self.log_scale + float(np.log(diagonal).sum()) if diagonal.min() > 0 else -np.inf
        return _Point(eta, probability, weights, value, (reflectors, scales))

    def _score(self, point: _Point) -> FloatArray:
        """Residual of each row, with the adjustment by its leverage if penalised."""
        residual = np.asarray(self.events - self.trials * point.probability)
        if point.reflectors is None:
            return residual
        rotated = dorgqr(*point.reflectors)[0]
        return np.asarray(residual + (rotated**2).sum(axis=1) * (0.5 - point.probability))


def _solved(square: FloatArray, right: FloatArray) -> FloatArray:
    """The solution of a symmetric system, of least length where it is singular."""
    if right.size == 1:
        return right / square[0] if square[0, 0] > 0 else np.zeros(1)
    return np.asarray(np.linalg.lstsq(square, right, rcond=None)[0])


def _alike(design: FloatArray) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """A row of each kind, kinds in order of their first column, then of their second, and each row's kind.

    That is what `np.unique` over whole rows finds; column by column it is far less work.
    """
    place = np.zeros(len(design), dtype=np.int64)
    for column in design.T:
        codes = np.unique(column, return_inverse=True)[1]
        place = place * (int(codes.max(initial=0)) + 1) + codes
        first, place = np.unique(place, return_index=True, return_inverse=True)[1:]
    return first, place


def _summed(place: NDArray[np.int64], values: FloatArray) -> FloatArray:
    return np.asarray(np.bincount(place, values), dtype=np.float64)
