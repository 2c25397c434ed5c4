"""Seasons of trips that are unlike: a bad spot takes several baits of one trip, a good one none."""

import math

import numpy as np
from numpy.typing import NDArray

from bait_mortality.survival import kaplan_meier, median_survival
from bait_mortality.trip_rates import TripComparison
from benchwater.statistics.rates import ratio_of_totals
from seasons.compute import LEAST_EVENTS
from seasons.ratios import ratio_of_estimates
from simulations.study import Generator, Held

FloatArray = NDArray[np.float64]


def _frailties(rng: Generator, trips: int) -> FloatArray:
    """How many times the usual risk each trip has: gamma of mean 1, variance 0.1 to 1."""
    variance = rng.uniform(0.1, 1.0)
    return rng.gamma(1 / variance, variance, trips)


def loss_rate(rng: Generator) -> Held:
    """Losses per hour over 10 to 35 trips of 4 to 16 hours, each with a risk of its own."""
    truth, trips = rng.uniform(0.08, 0.4), int(rng.integers(10, 36))
    hours = rng.uniform(4, 16, trips)
    lost = rng.poisson(truth * _frailties(rng, trips) * hours)
    found = ratio_of_totals(lost, hours)
    return found.low <= truth <= found.high


def season_against_season(rng: Generator) -> Held:
    """Baits ended 1/3 to 3 times as often as a season before, over 10 to 35 trips of 4 to 16 hours each."""
    truth, usual = math.exp(rng.uniform(-math.log(3), math.log(3))), rng.uniform(0.08, 0.4)
    seasons = []
    for rate in (truth * usual, usual):
        trips = int(rng.integers(10, 36))
        hours = rng.uniform(4, 16, trips)
        seasons.append(ratio_of_totals(rng.poisson(rate * _frailties(rng, trips) * hours), hours))
    found = ratio_of_estimates(*(season.interval for season in seasons))
    if found is None or min(season.total_y for season in seasons) < LEAST_EVENTS:
        return None
    return found.low <= truth <= found.high


def _two_groups(rng: Generator, truth: float, share: FloatArray) -> TripComparison | None:
    """Losses of two groups on the same trips, the first with `share` of each trip's 4 to 12 hours."""
    trips = share.size
    hours = rng.uniform(4, 12, trips)
    risk = rng.uniform(0.1, 0.4) * _frailties(rng, trips)
    exposure = np.concatenate([share * hours, (1 - share) * hours])
    first = np.arange(2 * trips) < trips
    lost = rng.poisson(np.concatenate([truth * risk, risk]) * exposure)
    if lost.sum() < 5 or min(exposure[:trips].sum(), exposure[trips:].sum()) < 5:
        return None
    return TripComparison(lost, exposure, first, ~first, np.tile(np.arange(trips), 2))


def _ratio_held(rng: Generator, share: FloatArray) -> Held:
    truth = math.exp(rng.uniform(-math.log(4), math.log(4)))
    found = _two_groups(rng, truth, share)
    if found is None or math.isnan(found.ratio):
        return None
    low, high = found.limits()
    return low <= truth <= high


def ratio_between_trips(rng: Generator) -> Held:
    """The ratio of two waters' loss rates, 1/4 to 4, over 12 to 35 trips, each to one of them."""
    trips = int(rng.integers(12, 36))
    return _ratio_held(rng, (rng.random(trips) < rng.uniform(0.3, 0.7)).astype(np.float64))


def ratio_within_trips(rng: Generator) -> Held:
    """The same of baits with and without a leader, both out on most of 10 to 35 trips."""
    return _ratio_held(rng, rng.beta(1.5, 1.5, int(rng.integers(10, 36))))


def median_life(rng: Generator) -> Held:
    """Median life of 3 to 8 baits on each of 10 to 35 trips, half of them brought home."""
    trips, shape, scale = int(rng.integers(10, 36)), rng.uniform(0.8, 1.4), rng.uniform(3, 8)
    variance = rng.uniform(0.1, 1.0)
    risk = rng.gamma(1 / variance, variance, trips)
    trip = np.repeat(np.arange(trips), rng.integers(3, 9, trips))
    life = scale * (rng.exponential(1, trip.size) / risk[trip]) ** (1 / shape)
    followed = rng.uniform(0.3, 2.0, trip.size) * scale
    found = median_survival(kaplan_meier(np.minimum(life, followed), life <= followed, cluster=trip))
    if math.isnan(found.estimate):
        return None
    # Laplace transform of the gamma: the share still in use is (1 + v (t / scale)^shape)^(-1 / v).
    truth = scale * ((2.0**variance - 1) / variance) ** (1 / shape)
    return not (found.low > truth or found.high < truth)
