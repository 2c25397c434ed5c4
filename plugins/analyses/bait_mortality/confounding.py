"""Whether a difference between two groups can be told apart from what else sets them apart."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from benchwater.statistics.rates import RateRatio

from .stratified_rates import CommonRateRatio, common_rate_ratio

LEAST_INFORMATION, LEAST_LEFT = 0.25, 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class HeldLike:
    """Two groups held against each other where another factor is the same.

    `within` is the ratio of their rates there. `information` is what is left to tell it by, as a share of
    what the crude ratio has: 1 where the groups are spread over the factor alike, 0 where they never meet.
    `only` names the one level that holds all of the first, and of the second group; None for several.
    """

    within: CommonRateRatio
    information: float
    only: tuple[str | None, str | None]

    @property
    def apart(self) -> bool:
        """Whether the groups hardly meet: less than a quarter of the information is left."""
        return self.information < LEAST_INFORMATION or self.within.ratio is None

    def explains(self, crude: RateRatio) -> bool:
        """Whether the ratio shrinks, on its logarithm's scale, to less than half of the crude one."""
        if self.within.ratio is None or crude.ratio == 1:
            return False
        whole, left = _log(crude.ratio), _log(self.within.ratio)
        return left * math.copysign(1.0, whole) < LEAST_LEFT * abs(whole)


def held_like(
    events: ArrayLike,
    exposure: ArrayLike,
    first: ArrayLike,
    second: ArrayLike,
    levels: ArrayLike,
    *,
    names: Sequence[str] | None = None,
    limits: bool = True,
) -> HeldLike | None:
    """Compare the records marked `first` with those marked `second` within `levels` of another factor.

    All arrays (n,), as in `compared_rates.compare_rates`; `levels` may be places in `names`. Without `limits`
    the ratio `within` has none: `apart` and `explains` do not ask for them. None where only one level has
    exposure: there is nothing to confound. The information of a stratum on the ratio of two rates is
    t1 t2 / (t1 + t2), the weight that Mantel and Haenszel give it (Rothman and Greenland, Modern
    Epidemiology, chapter on stratified analysis; from memory); comparing a crude ratio with the one within
    strata is that chapter's way to judge confounding. The two bounds, a quarter of the information and half
    of the logarithm, are this project's own choice. Raises ValueError as `common_rate_ratio` does.
    """
    x, t = np.asarray(events, dtype=np.float64), np.asarray(exposure, dtype=np.float64)
    labels, member = np.unique(np.asarray(levels), return_inverse=True)
    masks = [np.asarray(group, dtype=bool) for group in (first, second)]
    (x1, x2), (t1, t2) = (
        [np.bincount(member[mask], values[mask], len(labels)) for mask in masks] for values in (x, t)
    )
    if int((t1 + t2 > 0).sum()) < 2:
        return None
    both = (t1 > 0) & (t2 > 0)
    left = float((t1[both] * t2[both] / (t1 + t2)[both]).sum())
    whole = float(t1.sum() * t2.sum() / (t1.sum() + t2.sum()))
    said = labels if names is None else [names[place] for place in labels]
    only = [str(said[np.argmax(hours)]) if int((hours > 0).sum()) == 1 else None for hours in (t1, t2)]
    return HeldLike(
        within=common_rate_ratio(x1[both], t1[both], x2[both], t2[both], limits=limits),
        information=left / whole if whole > 0 else 0.0,
        only=(only[0], only[1]),
    )


def _log(ratio: float) -> float:
    return math.log(ratio) if ratio > 0 else -math.inf
