"""How many pieces to keep: rates of loss that share a prior, what they foretell, and what a stock would miss.

Losses are Poisson at a rate that is itself uncertain (gamma); the losses of a coming exposure are then
negative binomial. Gelman et al., Bayesian Data Analysis, 3rd ed. 2013, section 2.6 (from memory, checked
against its asthma example).
"""

import heapq
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import betainc, gammaln

FEWEST_GROUPS = 3
WEAKEST_SHAPE = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class GammaRate:
    """A rate of events known as a gamma distribution: as sure as `shape` events in `exposure` units."""

    shape: float
    exposure: float

    def __post_init__(self) -> None:
        """Refuse what is no distribution."""
        if not (0 < self.shape < math.inf and 0 < self.exposure < math.inf):
            raise ValueError(f"shape and exposure must be above 0, not {self.shape} and {self.exposure}")

    @property
    def mean(self) -> float:
        """Events expected in one unit of exposure."""
        return self.shape / self.exposure

    def after(self, events: float, exposure: float) -> "GammaRate":
        """What is known of the rate after so many more events in so much more exposure."""
        return GammaRate(shape=self.shape + events, exposure=self.exposure + exposure)


def shared_rate(events: ArrayLike, exposures: ArrayLike) -> GammaRate | None:
    """The prior that groups share, from their own `events` (k,) and `exposures` (k,): empirical Bayes.

    Its mean is all events over all exposure. Its shape maximises the likelihood of the groups' counts
    (negative binomial), between `WEAKEST_SHAPE` and the number of all events: no prior is surer than all
    that was seen. Fewer than `FEWEST_GROUPS` groups cannot tell how unlike groups are: shape 1. None
    without an event or without exposure.

    Source: Clayton & Kaldor 1987, Biometrics 43:671-681 (from memory), the mean held fixed.
    """
    x, t = np.asarray(events, dtype=np.float64), np.asarray(exposures, dtype=np.float64)
    if x.ndim != 1 or x.shape != t.shape or np.any(x < 0) or np.any(t < 0):
        raise ValueError(f"events {x.shape} and exposures {t.shape} must be of one length and at least 0")
    x, t = x[t > 0], t[t > 0]
    total = float(x.sum())
    if total == 0:
        return None
    mean = total / float(t.sum())
    shape = 1.0
    if len(x) >= FEWEST_GROUPS:
        from scipy.optimize import minimize_scalar

        def misfit(log_shape: float) -> float:
            a = math.exp(log_shape)
            share = mean * t / (a + mean * t)
            return -float(
                (gammaln(a + x) - gammaln(a) + x * np.log(share) + a * np.log(a / (a + mean * t))).sum()
            )

        ends = (math.log(WEAKEST_SHAPE), math.log(total))
        inside = float(minimize_scalar(misfit, bounds=ends, method="bounded").x)
        shape = math.exp(min((*ends, inside), key=misfit))
    return GammaRate(shape=shape, exposure=shape / mean)


def less_sure(prior: GammaRate, groups: int) -> GammaRate:
    """A prior found by `shared_rate` from so many groups, made as unsure as few groups leave it.

    Few groups show less of how unlike they are than there is, and the most likely shape is too large: it is
    multiplied by (groups - 3) / (groups - 1), and at most 1 of up to 3 groups; Morris 1983, J. Amer. Statist.
    Assoc. 78:47-55 (from memory). The mean stays.
    """
    shape = min(prior.shape, max(1.0, prior.shape * (groups - 3) / (groups - 1) if groups > 3 else 1.0))
    return GammaRate(shape=shape, exposure=shape / prior.mean)


def predictive_cdf(rate: GammaRate, exposure: float, events: float) -> float:
    """The chance of at most so many events in a coming exposure."""
    if events < 0:
        return 0.0
    if exposure == 0:
        return 1.0
    share = rate.exposure / (rate.exposure + _exposure(exposure))
    return float(betainc(rate.shape, math.floor(events) + 1.0, share))


def predictive_quantile(rate: GammaRate, exposure: float, level: float) -> int:
    """The smallest number that a coming exposure's events do not exceed with probability `level`.

    Raises ValueError unless 0 <= level < 1, and for an exposure that is not finite and at least 0.
    """
    if not 0.0 <= level < 1.0:
        raise ValueError(f"a level must be at least 0 and below 1, not {level}")
    low, high = -1, 1
    while predictive_cdf(rate, exposure, high) < level:
        low, high = high, 2 * high
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if predictive_cdf(rate, exposure, middle) >= level else (middle, high)
    return high


def joint_stock(rates: Sequence[GammaRate], exposures: Sequence[float], level: float) -> list[int]:
    """The stock of each of several kinds so that none runs out with probability `level`, all taken together.

    The events of the kinds are independent. Each kind by itself needs the quantile of `level`; from there one
    piece at a time goes where it raises the joint probability most: marginal analysis, Fox 1966, Management
    Science 13:210-216 (from memory). Raises ValueError unless 0 <= level < 1.
    """
    kinds = list(zip(rates, exposures, strict=True))
    stock = [predictive_quantile(rate, ahead, level) for rate, ahead in kinds]
    chances = np.array([predictive_cdf(*kind, pieces) for kind, pieces in zip(kinds, stock, strict=True)])
    gains: list[tuple[float, int]] = []

    def offer(place: int) -> None:
        more = predictive_cdf(*kinds[place], stock[place] + 1)
        heapq.heappush(gains, (-more / chances[place], place))

    for place in range(len(kinds)):
        offer(place)
    while chances.prod() < level:
        _, place = heapq.heappop(gains)
        stock[place] += 1
        chances[place] = predictive_cdf(*kinds[place], stock[place])
        offer(place)
    return stock


def share_out(pieces: int, claims: Sequence[float]) -> list[int]:
    """Whole pieces among claims, in proportion: each its floor, the rest to the largest remainders.

    The sum is always `pieces`. No claim of whole pieces gets more than it asks while another lacks, and none
    gets less than it asks while there is enough. Claims of 0 share alike when nobody claims. Hamilton's
    method of apportionment (from memory); ties go to the earlier.
    """
    if not claims:
        return []
    asked = [float(claim) for claim in claims] if sum(claims) > 0 else [1.0] * len(claims)
    exact = [pieces * claim / sum(asked) for claim in asked]
    shares = [math.floor(part + 1e-9) for part in exact]
    by_remainder = sorted(range(len(asked)), key=lambda place: shares[place] - exact[place])
    for place in by_remainder[: pieces - sum(shares)]:
        shares[place] += 1
    return shares


def _exposure(value: float) -> float:
    if not 0 <= value < math.inf:
        raise ValueError(f"an exposure must be finite and at least 0, not {value}")
    return value
