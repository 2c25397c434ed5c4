"""Data reconciliation: measurements changed to satisfy linear balances, and the search for a gross error."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]
MOST_ERRORS = 2
_SAME_SIZE = 1 - 1e-8


@dataclass(frozen=True, slots=True, kw_only=True)
class Reconciliation:
    """Reconciled measurements (n,), their covariance (n, n), and the tests.

    `adjustment` is reconciled - measured. `statistic` is the global chi-square on `degrees_of_freedom`;
    `p_value` is None without any. `measurement_z` (n,) is absolute, nan where a quantity is exact or in no
    balance.
    """

    reconciled: FloatArray
    covariance: FloatArray
    adjustment: FloatArray
    statistic: float
    degrees_of_freedom: int
    p_value: float | None
    measurement_z: FloatArray


def reconcile(measured: ArrayLike, variance: ArrayLike, constraints: ArrayLike) -> Reconciliation:
    """Change `measured` (n,) as little as possible so that `constraints` (k, n) @ x equals 0.

    Squared changes weigh 1/`variance` (n,). A variance of 0 makes a quantity exact; constraints may repeat
    each other. Narasimhan and Jordache 2000, Data Reconciliation and Gross Error Detection, chapters 3 and 7;
    global test Reilly and Carpani 1963; measurement test Mah and Tamhane 1982, AIChE Journal 28:828-830 (all
    from memory).

    Raises ValueError for other shapes, a variance negative or not finite, or balances that no adjustment of
    the inexact quantities can satisfy.
    """
    from scipy.special import chdtrc

    y, v = np.asarray(measured, dtype=np.float64), np.asarray(variance, dtype=np.float64)
    a = np.asarray(constraints, dtype=np.float64)
    if y.ndim != 1 or v.shape != y.shape or a.ndim != 2 or a.shape[1] != y.size:
        raise ValueError(
            f"measured {y.shape}, variance {v.shape} and constraints {a.shape} must be (n,), (n,) and (k, n)"
        )
    if not all(np.isfinite(part).all() for part in (y, v, a)) or np.any(v < 0):
        raise ValueError("measurements, variances and constraints must be finite, variances not negative")

    deviation = np.sqrt(v)
    scaled = a * deviation
    imbalance = a @ y
    nodal_deviation = np.sqrt((scaled**2).sum(axis=1))
    live = nodal_deviation > 0
    divisor = np.where(live, nodal_deviation, 1.0)
    magnitude = np.abs(a) @ np.abs(y)
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
    return Reconciliation(
        reconciled=y + adjustment,
        covariance=np.diag(v) - deviation[:, None] * projector * deviation,
        adjustment=adjustment,
        statistic=statistic,
        degrees_of_freedom=degrees,
        p_value=float(chdtrc(float(degrees), statistic)) if degrees else None,
        measurement_z=z,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class CountChain:
    """m + 1 counts and the m net flows between them, reconciled.

    Quantities are numbered counts first: i is count i, m + 1 + i the flow from count i to count i + 1.
    `suspects` names the likeliest gross errors, worst first; a suspect is several quantities where the chain
    cannot tell them apart. It is empty where the chain agrees, and where no few errors explain it.
    `implied` has the shape of `suspects`: what the rest of the chain says that each quantity is, and the
    standard uncertainty of that, were it the wrong one.
    """

    reconciliation: Reconciliation
    agrees: bool
    suspects: tuple[tuple[int, ...], ...]
    implied: tuple[tuple[tuple[float, float], ...], ...]


def reconcile_counts(
    counts: ArrayLike,
    count_u: ArrayLike,
    flows: ArrayLike,
    flow_u: ArrayLike,
    *,
    significance: float,
) -> CountChain:
    """Reconcile `counts` (m + 1,) and net `flows` (m,) so that each count plus the flow is the next count.

    `count_u` and `flow_u` are their standard uncertainties. Where the global chi-square test rejects at
    `significance`, the quantity with the largest measurement test is taken as unmeasured and the rest tested
    again, at most `MOST_ERRORS` times (serial elimination: Ripps 1965; Narasimhan and Jordache 2000, Data
    Reconciliation and Gross Error Detection, chapter 8; from memory). What was eliminated is suspect only if
    the rest then agrees with at least one degree of freedom left.

    Raises ValueError as `reconcile` does, and for other shapes or no flow.
    """
    parts = [np.asarray(part, dtype=np.float64) for part in (counts, flows, count_u, flow_u)]
    m = parts[1].size
    if m < 1 or any(part.shape != shape for part, shape in zip(parts, ((m + 1,), (m,)) * 2, strict=True)):
        raise ValueError(f"{m} flows need {m + 1} counts, at least 2, and each its uncertainty")
    measured, variance = np.concatenate(parts[:2]), np.concatenate(parts[2:]) ** 2
    balances = _balances(m)
    whole = rest = reconcile(measured, variance, balances)
    suspects: list[tuple[int, ...]] = []
    while not _agrees(rest, significance) and len(suspects) < MOST_ERRORS:
        z = np.nan_to_num(rest.measurement_z)
        suspects.append(tuple(int(i) for i in np.flatnonzero(z >= z.max() * _SAME_SIZE)))
        balances = _without(balances, suspects[-1][0])
        rest = reconcile(measured, variance, balances)
    explained = _agrees(rest, significance) and rest.degrees_of_freedom > 0
    named = _each_in_one_group(suspects) if explained else ()
    return CountChain(
        reconciliation=whole,
        agrees=_agrees(whole, significance),
        suspects=named,
        implied=tuple(
            tuple(_implied(measured, variance, m, quantity, named, place) for quantity in suspect)
            for place, suspect in enumerate(named)
        ),
    )


def _each_in_one_group(suspects: Sequence[tuple[int, ...]]) -> tuple[tuple[int, ...], ...]:
    """The groups, each without what a later one names; what was eliminated stands in its own group alone."""
    later = [{i for group in suspects[place + 1 :] for i in group} for place in range(len(suspects))]
    return tuple(
        tuple(i for i in group if i not in named) for group, named in zip(suspects, later, strict=True)
    )


def _agrees(result: Reconciliation, significance: float) -> bool:
    return result.p_value is None or result.p_value >= significance


def _balances(m: int) -> FloatArray:
    """One row a stretch: count + flow - next count = 0."""
    return np.hstack([np.eye(m, m + 1) - np.eye(m, m + 1, 1), np.eye(m)])


def _implied(
    measured: FloatArray,
    variance: FloatArray,
    m: int,
    quantity: int,
    suspects: tuple[tuple[int, ...], ...],
    place: int,
) -> tuple[float, float]:
    """What all but the suspects say that a quantity is, and the standard uncertainty of that."""
    others = [suspect[0] for number, suspect in enumerate(suspects) if number != place]
    unmeasured, rest = [quantity, *others], _balances(m)
    for each in unmeasured:
        rest = _without(rest, each)
    found = reconcile(measured, variance, rest)
    whole = _balances(m)
    known = np.delete(np.arange(measured.size), unmeasured)
    solve = -np.linalg.pinv(whole[:, unmeasured])[0] @ whole[:, known]
    spread = solve @ found.covariance[np.ix_(known, known)] @ solve
    return float(solve @ found.reconciled[known]), float(np.sqrt(max(spread, 0.0)))


def _without(balances: FloatArray, quantity: int) -> FloatArray:
    """The balances that remain when a quantity is not measured: one of its own solves the others for it."""
    column = balances[:, quantity]
    pivot = int(np.flatnonzero(column)[0])
    solved = balances - np.outer(column / column[pivot], balances[pivot])
    return np.delete(solved, pivot, axis=0)
