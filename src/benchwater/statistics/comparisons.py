"""How widely events scatter, and how many tell two rates apart."""

import math

import numpy as np
from numpy.typing import ArrayLike


def dispersion(events: ArrayLike, exposure: ArrayLike) -> float:
    """How many times the events of units (n,) scatter as widely as Poisson's at one rate; at least 1.

    Pearson's chi-square over its degrees of freedom; McCullagh and Nelder 1989, Generalized Linear Models,
    section 6.2 (from memory). 1 with fewer than two units or no event.
    """
    seen, exposed = np.asarray(events, dtype=np.float64), np.asarray(exposure, dtype=np.float64)
    seen, exposed = seen[exposed > 0], exposed[exposed > 0]
    if len(seen) < 2 or seen.sum() == 0:
        return 1.0
    expected = exposed * (seen.sum() / exposed.sum())
    return max(1.0, float(((seen - expected) ** 2 / expected).sum() / (len(seen) - 1)))


def more_exposure(
    events: float, exposures: tuple[float, float], ratio: float = 2.0, design_effect: float = 1.0
) -> float:
    """Return how much more exposure, half of it in each group, tells a ratio of rates from 1; 0 if none.

    So many `events` in the `exposures` of both groups count as what they tell already: in the units of
    `events_needed`, at the 5 % level with power 0.8. Raises ValueError without an event.
    """
    total = sum(exposures)
    if events <= 0 or total <= 0:
        raise ValueError(f"{events} events in {total} tell no rate")
    share = exposures[0] / total
    told = events * share * (1 - share) / 0.25
    needed = events_needed(ratio, design_effect=design_effect)
    return max(0.0, needed - told) / (events / total)


def events_needed(ratio: float, power: float = 0.8, share: float = 0.5, design_effect: float = 1.0) -> float:
    """Return how many events tell a ratio of rates from 1 at the 5 % level with this power.

    Schoenfeld, Biometrika 68 (1981), 316: (z of the level + z of the power)² / (share (1 - share) ln² ratio),
    times the `design_effect` of events that come in clusters. `share` is the exposure of one group.
    """
    from scipy.special import ndtri

    z = float(ndtri(0.975)) + float(ndtri(power))
    return design_effect * z**2 / (share * (1 - share) * math.log(ratio) ** 2)
