"""Standard uncertainties and their propagation, after JCGM 100:2008 (GUM), from memory."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from benchwater.statistics.interval import normal_quantile, tail_probability

FloatArray = NDArray[np.float64]


def resolution_uncertainty(resolution: float) -> float:
    """Standard uncertainty of a reading shown in steps of `resolution`: resolution / sqrt(12); GUM F.2.2.1.

    Raises ValueError for a negative or not finite resolution.
    """
    return rectangular_uncertainty(resolution / 2)


def rectangular_uncertainty(half_width: float) -> float:
    """Standard uncertainty of a value anywhere within +- half_width: half_width / sqrt(3); GUM 4.3.7.

    Raises ValueError for a negative or not finite half width.
    """
    if not (np.isfinite(half_width) and half_width >= 0):
        raise ValueError(f"the width must be finite and not negative, not {half_width}")
    return float(half_width / np.sqrt(3.0))


def combined_uncertainty(components: ArrayLike) -> float:
    """Root of the sum of squares of uncorrelated components (n,); GUM 5.1.2.

    The components are in the unit of the result. No component gives 0.
    """
    values = np.asarray(components, dtype=np.float64)
    return float(np.sqrt((values**2).sum()))


def propagated_uncertainty(
    sensitivities: ArrayLike, uncertainties: ArrayLike, correlation: ArrayLike | None = None
) -> float:
    """Standard uncertainty of one result from inputs (n,), its partial derivatives by them (n,); GUM 5.2.2.

    `correlation` (n, n) of the inputs; None = uncorrelated. Raises ValueError for other shapes or a negative
    uncertainty.
    """
    u = np.asarray(uncertainties, dtype=np.float64)
    c = np.asarray(sensitivities, dtype=np.float64)
    if u.ndim != 1 or u.shape != c.shape:
        raise ValueError(f"sensitivities {c.shape} and uncertainties {u.shape} must be of one length")
    if np.any(u < 0):
        raise ValueError("an uncertainty is negative")
    if correlation is None:
        return combined_uncertainty(c * u)
    r = np.asarray(correlation, dtype=np.float64)
    if r.shape != (u.size, u.size):
        raise ValueError(f"the correlation of {u.size} inputs must be square of that size, not {r.shape}")
    return float(np.sqrt(max(float((c * u) @ r @ (c * u)), 0.0)))


def propagated_covariance(jacobian: ArrayLike, covariance: ArrayLike) -> FloatArray:
    """Covariance (m, m) of m results from their partial derivatives (m, n) and the inputs' covariance (n, n).

    GUM H.2.3; JCGM 102:2011, 6.2 (from memory). Raises ValueError for other shapes.
    """
    j, v = np.asarray(jacobian, dtype=np.float64), np.asarray(covariance, dtype=np.float64)
    if j.ndim != 2 or v.shape != (j.shape[1], j.shape[1]):
        raise ValueError(f"jacobian {j.shape} and covariance {v.shape} must be (m, n) and (n, n)")
    return np.asarray(j @ v @ j.T)


def welch_satterthwaite(components: ArrayLike, degrees_of_freedom: ArrayLike) -> float:
    """Effective degrees of freedom of the root sum of squares of `components` (n,); GUM G.4.1.

    Infinite degrees of freedom are allowed; the result is inf where no component with finite ones is above 0.
    Raises ValueError for unequal shapes or degrees of freedom not above 0.
    """
    u, nu = np.asarray(components, dtype=np.float64), np.asarray(degrees_of_freedom, dtype=np.float64)
    if u.ndim != 1 or u.shape != nu.shape:
        raise ValueError(f"components {u.shape} and degrees of freedom {nu.shape} must be of one length")
    if not np.all(nu > 0):
        raise ValueError("degrees of freedom must be above 0")
    denominator = float((u**4 / nu).sum())
    return float((u**2).sum()) ** 2 / denominator if denominator > 0 else np.inf


def coverage_factor(degrees_of_freedom: float = np.inf, *, level: float = 0.95) -> float:
    """Two-sided Student factor, the degrees of freedom cut to a whole number; normal at inf; GUM G.4.

    Raises ValueError for fewer than 1 degree of freedom or a level outside (0, 1).
    """
    from scipy.special import stdtrit

    if not degrees_of_freedom >= 1:
        raise ValueError(f"at least 1 degree of freedom is needed, not {degrees_of_freedom}")
    if np.isinf(degrees_of_freedom):
        return normal_quantile(level)
    return float(stdtrit(float(np.floor(degrees_of_freedom)), 1 - tail_probability(level)))
