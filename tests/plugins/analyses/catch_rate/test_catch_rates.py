import math
from collections.abc import Sequence

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binomtest

from catch_rate.catch_rates import (
    compare_rates_between,
    compare_rates_within,
    contrast_rates,
    deal_sums,
)

FISH_A, HOURS_A = [6, 3, 0, 8, 5, 2, 7, 4], [2.0, 1.0, 1.5, 3.0, 2.0, 1.0, 2.5, 2.0]
FISH_B, HOURS_B = [2, 1, 1, 3, 0, 1, 2, 2], [2.0, 2.0, 1.0, 2.0, 1.5, 1.0, 2.5, 1.0]


def test_within_trips_every_swap_is_counted() -> None:
    found = compare_rates_within(FISH_A, HOURS_A, FISH_B, HOURS_B)
    scores = [a - (a + b) * h / (h + k) for a, h, b, k in zip(FISH_A, HOURS_A, FISH_B, HOURS_B, strict=True)]
    swaps = [
        abs(sum(score if swap >> place & 1 else -score for place, score in enumerate(scores)))
        for swap in range(256)
    ]
    assert found.p == np.mean([value >= abs(sum(scores)) - 1e-9 for value in swaps])
    assert found.units == 8
    assert found.smallest_p == 2 / 256


def test_within_trips_the_ratio_is_the_conditional_maximum_likelihood() -> None:
    # Trips alike in hours pool to one binomial, whose ratio is that of the totals.
    found = compare_rates_within([4, 9, 2], [1.0, 2.0, 1.5], [2, 3, 1], [1.0, 2.0, 1.5])
    assert found.ratio == pytest.approx(15 / 6)
    assert found.limits() == (0.0, math.inf)


def test_what_the_trips_share_cancels() -> None:
    # Good trips were fished mostly with the second bait: the totals mislead, the trips do not.
    mood = [1, 1, 1, 9, 9, 9, 9]
    fish_1 = [round(2 * m * 0.25) if m > 1 else 4 for m in mood]
    hours_1 = [0.25 if m > 1 else 2.0 for m in mood]
    fish_2 = [m * 2 for m in mood]
    hours_2 = [2.0] * 7
    found = compare_rates_within(fish_1, hours_1, fish_2, hours_2)
    totals = (sum(fish_1) / sum(hours_1)) / (sum(fish_2) / sum(hours_2))
    assert totals < 1 < found.ratio


def test_a_bait_that_caught_nothing_has_one_finite_limit() -> None:
    found = compare_rates_within([3, 2, 4, 1, 2, 3, 2], [1.0] * 7, [0] * 7, [1.0] * 7)
    low, high = found.limits()
    assert (found.ratio, high) == (math.inf, math.inf)
    assert 1 < low < math.inf
    assert found.p == 2 / 128
    turned = compare_rates_within([0] * 7, [1.0] * 7, [3, 2, 4, 1, 2, 3, 2], [1.0] * 7)
    assert (turned.ratio, turned.limits()[0]) == (0.0, 0.0)
    assert turned.limits()[1] == pytest.approx(1 / low, rel=0.01)


def test_every_deal_gives_the_first_group_its_number_of_trips() -> None:
    for units, first in ((9, 4), (301, 150)):
        sums, every_way = deal_sums(np.ones((units, 1)), first)
        assert (sums == first).all()
        assert every_way == (units == 9)


def test_no_fish_at_all_gives_no_ratio() -> None:
    found = compare_rates_within([0, 0], [1.0, 1.0], [0, 0], [1.0, 2.0])
    assert math.isnan(found.ratio)
    assert (found.p, found.units, found.smallest_p, found.limits()) == (1.0, 0, 1.0, (0.0, math.inf))


def test_between_trips_every_deal_is_counted() -> None:
    found = compare_rates_between([6, 8, 7], [2.0, 2.0, 2.0], [1, 2, 0, 2], [2.0, 2.0, 2.0, 2.0])
    assert found.ratio == pytest.approx(7.0 / 1.25)
    assert found.p == pytest.approx(1 / 35)
    assert found.smallest_p == pytest.approx(2 / 35)


def test_between_trips_the_ratio_is_that_of_the_totals() -> None:
    found = compare_rates_between(FISH_A, HOURS_A, FISH_B, HOURS_B)
    assert found.ratio == pytest.approx((35 / 15) / (12 / 13))
    low, high = found.limits()
    assert 1 < low < found.ratio < high
    assert found.p < 0.05


def test_many_trips_use_the_same_draws_every_time() -> None:
    rng = np.random.default_rng(4)
    fish, hours = rng.poisson(3, (2, 40)), rng.uniform(1, 3, (2, 40))
    for compare in (compare_rates_within, compare_rates_between):
        once, again = (compare(fish[0], hours[0], fish[1], hours[1]) for _ in range(2))
        assert (once.ratio, once.p, once.limits()) == (again.ratio, again.p, again.limits())
        assert once.limits()[0] < 1 < once.limits()[1]


def test_within_agrees_with_the_binomial_test_where_fish_are_independent() -> None:
    rng = np.random.default_rng(11)
    hours = np.full(400, 1.0)
    for rate in (0.8, 0.9, 1.0):
        first, second = rng.poisson(1.0, 400), rng.poisson(rate, 400)
        found = compare_rates_within(first, hours, second, hours)
        exact = binomtest(int(first.sum()), int(first.sum() + second.sum()), 0.5)
        limits = exact.proportion_ci(0.95)
        assert found.p == pytest.approx(exact.pvalue, abs=0.05)
        exact_limits = (limits.low / (1 - limits.low), limits.high / (1 - limits.high))
        assert found.limits() == pytest.approx(exact_limits, abs=0.04)


@settings(max_examples=40, deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(0, 6), st.floats(0.25, 6.0), st.integers(0, 6), st.floats(0.25, 6.0)),
        min_size=1,
        max_size=9,
    ),
    st.booleans(),
)
def test_limits_and_p_say_the_same(rows: list[tuple[int, float, int, float]], within: bool) -> None:
    compare = compare_rates_within if within else compare_rates_between
    fish_1, hours_1, fish_2, hours_2 = zip(*rows, strict=True)
    found = compare(fish_1, hours_1, fish_2, hours_2)
    assert 0 < found.p <= 1
    if math.isnan(found.ratio):
        return
    low, high = found.limits()
    assert low / 1.001 <= found.ratio <= high * 1.001
    if within and found.smallest_p > 0.05:
        assert (low, high) == (0.0, math.inf)
    turned = compare(fish_2, hours_2, fish_1, hours_1)
    assert turned.p == pytest.approx(found.p, abs=0.0 if within else 0.05)


def trips(numbers: Sequence[int], fish: Sequence[int], hours: Sequence[float]) -> pd.DataFrame:
    return pd.DataFrame({"trip": numbers, "fish": fish, "hours": hours})


def test_builds_are_compared_on_the_trips_they_share() -> None:
    one = trips([*range(8), 40], [*FISH_A, 99], [*HOURS_A, 1.0])
    order = [5, 3, 30, 7, 0, 1, 6, 2, 4]
    other = trips(order, [0 if n == 30 else FISH_B[n] for n in order], [HOURS_B[n % 8] for n in order])
    (found,) = contrast_rates({"build": {"a": one, "b": other}}, within=["build"])
    alone = compare_rates_within(FISH_A, HOURS_A, FISH_B, HOURS_B)
    assert (found.ratio, found.low, found.high, found.p) == (alone.ratio, *alone.limits(), alone.p)


def test_contrasts_are_turned_to_the_higher_and_adjusted_together() -> None:
    one, two = trips(range(8), FISH_A, HOURS_A), trips(range(8), FISH_B, HOURS_B)
    few = trips([0], [3], [1.0])
    found = contrast_rates({"build": {"b": two, "a": one, "few": few}}, within=["build"])
    assert [(each.group, each.against) for each in found] == [("a", "b")]
    both = contrast_rates({"build": {"b": two, "a": one}, "water": {"x": one, "y": two}}, within=["build"])
    assert [each.factor for each in both].count("water") == 1
    assert all(each.ratio >= 1 and each.low <= each.ratio <= each.high for each in both)
    assert all(each.p_adjusted >= each.p for each in both)
    assert found[0].p_adjusted == found[0].p
