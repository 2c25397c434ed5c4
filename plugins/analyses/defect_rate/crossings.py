"""Where a function of one variable changes its sign, or is lowest."""

from collections.abc import Callable
from functools import cache

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


def crossing_beyond(excess: Callable[[float], float], centre: float, step: float) -> float:
    """Where `excess` first turns positive, going from `centre` by growing steps; infinite if nowhere found.

    The sign of `step` gives the direction. Where the sign changes twice within a step, that goes unseen.
    """
    excess, inner = cache(excess), centre
    for _ in range(40):
        outer = inner + step
        if excess(outer) > 0:
            return crossing_between(excess, inner, outer)
        inner, step = outer, step * 1.5
    return float(np.copysign(np.inf, step))


def first_positive(function: Callable[[float], float], start: float, end: float, step: float) -> float | None:
    """Where `function` first turns positive from `start` to `end` by growing steps; None where it does not.

    `step` is the length of the first. Where the sign changes twice within a step, that goes unseen.
    """
    function = cache(function)
    if function(start) > 0:
        return start
    way, length = np.sign(end - start), abs(end - start)
    inner, reached = start, min(step, length)
    while inner != end:
        outer = end if reached >= length else float(start + way * reached)
        if function(outer) > 0:
            return crossing_between(function, inner, outer, tolerance=length * 1e-6)
        inner, step = outer, step * 1.5
        reached += step
    return None


def crossing_between(
    function: Callable[[float], float], one: float, other: float, *, tolerance: float = 1e-10
) -> float:
    """Where `function` crosses 0 between two places at which its signs differ, to within `tolerance`."""
    from scipy.optimize import brentq

    def limited(x: float) -> float:
        return min(function(x), 1e6)

    return one if one == other else float(brentq(limited, one, other, xtol=tolerance, rtol=1e-12))


def lowest(
    function: Callable[[float], float],
    low: float,
    high: float,
    *,
    of_many: Callable[[FloatArray], FloatArray] | None = None,
) -> float:
    """Where `function` is lowest between two places, looked for on a grid and then within it.

    `of_many` is the same function of many places at once, where there is such.
    """
    from scipy.optimize import minimize_scalar

    grid = np.linspace(low, high, 1001)
    values = np.array([function(float(x)) for x in grid]) if of_many is None else of_many(grid)
    index = int(values.argmin())
    if index in (0, grid.size - 1):
        return float(grid[index])
    found = minimize_scalar(
        function, bounds=(grid[index - 1], grid[index + 1]), method="bounded", options={"xatol": 1e-6}
    )
    return float(found.x)
