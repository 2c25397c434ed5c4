"""p-values adjusted for the number of tests made."""

import numpy as np
from numpy.typing import ArrayLike, NDArray


def holm_adjusted(p_values: ArrayLike) -> NDArray[np.float64]:
    """Holm's step-down adjusted p-values, in the order given; valid under any dependence between the tests.

    `p_values` has shape (m,), m may be 0. Raises ValueError for a p-value that is nan or outside 0..1.

    Source: Holm 1979, Scand. J. Statist. 6:65-70 (from memory).
    """
    p = np.asarray(p_values, dtype=np.float64)
    if p.ndim != 1:
        raise ValueError(f"p-values must be one-dimensional, not {p.ndim}-dimensional")
    if not np.all((p >= 0.0) & (p <= 1.0)):
        raise ValueError("p-values must lie between 0 and 1, and none may be missing")
    order = np.argsort(p, kind="stable")
    adjusted = np.empty_like(p)
    adjusted[order] = np.minimum(1.0, np.maximum.accumulate(np.arange(len(p), 0, -1) * p[order]))
    return adjusted
