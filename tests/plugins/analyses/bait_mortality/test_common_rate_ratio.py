import itertools
import math
import tracemalloc
from fractions import Fraction

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.stats import binom

from bait_mortality.trip_rates import CommonRateRatio
from benchwater.statistics.rates import rate_ratio


def numbers(found: CommonRateRatio) -> tuple[float, float, float, float]:
    """The ratio, its limits and the p-value."""
    return math.exp(found.log_ratio), *found.limits(0.05), found.p


@pytest.mark.parametrize(
    ("x1", "t1", "x2", "t2"),
    [(20, 129.25, 5, 150.5), (0, 3.0, 4, 2.0), (6, 1.0, 0, 9.0), (41, 28010, 15, 19017)],
)
def test_one_stratum_is_the_exact_rate_ratio(x1: int, t1: float, x2: int, t2: float) -> None:
    whole, split = rate_ratio(x1, t1, x2, t2), CommonRateRatio([x1], [t1], [x2], [t2])
    assert numbers(split) == pytest.approx((whole.ratio, whole.low, whole.high, whole.p_central))


def test_two_strata_match_an_example_computed_with_openepi() -> None:
    # OpenEpi, "Comparing 2 person-time rates", two strata; one-tailed exact p over both 0.00001118.
    both = CommonRateRatio([17, 8], [10002.5, 7853.1], [3, 1], [12226.8, 7793.2])
    assert both.p == pytest.approx(2 * 0.00001118, rel=1e-3)
    first = CommonRateRatio([17], [10002.5], [3], [12226.8])
    assert numbers(first)[:3] == pytest.approx((6.927, 2.004, 36.89), rel=5e-4)


def test_limits_leave_the_tail_that_they_promise() -> None:
    x1, t1, x2, t2 = [4, 1, 2], [5.0, 2.0, 9.0], [1, 3, 2], [6.0, 8.0, 4.0]
    totals = np.add(x1, x2)
    ratio, low, high, _ = numbers(CommonRateRatio(x1, t1, x2, t2))

    def chance_of(ratio: float, sums: set[int]) -> float:
        share = [ratio * a / (ratio * a + b) for a, b in zip(t1, t2, strict=True)]
        cells = itertools.product(*(range(n + 1) for n in totals))
        return sum(
            math.prod(float(binom.pmf(k, n, p)) for k, n, p in zip(cell, totals, share, strict=True))
            for cell in cells
            if sum(cell) in sums
        )

    assert chance_of(low, set(range(7, 14))) == pytest.approx(0.025)
    assert chance_of(high, set(range(8))) == pytest.approx(0.025)
    share = [ratio * a / (ratio * a + b) for a, b in zip(t1, t2, strict=True)]
    assert float(np.dot(totals, share)) == pytest.approx(sum(x1))


def test_strata_undo_a_mixture_that_the_crude_ratio_falls_for() -> None:
    # Rates in both strata are the same in both groups; only the hours are spread differently.
    ratio, *_, p = numbers(CommonRateRatio([40, 1], [20, 10], [20, 10], [10, 100]))
    assert rate_ratio(41, 30, 30, 110).low > 2
    assert (ratio, p) == pytest.approx((1.0, 1.0))


def exact_tails(x1, t1, x2, t2, ratio: Fraction) -> tuple[Fraction, Fraction]:
    """P(X <= observed) and P(X >= observed) in whole numbers: exposures are whole, the ratio a fraction."""
    weights = [1]
    for n, one, two in zip(np.add(x1, x2).tolist(), t1, t2, strict=True):
        stratum = [math.comb(n, k) * one**k * two ** (n - k) for k in range(n + 1)]
        product = [0] * (len(weights) + n)
        for shift, weight in enumerate(weights):
            for k, each in enumerate(stratum):
                product[shift + k] += weight * each
        weights = product
    chances = [
        weight * ratio.numerator**k * ratio.denominator ** (len(weights) - 1 - k)
        for k, weight in enumerate(weights)
    ]
    observed, whole = sum(x1), sum(chances)
    return Fraction(sum(chances[: observed + 1]), whole), Fraction(sum(chances[observed:]), whole)


@pytest.mark.parametrize("seed", range(12))
def test_tails_are_those_of_whole_numbers(seed: int) -> None:
    """Hundreds of events in several strata, from like rates to a p-value far below what a double adds up."""
    dice = np.random.default_rng(seed)
    strata, most = int(dice.integers(1, 5)), 10 ** dice.uniform(0.3, 2.0)
    t1, t2 = dice.integers(1, 400, strata).tolist(), dice.integers(1, 400, strata).tolist()
    x1, x2 = dice.poisson(most * dice.uniform(0.1, 2), strata).tolist(), dice.poisson(most, strata).tolist()
    _, low, high, p = numbers(CommonRateRatio(x1, t1, x2, t2))
    at_most, at_least = exact_tails(x1, t1, x2, t2, Fraction(1))
    two_sided = 2 * (at_most if at_most < at_least else at_least)
    assert p == pytest.approx(min(float(two_sided), 1.0), rel=1e-11)
    if sum(x1):
        assert float(exact_tails(x1, t1, x2, t2, Fraction(low))[1]) == pytest.approx(0.025, rel=1e-11)
    if sum(x2):
        assert float(exact_tails(x1, t1, x2, t2, Fraction(high))[0]) == pytest.approx(0.025, rel=1e-11)


def by_the_whole_polynomial(x1, t1, x2, t2) -> tuple[float, float, float, float]:
    """Ratio, limits and p by all coefficients of the product over strata of (t1 z + t2)^n."""
    logs = np.zeros(1)
    for n, one, two in zip(np.add(x1, x2).tolist(), t1, t2, strict=True):
        second = binom.logpmf(np.arange(n + 1), n, one / (one + two))
        whole = np.full(len(logs) + n, -np.inf)
        for shift, term in enumerate(second):
            window = slice(shift, shift + len(logs))
            whole[window] = np.logaddexp(whole[window], logs + term)
        logs = whole
    k, observed = np.arange(len(logs)), sum(x1)

    def chances(log_ratio: float):
        terms = np.exp(logs + k * log_ratio - (logs + k * log_ratio).max())
        return terms / terms.sum()

    def root(rising):
        return math.exp(brentq(rising, -30, 30, xtol=1e-13))

    return (
        root(lambda each: float(k @ chances(each)) - observed),
        root(lambda each: float(chances(each)[observed:].sum()) - 0.025),
        root(lambda each: 0.025 - float(chances(each)[: observed + 1].sum())),
        2 * float(min(chances(0.0)[observed:].sum(), chances(0.0)[: observed + 1].sum())),
    )


@pytest.mark.parametrize("seed", range(8))
def test_what_is_left_out_of_thousands_of_events_changes_nothing(seed: int) -> None:
    dice = np.random.default_rng(seed)
    strata = int(dice.integers(2, 5))
    t1, t2 = dice.uniform(10, 900, strata), dice.uniform(10, 900, strata)
    x1, x2 = dice.poisson(0.7 * t1).tolist(), dice.poisson(t2 * dice.choice([0.1, 0.65, 0.75])).tolist()
    found = numbers(CommonRateRatio(x1, t1, x2, t2))
    wanted = by_the_whole_polynomial(x1, t1, x2, t2)
    assert found[:3] == pytest.approx(wanted[:3], rel=1e-12)
    assert found[3] == pytest.approx(wanted[3], rel=1e-9)


@pytest.mark.parametrize("share", [1e-6, 0.2, 0.5, 0.999])
def test_a_hundred_million_events_need_little_memory(share: float) -> None:
    total = 10**8
    events = round(share * total)
    tracemalloc.start()
    found = numbers(CommonRateRatio([events], [1.0], [total - events], [1.0]))
    _, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    alone = rate_ratio(events, 1.0, total - events, 1.0)
    assert found[:3] == pytest.approx((alone.ratio, alone.low, alone.high), rel=1e-6)
    assert most < 50e6
