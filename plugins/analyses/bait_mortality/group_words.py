"""The groups of a comparison in words: with a leader, in timber, elsewhere."""

from typing import TYPE_CHECKING

from benchwater.ledger.bait_lives import UNKNOWN
from benchwater.words import times

from .bait_contrasts import Contrast

if TYPE_CHECKING:
    from benchwater.statistics.rates import RateRatio

    from .stratified_rates import CommonRateRatio

FACTOR_WORDS = {
    "coat": "coated {}",
    "water": "at {}",
    "habitat": "in {}",
    "build": "built as {}",
    "angler": "by {}",
}
GROUP_WORDS = {"no coat": "without a coat", "leader": "with a leader", "no leader": "without a leader"}
GROUP_WORDS |= {"guard": "with a guard", "no guard": "without a guard"}


def worded(factor: str, group: str) -> str:
    """`with a leader`, `in timber`, `elsewhere`."""
    if group in {"elsewhere", "the others"}:
        return "elsewhere" if factor in {"habitat", "water"} else "otherwise"
    if group == UNKNOWN:
        return f"where the {factor} is not recorded"
    known_words = GROUP_WORDS.get(group) or FACTOR_WORDS.get(factor)
    if known_words is None:
        return f"without {group.removeprefix('no ')}" if group.startswith("no ") else f"with {group}"
    return known_words.format(group)


def those(factor: str, group: str) -> str:
    """`those with a leader`, `elsewhere`: the other side of a comparison."""
    return {"elsewhere": group, "the others": group}.get(group, f"those {worded(factor, group)}")


def ends_in_hours(c: Contrast) -> str:
    """`3 in 12 h against 9 in 14 h`."""
    (here, there), (hours, others) = c.rates.events, c.rates.exposure
    return f"{here} in {hours:.0f} h against {there} in {others:.0f} h"


def ratio_words(ratio: "RateRatio | CommonRateRatio") -> str:
    """A ratio with its limits, as `times` writes it."""
    return times(ratio.ratio, ratio.low, ratio.high)
