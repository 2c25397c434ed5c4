"""Data reconciliation of measurements that must satisfy linear balances, and the search for a gross error."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Reconciliation:
    """Reconciled measurements (n,) and the tests of k balances.

    `adjustment` is reconciled - measured, `imbalance` (k,) is A x - b of the measured values. `measurement_z`
    (n,) and `nodal_z` (k,) are absolute; nan where a quantity (or all of a balance) is exact or no balance
    bears on it. `statistic_without_each` (n,) is the global statistic, on one degree of freedom less, with
    that quantity taken as unmeasured; nan where `measurement_z` is. `likeliest_gross_errors` are the indices
    of the largest `measurement_z` where it exceeds `measurement_critical`; several where the balances cannot
    tell them apart (always so with one balance), none where nothing is flagged. `p_value` is None without
    degrees of freedom.
    """

    reconciled: FloatArray
    standard_deviation: FloatArray
    covariance: FloatArray
    adjustment: FloatArray
    imbalance: FloatArray
    statistic: float
    degrees_of_freedom: int
    p_value: float | None
    measurement_z: FloatArray
    measurement_critical: float
    nodal_z: FloatArray
    statistic_without_each: FloatArray
    likeliest_gross_errors: tuple[int, ...]


def reconcile(
    measured: ArrayLike,
    variance: ArrayLike,
    constraints: ArrayLike,
    targets: ArrayLike | None = None,
    *,
    significance: float = 0.05,
) -> Reconciliation:
    """Change `measured` (n,) as little as possible so that `constraints` (k, n) @ x equals `targets` (k,).

    Squared changes weigh 1/`variance` (n,). `targets` (k,), None = zeros. A variance of 0 makes a quantity
    exact; constraints may repeat each other. Reconciliation and tests: Narasimhan and Jordache 2000, Data
    Reconciliation and Gross Error Detection, chapters 3 and 7; global test Reilly and Carpani 1963;
    measurement test Mah and Tamhane 1982, AIChE Journal 28:828-830, its critical value at `significance` over
    all testable quantities by Sidak 1967; nodal test Mah, Stanley and Downing 1976 (all from memory). The
    statistic without a quantity is the global one less its squared z.

    Raises ValueError for other shapes, a variance negative or not finite, a significance outside (0, 1), or
    balances that no adjustment of the inexact quantities can satisfy.
    """
    from scipy.special import chdtrc, ndtri

    y, v = np.asarray(measured, dtype=np.float64), np.asarray(variance, dtype=np.float64)
    a = np.asarray(constraints, dtype=np.float64)
    if y.ndim != 1 or v.shape != y.shape or a.ndim != 2 or a.shape[1] != y.size:
        raise ValueError(
            f"measured {y.shape}, variance {v.shape} and constraints {a.shape} must be (n,), (n,) and (k, n)"
        )
    b = np.zeros(a.shape[0]) if targets is None else np.asarray(targets, dtype=np.float64)
    if b.shape != (a.shape[0],):
        raise ValueError(f"{a.shape[0]} constraints need as many targets, not {b.shape}")
    if not all(np.isfinite(part).all() for part in (y, v, a, b)) or np.any(v < 0):
        raise ValueError(
            "measurements, variances, constraints and targets must be finite, variances not negative"
        )
    if not 0 < significance < 1:
        raise ValueError(f"significance must lie between 0 and 1, not {significance}")

    deviation = np.sqrt(v)
    scaled = a * deviation
    imbalance = a @ y - b
    nodal_deviation = np.sqrt((scaled**2).sum(axis=1))
    live = nodal_deviation > 0
    divisor = np.where(live, nodal_deviation, 1.0)
    magnitude = np.abs(a) @ np.abs(y) + np.abs(b)
    if np.any(~live & (np.abs(imbalance) > 1e-9 * magnitude)):
        raise ValueError("a balance of exact quantities alone is not satisfied")

    left, singular, right = np.linalg.svd(scaled / divisor[:, None], full_matrices=False)
    kept = singular > 1e-10 * max(scaled.shape)
    left, singular, right = left[:, kept], singular[kept], right[kept]
    degrees = int(kept.sum())
    relative = np.where(live, imbalance / divisor, 0.0)
    components = left.T @ relative
    if np.any(np.abs(relative - left @ components) > 1e-8 * (1 + np.abs(relative).max(initial=0.0))):
        raise ValueError("the balances contradict each other")

    standardized = right.T @ (components / singular)
    adjustment = -deviation * standardized
    projector = right.T @ right
    leverage = np.diag(projector)
    testable = leverage > 1e-9
    z = np.full(y.size, np.nan)
    z[testable] = np.abs(standardized[testable]) / np.sqrt(leverage[testable])
    statistic = float((standardized**2).sum())
    covariance = np.diag(v) - deviation[:, None] * projector * deviation
    critical = float(ndtri(1 - (1 - (1 - significance) ** (1 / max(int(testable.sum()), 1))) / 2))
    suspects: tuple[int, ...] = ()
    if testable.any() and np.nanmax(z) > critical:
        suspects = tuple(int(i) for i in np.flatnonzero(z >= np.nanmax(z) * (1 - 1e-8)))
    return Reconciliation(
        reconciled=y + adjustment,
        standard_deviation=np.sqrt(np.maximum(np.diag(covariance), 0.0)),
        covariance=covariance,
        adjustment=adjustment,
        imbalance=imbalance,
        statistic=statistic,
        degrees_of_freedom=degrees,
        p_value=float(chdtrc(float(degrees), statistic)) if degrees else None,
        measurement_z=z,
        measurement_critical=critical,
        nodal_z=np.where(live, np.abs(imbalance) / divisor, np.nan),
        statistic_without_each=statistic - z**2,
        likeliest_gross_errors=suspects,
    )
