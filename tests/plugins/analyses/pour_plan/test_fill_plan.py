import itertools
import random
from collections.abc import Iterator, Sequence

import numpy as np
import pytest
from numpy.typing import NDArray

from pour_plan.fill_plan import plan_fills, what_stops
from reference_cases import reference_case

Matrix = NDArray[np.float64]
MOST = 7


def maximal_patterns(widths: Sequence[float], roll: float) -> Matrix:
    """Every way to cut a roll that leaves no width uncut that would fit, one a column."""

    def cut(first: int, left: float) -> Iterator[tuple[int, ...]]:
        if first == len(widths):
            if left < min(widths):
                yield ()
            return
        for number in range(int(left // widths[first]), -1, -1):
            for rest in cut(first + 1, left - number * widths[first]):
                yield number, *rest

    return np.array(list(cut(0, roll)), dtype=float).T


@pytest.mark.parametrize(("name", "roll"), [("ip_cutting453", 100.0), ("ip_cutting73", 5600.0)])
def test_cutting_stock_takes_the_published_number_of_rolls(name: str, roll: float) -> None:
    # Chvatal 1983, chapter 13; the 13 widths of the public encyclopedia's article.
    case = reference_case(name)
    patterns = maximal_patterns(case.numbers("width"), roll)
    assert patterns.shape[1] == case.answer("maximal_patterns")[0]
    plan = plan_fills(patterns, case.numbers("demand"))
    assert plan is not None
    assert sum(plan.fills) == case.answer("rolls")[0] == case.published["rolls"]["value"]
    assert min(np.subtract(plan.yielded, case.numbers("demand"))) >= 0


def test_three_molds_and_four_lures_have_one_plan_of_least_surplus() -> None:
    case = reference_case("ip_multicavity")
    yields = np.array([case.numbers(mold) for mold in ("m1", "m2", "m3")]).T
    plan = plan_fills(yields, case.numbers("demand"))
    assert plan is not None
    assert list(plan.fills) == case.answer("plan")[0]
    assert sum(plan.yielded) - sum(case.numbers("demand")) == case.answer("min_surplus")[0]
    assert sum(plan.fills) == case.answer("pours")[0]


def random_problem(draw: random.Random) -> tuple[Matrix, list[float], Matrix, list[float]]:
    kinds, molds, stocks = draw.randint(1, 4), draw.randint(1, 3), draw.randint(0, 3)
    shares = draw.choice([(1.0,), (0.5, 0.75, 1.0)])
    yields = np.array(
        [[draw.randint(0, 3) * draw.choice(shares) for _ in range(molds)] for _ in range(kinds)]
    )
    uses = np.array([[draw.randint(0, 4) for _ in range(molds)] for _ in range(stocks)], dtype=float)
    demand = [float(draw.choice((0, 1, 2, 3, 4))) for _ in range(kinds)]
    return yields, demand, uses.reshape(stocks, molds), [float(draw.randint(0, 24)) for _ in range(stocks)]


def by_hand(
    yields: Matrix, demand: list[float], uses: Matrix, limits: list[float]
) -> tuple[int, float] | None:
    """Fewest fills and least surplus by trying every plan of up to MOST fills a mold."""
    found = []
    for fills in itertools.product(range(MOST + 1), repeat=yields.shape[1]):
        made, taken = yields @ np.array(fills), uses @ np.array(fills)
        if np.all(made >= np.array(demand) - 1e-9) and np.all(taken <= np.array(limits) + 1e-9):
            found.append((sum(fills), float(made.sum() - sum(demand))))
    return min(found, default=None)


@pytest.mark.slow
def test_small_plans_are_those_that_trying_everything_finds() -> None:
    draw, feasible, stopped = random.Random(20260401), 0, 0
    for _ in range(400):
        # The hungriest demand, 4, takes at most 8 fills of the smallest yield: keep to what MOST covers.
        yields, demand, uses, limits = random_problem(draw)
        if np.any((yields > 0) & (yields * MOST < np.array(demand)[:, None])):
            continue
        best, plan = by_hand(yields, demand, uses, limits), plan_fills(yields, demand, uses, limits)
        assert (plan is None) == (best is None)
        if plan is not None and best is not None:
            feasible += 1
            assert (sum(plan.fills), sum(plan.yielded) - sum(demand)) == pytest.approx(best)
            assert list(plan.yielded) == pytest.approx((yields @ np.array(plan.fills)).tolist())
            continue
        stopped += 1
        if any(want > 0 and not given.any() for want, given in zip(demand, yields, strict=True)):
            with pytest.raises(ValueError, match="no mold yields"):
                what_stops(yields, demand, uses, limits)
            continue
        stops = what_stops(yields, demand, uses, limits)
        alone = [
            stock
            for stock in range(len(limits))
            if by_hand(yields, demand, uses[[stock]], [limits[stock]]) is None
        ]
        assert list(stops.alone) == alone
        assert set(alone) <= set(stops.short)
        lifted = [limit + stops.short.get(stock, 0.0) for stock, limit in enumerate(limits)]
        assert plan_fills(yields, demand, uses, lifted) is not None
    assert feasible > 100
    assert stopped > 50


def test_two_stocks_may_stop_together_what_neither_stops_alone() -> None:
    # Either mold makes the piece, each from its own stock, and both stocks are one short of the two wanted.
    yields, uses = [[1.0, 1.0]], [[2.0, 0.0], [0.0, 3.0]]
    assert plan_fills(yields, [2], uses, [1.0, 2.0]) is None
    stops = what_stops(yields, [2], uses, [1.0, 2.0])
    assert stops.alone == ()
    assert (
        plan_fills(yields, [2], uses, [1.0 + stops.short.get(0, 0), 2.0 + stops.short.get(1, 0)]) is not None
    )


def test_no_demand_takes_no_fill_and_what_no_mold_yields_has_no_plan() -> None:
    plan = plan_fills([[2.0], [1.0]], [0, 0])
    assert plan is not None
    assert plan.fills == (0,)
    assert plan_fills([[2.0], [0.0]], [1, 1]) is None
    assert plan_fills(np.zeros((1, 0)), [1]) is None


@pytest.mark.parametrize(
    ("yields", "demand", "uses", "limits"),
    [
        ([[1.0]], [1, 2], (), ()),
        ([[-1.0]], [1], (), ()),
        ([[1.0]], [float("nan")], (), ()),
        ([[1.0]], [1], [[1.0, 2.0]], [3.0]),
        ([[1.0]], [1], [[1.0]], [-1.0]),
    ],
)
def test_what_does_not_fit_is_refused(
    yields: list[list[float]], demand: list[float], uses: list[list[float]], limits: list[float]
) -> None:
    with pytest.raises(ValueError, match=r"fit|at least 0"):
        plan_fills(yields, demand, uses, limits)
