"""Standard uncertainties and their propagation, after JCGM 100:2008 (GUM), from memory."""

import numpy as np
from numpy.typing import ArrayLike

from benchwater.statistics.interval import normal_quantile, tail_probability


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
