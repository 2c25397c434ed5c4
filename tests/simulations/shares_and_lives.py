"""Seasons of castings, trips and baits: shares, counts, rates, means, and how long baits last."""

import math

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit, gamma, gammainc

from bait_mortality.survival import cumulative_incidence, kaplan_meier, median_survival, restricted_mean
from bait_mortality.trip_rates import CommonRateRatio
from benchwater.statistics.proportions import (
    clopper_pearson_interval,
    design_effect,
    wilson_interval,
)
from benchwater.statistics.rates import poisson_interval, rate_ratio, ratio_of_totals
from catch_size.compute import mean_interval
from defect_rate.rates import one_against_rest
from simulations.study import Generator, Held

FloatArray = NDArray[np.float64]


def inside(low: float | None, truth: float, high: float | None) -> bool:
    """Whether limits hold the truth; None and nan are no limit on that side."""
    return not (low is not None and low > truth) and not (high is not None and high < truth)


def alike_shares(rng: Generator, mean: FloatArray, alike: float) -> FloatArray:
    """Shares of clusters with these means and an intra-cluster correlation `alike`: beta-distributed."""
    if alike < 1e-6:
        return mean
    size = 1 / alike - 1
    return rng.beta(mean * size, (1 - mean) * size)


# --- shares, counts and rates ------------------------------------------------------------------------------


def wilson(rng: Generator) -> Held:
    """A share of 10 to 150 castings that do not depend on each other."""
    truth, n = rng.uniform(0.03, 0.97), int(rng.integers(10, 151))
    found = wilson_interval(int(rng.binomial(n, truth)), n)
    return inside(found.low, truth, found.high)


def clopper_pearson(rng: Generator) -> Held:
    """The same by the exact interval."""
    truth, n = rng.uniform(0.03, 0.97), int(rng.integers(10, 151))
    found = clopper_pearson_interval(int(rng.binomial(n, truth)), n)
    return inside(found.low, truth, found.high)


def clustered_wilson(rng: Generator) -> Held:
    """A reject rate of 20 to 80 fills of 2 to 6 castings, alike within a fill (correlation 0 to 0.5)."""
    truth, alike = rng.uniform(0.05, 0.6), rng.uniform(0, 0.5)
    size = rng.integers(2, 7, int(rng.integers(20, 81)))
    bad = rng.binomial(size, alike_shares(rng, np.full(size.size, truth), alike))
    effect = design_effect(bad, size)
    found = wilson_interval(float(bad.sum()), float(size.sum()), effect)
    return inside(found.low, truth, found.high)


def garwood(rng: Generator) -> Held:
    """A Poisson mean of 0.2 to 20 losses."""
    truth = rng.uniform(0.2, 20)
    found = poisson_interval(int(rng.poisson(truth)))
    return inside(found.low, truth, found.high)


def _two_rates(rng: Generator, truth: float) -> tuple[FloatArray, NDArray[np.int64]]:
    hours, rate = rng.uniform(20, 200, 2), rng.uniform(0.02, 0.3)
    return hours, rng.poisson(np.array([rate * truth, rate]) * hours)


def exact_rate_ratio(rng: Generator) -> Held:
    """Two loss rates over 20 to 200 hours each, the one 1/4 to 4 times the other."""
    truth = math.exp(rng.uniform(-math.log(4), math.log(4)))
    hours, lost = _two_rates(rng, truth)
    if lost.sum() == 0:
        return None
    found = rate_ratio(int(lost[0]), hours[0], int(lost[1]), hours[1])
    return inside(found.low, truth, found.high)


def exact_common_ratio(rng: Generator) -> Held:
    """The same ratio within 2 to 5 waters, each with a rate of its own and 20 to 200 hours of both."""
    truth = math.exp(rng.uniform(-math.log(4), math.log(4)))
    waters = [_two_rates(rng, truth) for _ in range(int(rng.integers(2, 6)))]
    hours, lost = (np.array(part) for part in zip(*waters, strict=True))
    if lost.sum() == 0:
        return None
    low, high = CommonRateRatio(lost[:, 0], hours[:, 0], lost[:, 1], hours[:, 1]).limits(0.05)
    return inside(low, truth, high)


def catch_per_hour(rng: Generator) -> Held:
    """Fish per hour over 8 to 30 trips of 1 to 6 hours, gamma-Poisson of shape 1 to 4."""
    truth, shape = rng.uniform(0.2, 1.5), rng.uniform(1, 4)
    hours = rng.uniform(1, 6, int(rng.integers(8, 31)))
    fish = rng.poisson(rng.gamma(shape, truth / shape, hours.size) * hours)
    found = ratio_of_totals(fish, hours)
    return inside(found.low, truth, found.high)


def relative_weight(rng: Generator) -> Held:
    """Mean relative weight of 3 to 40 fish, right-skewed about 95 by 6 to 15."""
    truth, n = 95.0, int(rng.integers(3, 41))
    spread = math.sqrt(math.log(1 + (rng.uniform(6, 15) / truth) ** 2))
    found = mean_interval(rng.lognormal(math.log(truth) - spread**2 / 2, spread, n), np.ones(n))
    return inside(found.low, truth, found.high)


def cavity_ratio(rng: Generator) -> Held:
    """How many times as often one cavity of 2 to 4 fails as the rest, in 20 to 80 fills of unlike warmth."""
    truth, fills, cavities = rng.uniform(0.5, 3), int(rng.integers(20, 81)), int(rng.integers(2, 5))
    usual = 0.3 * expit(rng.normal(-0.5, 1.0, fills))
    rates = np.repeat(usual[:, None], cavities, axis=1)
    rates[:, 0] *= truth
    each = int(rng.integers(1, 4))
    bad = rng.binomial(each, rates)
    fill = np.repeat(np.arange(fills), cavities)
    names = ["first", *["rest"] * (cavities - 1)] * fills
    found = one_against_rest(fill, names, np.full(fill.size, each), bad.ravel()).get("first")
    if found is None:
        return None
    low, high = found.limits(0.95)
    return inside(low, truth, high)


# --- bait life ---------------------------------------------------------------------------------------------


def _weibull(rng: Generator) -> tuple[float, float, int]:
    return rng.uniform(0.7, 1.6), rng.uniform(4, 12), int(rng.integers(30, 101))


def _lives(rng: Generator) -> tuple[FloatArray, NDArray[np.bool_], float, float]:
    """Hours in use, whether lost, and the shape and scale of the Weibull life: 30 to 100 baits, half kept."""
    shape, scale, size = _weibull(rng)
    life, followed = scale * rng.weibull(shape, size), rng.uniform(0.2, 2.5, size) * scale
    return np.minimum(life, followed), life <= followed, shape, scale


def survival(rng: Generator) -> Held:
    """Survival at a fixed time at which 30 to 90 % survive, log(-log) limits; 30 to 100 baits."""
    time, lost, shape, scale = _lives(rng)
    truth = rng.uniform(0.3, 0.9)
    found = kaplan_meier(time, lost).at(scale * (-math.log(truth)) ** (1 / shape))
    return None if math.isnan(found.low) else inside(found.low, truth, found.high)


def survival_after_late_entry(rng: Generator) -> Held:
    """The same where half of the baits had been fished for some hours when the span began."""
    shape, scale, size = _weibull(rng)
    entry = np.where(rng.random(size) < 0.5, rng.uniform(0, 0.6, size) * scale, 0.0)
    before = (entry / scale) ** shape
    life = scale * (before + rng.exponential(1, size)) ** (1 / shape)
    followed = entry + rng.uniform(0.2, 2.0, size) * scale
    truth = rng.uniform(0.3, 0.9)
    curve = kaplan_meier(np.minimum(life, followed), life <= followed, entry=entry)
    found = curve.at(scale * (-math.log(truth)) ** (1 / shape))
    return None if math.isnan(found.low) else inside(found.low, truth, found.high)


def median_life(rng: Generator) -> Held:
    """Median life of 30 to 100 baits, half kept."""
    time, lost, shape, scale = _lives(rng)
    found = median_survival(kaplan_meier(time, lost))
    if math.isnan(found.estimate):
        return None
    return inside(found.low, scale * math.log(2) ** (1 / shape), found.high)


def mean_life(rng: Generator) -> Held:
    """Mean life up to a horizon of 0.8 to 1.5 times the scale of the lives."""
    time, lost, shape, scale = _lives(rng)
    horizon = scale * rng.uniform(0.8, 1.5)
    curve = kaplan_meier(time, lost)
    if horizon > curve.known_to:
        return None
    found = restricted_mean(curve, horizon)
    power = (horizon / scale) ** shape
    truth = scale / shape * gamma(1 / shape) * gammainc(1 / shape, power)
    return None if math.isnan(found.low) else inside(found.low, truth, found.high)


def incidence(rng: Generator) -> Held:
    """Share lost to one of two causes, of hazards 1:3 to 3:1, by the time half to 90 % have ended."""
    shape, scale, size = _weibull(rng)
    part, ended = rng.uniform(0.25, 0.75), rng.uniform(0.5, 0.9)
    life, followed = scale * rng.weibull(shape, size), rng.uniform(0.2, 2.5, size) * scale
    cause = np.where(life <= followed, np.where(rng.random(size) < part, 1, 2), 0)
    curves = cumulative_incidence(np.minimum(life, followed), cause, causes=(1, 2))
    found = curves[1].at(scale * (-math.log(1 - ended)) ** (1 / shape))
    return None if math.isnan(found.low) else inside(found.low, part * ended, found.high)
