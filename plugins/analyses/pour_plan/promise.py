"""How many fills give enough good castings, and how sure it is that no build runs out.

The good castings of a fill are a draw of their own: random yield, Yano & Lee 1995, Operations Research
43:311-334. Each casting comes out of one mold, so each mold takes the fills of its most demanding cavity.
"""

from bisect import bisect_left
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from math import ceil, prod

import numpy as np
from numpy.typing import NDArray
from scipy.special import betaln, gammaln

from benchwater.statistics.stock_level import GammaRate, predictive_cdf

FloatArray = NDArray[np.float64]
MOST_FILLS = 500
MOST_DRAWN = 200
DRAWS, SEED = 4096, 20260301
_BISECTIONS = 14


@dataclass(frozen=True, slots=True, kw_only=True)
class CavityYield:
    """The good castings of one cavity in a coming session: beta-binomial, `per_fill` castings a fill.

    The session's good share has the mean `share`, and spreads as if that rested on `castings` castings.
    """

    share: float
    castings: float
    per_fill: int

    def at_most(self, fills: int) -> FloatArray:
        """The chance of at most 0, 1, 2, ... good castings in so many fills (Skellam 1948)."""
        size = fills * self.per_fill
        good = np.arange(size + 1.0)
        a, b = self.share * self.castings, (1 - self.share) * self.castings
        log_ways = gammaln(size + 1) - gammaln(good + 1) - gammaln(size - good + 1)
        return np.cumsum(np.exp(log_ways + betaln(good + a, size - good + b) - betaln(a, b)))

    def fills_for(self, needed: int, sure: float) -> int:
        """The fewest fills that give `needed` good castings with that probability, `MOST_FILLS` at most."""
        most = ceil(needed / self.per_fill)
        while 0 < most < MOST_FILLS and self.short(most, needed) > 1 - sure:
            most = min(MOST_FILLS, 2 * most)
        return bisect_left(range(most), True, key=lambda fills: self.short(fills, needed) <= 1 - sure)

    def short(self, fills: int, needed: int) -> float:
        """The chance of fewer good castings than needed in so many fills."""
        return float(self.at_most(fills)[needed - 1]) if fills * self.per_fill >= needed else 1.0


def session_spread(
    poured: float, effect: float, session_size: float, prior: float, sessions: int = 1
) -> float:
    """On how many castings the good share of coming `sessions` rests: `castings` of a `CavityYield`.

    `poured` castings have the design effect `effect` in sessions of `session_size` castings. What
    is not known of the mean (`prior` castings stand for what was known before) and what one session differs
    from it by, the correlation in a session (Kish 1965, Survey Sampling; from memory), add; the latter
    averages out over sessions.
    """
    alike = (effect - 1) / (session_size - 1) if session_size > 1 else 0.0
    return 1 / (min(alike, 0.5) / sessions + 1 / (poured / effect + prior + 1)) - 1


def plan_fills(
    needed: Mapping[tuple[str, str], int], yields: Mapping[tuple[str, str], CavityYield], sure: float
) -> dict[str, int]:
    """Fills by mold so that each cavity (mold, name) gives what is needed with that probability."""
    fills: dict[str, int] = {}
    for (mold, name), count in needed.items():
        fills[mold] = max(fills.get(mold, 0), yields[mold, name].fills_for(count, sure))
    return fills


@dataclass(frozen=True, slots=True, kw_only=True)
class Stocked:
    """A build's losses in the time to come, and its stock where all castings come out good.

    `lacking` castings of each cavity (mold, name) are still to be poured for it.
    """

    rate: GammaRate
    hours: float
    stock: int
    lacking: Mapping[tuple[str, str], int]


def are_drawn(needed: Collection[tuple[str, str]]) -> bool:
    """Whether the yields of so many cavities are drawn together."""
    return len(needed) <= MOST_DRAWN


def chance_of_enough(
    builds: Sequence[Stocked],
    needed: Mapping[tuple[str, str], int],
    yields: Mapping[tuple[str, str], CavityYield],
    fills: Mapping[str, int],
) -> float:
    """The probability that no build loses more than it has, once `fills` are poured.

    Castings that lack in the end lack for their builds in proportion, rounded up. The yields of cavities are
    drawn `DRAWS` times from a fixed seed, as a Latin hypercube (McKay, Beckman & Conover 1979); losses are
    not drawn, as their distributions are known. Of more than `MOST_DRAWN` cavities none is drawn: returned is
    the least it can be, the probability that every cavity gives what is needed and that this does.
    """
    chance, waiting, joint = 1.0, [], are_drawn(needed)
    for build in builds:
        if build.lacking and joint:
            waiting.append(build)
        else:
            chance *= predictive_cdf(build.rate, build.hours, build.stock)
    if not joint:
        return chance * prod(1 - yields[of].short(fills[of[0]], count) for of, count in needed.items())
    if not waiting:
        return chance
    drawn = np.random.default_rng(SEED).random((DRAWS, len(needed)))
    shares = (np.argsort(drawn, axis=0) + 0.5) / DRAWS
    short = {
        casting: np.maximum(
            0, count - np.searchsorted(yields[casting].at_most(fills[casting[0]]), shares[:, place])
        )
        for place, (casting, count) in enumerate(needed.items())
    }
    enough = np.ones(DRAWS)
    for build in waiting:
        gone = [np.ceil(short[casting] * lack / needed[casting]) for casting, lack in build.lacking.items()]
        left = build.stock - np.max(gone, axis=0).astype(np.int64)
        held = [predictive_cdf(build.rate, build.hours, pieces) for pieces in range(-1, build.stock + 1)]
        enough *= np.array(held)[np.maximum(left, -1) + 1]
    return chance * float(enough.mean())


def fills_for_level(
    builds: Sequence[Stocked],
    needed: Mapping[tuple[str, str], int],
    yields: Mapping[tuple[str, str], CavityYield],
    level: float,
) -> dict[str, int]:
    """The fills with which no build runs out with probability `level`, or the most that can be promised.

    Every cavity is made sure to the same degree, the least that will do.
    """
    if not are_drawn(needed):
        losses = prod(predictive_cdf(build.rate, build.hours, build.stock) for build in builds)
        return plan_fills(needed, yields, min(1 - 1e-9, (level / losses) ** (1 / len(needed))))
    low, high = 0.5, 0.9999
    if chance_of_enough(builds, needed, yields, plan_fills(needed, yields, low)) >= level:
        return plan_fills(needed, yields, low)
    for _ in range(_BISECTIONS):
        middle = (low + high) / 2
        enough = chance_of_enough(builds, needed, yields, plan_fills(needed, yields, middle)) >= level
        low, high = (low, middle) if enough else (middle, high)
    return plan_fills(needed, yields, high)


def expected_shortage(rate: GammaRate, exposure: float, stock: int) -> float:
    """How many events a coming exposure is expected to bring beyond a stock: E(max(events - stock, 0)).

    In closed form, as n p(n; shape) = mean p(n - 1; shape + 1) of negative binomials p. Hadley & Whitin 1963,
    Analysis of Inventory Systems, appendix 3 (from memory).
    """
    longer = GammaRate(shape=rate.shape + 1, exposure=rate.exposure)
    more = rate.mean * exposure * (1.0 - predictive_cdf(longer, exposure, stock - 1))
    return max(0.0, more - stock * (1.0 - predictive_cdf(rate, exposure, stock)))


def posterior_share(successes: float, total: float, prior_share: float, weight: float) -> float:
    """A share with few trials of its own, drawn to `prior_share` as if that were `weight` trials more.

    The posterior mean of a binomial share under a beta prior; Gelman et al. 2013, section 2.4 (from memory).
    """
    return (successes + weight * prior_share) / (total + weight)
