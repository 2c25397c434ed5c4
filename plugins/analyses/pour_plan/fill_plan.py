"""How often to fill each mold: an integer programme, and what stops it where it has no solution.

A fill of mold j yields `yields[i, j]` pieces of kind i, all of them whether wanted or not, and takes
`uses[k, j]` of stock k. Wanted are whole numbers of fills f >= 0 with yields f >= demand and
uses f <= limits: the covering form of the cutting-stock problem (Chvatal 1983, Linear Programming, chapter
13, from memory, checked against published optima). Solved by HiGHS (Huangfu & Hall 2018, Math. Prog. Comp.
10:119-142).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import Bounds, LinearConstraint, milp

Array = NDArray[np.float64]

SLACK = 1e-7


@dataclass(frozen=True, slots=True, kw_only=True)
class FillPlan:
    """Fills of each mold (m,), and the pieces of each kind that they yield (kinds,)."""

    fills: tuple[int, ...]
    yielded: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Stops:
    """Why no plan exists, by place.

    `short`: what each stock lacks in the plan that lacks least (each
    shortage measured in what is there of that stock). `alone`: the stocks that would stop every plan even if
    all the others were plenty; without any, it is the short ones together that do.
    """

    short: dict[int, float]
    alone: tuple[int, ...]


def plan_fills(
    yields: ArrayLike, demand: Sequence[float], uses: ArrayLike = (), limits: Sequence[float] = ()
) -> FillPlan | None:
    """The plan of fewest fills, and of those the one with the least surplus; None where there is none.

    `yields` is (kinds, molds), `uses` (stocks, molds), every number at least 0 and finite.
    Raises ValueError for shapes that do not fit or numbers below 0.
    """
    problem = _Problem.of(yields, demand, uses, limits)
    fewest = problem.solve(np.ones(problem.molds), problem.limits)
    if fewest is None:
        return None
    least = problem.solve(problem.yields.sum(axis=0), problem.limits, most_fills=int(fewest.sum()))
    fills = fewest if least is None else least
    yielded = problem.yields @ fills
    return FillPlan(
        fills=tuple(int(number) for number in fills),
        yielded=tuple(yielded.tolist()),
    )


def what_stops(yields: ArrayLike, demand: Sequence[float], uses: ArrayLike, limits: Sequence[float]) -> Stops:
    """What to blame where `plan_fills` finds nothing: each limit alone, then all relaxed at least cost.

    Raises ValueError as `plan_fills` does, and where no mold yields a kind that is wanted.

    Source: elastic programming, Chinneck 2008, Feasibility and Infeasibility in Optimization, chapter 6 (from
    memory).
    """
    problem = _Problem.of(yields, demand, uses, limits)
    if np.any((problem.demand > 0) & (problem.yields.max(axis=1, initial=0.0) <= 0)):
        raise ValueError("no mold yields a kind that is wanted")
    alone = []
    for stock in range(len(problem.limits)):
        only = np.full(len(problem.limits), np.inf)
        only[stock] = problem.limits[stock]
        if problem.solve(np.ones(problem.molds), only) is None:
            alone.append(stock)
    lacking = problem.least_lacking()
    short = {stock: float(amount) for stock, amount in enumerate(lacking) if amount > SLACK}
    return Stops(short=short, alone=tuple(alone))


@dataclass(frozen=True, slots=True)
class _Problem:
    yields: Array
    demand: Array
    uses: Array
    limits: Array

    @classmethod
    def of(
        cls, yields: ArrayLike, demand: Sequence[float], uses: ArrayLike, limits: Sequence[float]
    ) -> "_Problem":
        made, wanted = (
            np.atleast_2d(np.asarray(yields, dtype=np.float64)),
            np.asarray(demand, dtype=np.float64),
        )
        stock = np.asarray(limits, dtype=np.float64)
        taken = np.asarray(uses, dtype=np.float64).reshape(len(stock), -1 if len(stock) else made.shape[1])
        if made.shape[0] != len(wanted) or taken.shape[1] != made.shape[1]:
            raise ValueError(f"yields {made.shape}, demand {wanted.shape}, uses {taken.shape} do not fit")
        if not all(np.all(values >= 0) and np.all(np.isfinite(values)) for values in (made, wanted, taken)):
            raise ValueError("yields, demand and uses must be finite and at least 0")
        if np.any(np.isnan(stock)) or np.any(stock < 0):
            raise ValueError("limits must be at least 0")
        return cls(made, wanted, taken, stock)

    @property
    def molds(self) -> int:
        return int(self.yields.shape[1])

    def solve(self, cost: Array, limits: Array, most_fills: int | None = None) -> Array | None:
        """Fills of least cost, checked against the demand and the limits."""
        held = np.isfinite(limits)
        rows = [LinearConstraint(self.yields, lb=self.demand - SLACK)]
        if held.any():
            size = np.maximum(limits[held], 1.0)
            rows.append(LinearConstraint(self.uses[held] / size[:, None], ub=(limits[held] + SLACK) / size))
        if most_fills is not None:
            rows.append(LinearConstraint(np.ones((1, self.molds)), ub=float(most_fills)))
        fills = _whole(cost, rows, self.molds)
        if fills is None or np.any(self.yields @ fills < self.demand - 1e-5 * np.maximum(1.0, self.demand)):
            return None
        return fills

    def least_lacking(self) -> Array:
        """What every stock lacks in the plan whose shortages, each over what is there, add up to least."""
        size = np.maximum(self.limits, 1.0)
        stocks = len(self.limits)
        wide = np.hstack([self.yields, np.zeros((len(self.demand), stocks))])
        elastic = np.hstack([self.uses / size[:, None], -np.eye(stocks)])
        rows = [
            LinearConstraint(wide, lb=self.demand - SLACK),
            LinearConstraint(elastic, ub=self.limits / size),
        ]
        few = np.full(self.molds, 1e-6 / max(1.0, float(self.demand.sum())))
        found = _whole(np.concatenate([few, np.ones(stocks)]), rows, self.molds)
        assert found is not None
        return np.maximum(0.0, self.uses @ found[: self.molds] - self.limits)


def _whole(cost: Array, rows: Sequence[LinearConstraint], whole: int) -> Array | None:
    """The minimum of cost x over x >= 0, the first `whole` of them integers; None where there is none."""
    if len(cost) == 0:
        return np.zeros(0) if all(np.all(row.lb <= 0) for row in rows) else None
    integrality = (np.arange(len(cost)) < whole).astype(np.int64)
    answer = milp(
        cost, constraints=rows, integrality=integrality, bounds=Bounds(lb=0), options={"mip_rel_gap": 0}
    )
    if answer.x is None:
        return None
    return np.where(integrality == 1, np.round(answer.x), answer.x)
