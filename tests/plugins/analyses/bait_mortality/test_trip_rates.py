"""Rates compared with the trip as the unit."""

import math
from itertools import product

import numpy as np
import pytest

from bait_mortality.trip_rates import CommonRateRatio, TripComparison
from benchwater.statistics.permutations import sign_flip_p
from benchwater.statistics.rates import rate_ratio

EVENTS = [2, 4, 1, 0, 3, 1]
EXPOSURE = [1.0, 2.0, 5.0, 1.5, 2.0, 0.0]
FIRST = [True, True, False, False, True, False]
SECOND = [False, False, True, True, False, False]


def test_where_each_loss_is_a_trip_of_its_own_the_exact_limits_count() -> None:
    rng = np.random.default_rng(1)
    hours, first = rng.uniform(1, 3, 150), np.arange(150) < 70
    lost = rng.random(150) < np.where(first, 0.3, 0.1)
    found = TripComparison(lost, hours, first, ~first, range(150))
    exact = rate_ratio(lost[first].sum(), hours[first].sum(), lost[~first].sum(), hours[~first].sum())
    assert found.ratio == pytest.approx(exact.ratio)
    assert found.limits() == pytest.approx((exact.low, exact.high), rel=0.15)
    assert found.limits()[0] <= exact.low * (1 + 1e-9)
    assert found.p >= exact.p_central * (1 - 1e-9)


def test_losses_of_one_trip_prove_nothing() -> None:
    """Seven of seven baits lost on one bad evening: by baits p is 0.016, by trips nothing is known."""
    hours = [7.0, *[2.0] * 5]
    found = TripComparison([7, 0, 0, 0, 0, 0], hours, [True, *[False] * 5], [False, *[True] * 5], range(6))
    assert rate_ratio(7, 7, 0, 10).p_central < 0.02
    assert (found.p, found.limits()) == (1.0, (0.0, math.inf))


def test_three_trips_of_each_group_are_the_fewest_that_tell_anything() -> None:
    for trips in (2, 3):
        first = np.arange(2 * trips) < trips
        found = TripComparison(np.where(first, 9, 0), np.ones(2 * trips), first, ~first, range(2 * trips))
        assert (found.p < 0.2) == (trips == 3)


def test_the_sign_of_every_trip_is_flipped() -> None:
    scores = [0.4, -1.2, 2.0, 0.7, 1.1]
    sums = [abs(np.dot(signs, scores)) for signs in product((-1, 1), repeat=5)]
    assert sign_flip_p(np.array(scores)[:, np.newaxis]) == np.mean(np.array(sums) >= sum(scores) - 1e-9)


def test_the_ratio_within_strata_is_the_conditional_maximum_likelihood() -> None:
    found = TripComparison(EVENTS, EXPOSURE, FIRST, SECOND, range(6), [0, 1, 1, 0, 2, 0])
    same = CommonRateRatio([2, 4], [1.0, 2.0], [0, 1], [1.5, 5.0])
    assert (found.events, found.exposure) == ((6, 1), (3.0, 6.5))
    assert found.ratio == pytest.approx(math.exp(same.log_ratio), rel=1e-9)


def test_what_a_trip_does_to_both_groups_cancels_within_trips() -> None:
    """A trip that is ten times as bad for both groups leaves the ratio as it is."""
    hours, trips = [2.0, 2.0] * 8, np.repeat(np.arange(8), 2)
    first = np.arange(16) % 2 == 0
    even = TripComparison([2, 1] * 8, hours, first, ~first, trips)
    uneven = TripComparison([20, 10, *[2, 1] * 7], hours, first, ~first, trips)
    assert (even.ratio, uneven.ratio) == pytest.approx((2, 2))
    assert 1 < uneven.limits()[0] < even.ratio


def test_without_a_common_stratum_nothing_is_known() -> None:
    found = TripComparison(EVENTS, EXPOSURE, FIRST, SECOND, range(6), FIRST)
    assert (math.isnan(found.ratio), found.p, found.limits()) == (True, 1.0, (0.0, math.inf))


def test_hundreds_of_trips_agree_with_the_draws_of_fewer() -> None:
    rng = np.random.default_rng(4)
    scores = rng.normal(0.1, 1, (200, 1))
    assert sign_flip_p(scores) == pytest.approx(sign_flip_p(np.vstack([scores, [[0.0]]])), abs=0.02)
