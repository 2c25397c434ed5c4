"""Which count or stretch of days is likeliest to be wrong where the books of an item do not close."""

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from itertools import permutations
from math import hypot, isfinite
from typing import TypeVar

from benchwater.ledger.castings import OUNCE_G
from benchwater.ledger.stock import OUNCE_ML
from benchwater.plugin.bench import Item
from benchwater.statistics.uncertainty import combined_uncertainty

from .balance import Balance, Chain, Count

UNITS: Mapping[str, Mapping[str, float]] = {
    "g": {"g": 1.0, "oz": OUNCE_G, "lb": 16 * OUNCE_G, "kg": 1000.0},
    "mL": {"mL": 1.0, "fl oz": OUNCE_ML, "L": 1000.0},
}
PACKS = ("packs", "pieces")
DECIMAL_SLIPS: Mapping[float, float] = {power: power for power in (10.0, 0.1, 100.0, 0.01)}
SHARPEST = 25.0
FACTOR = 2.0
READ_TO = 0.005
Slip = float | tuple[str, str]
Key = TypeVar("Key", bound=Hashable)


@dataclass(frozen=True, slots=True, kw_only=True)
class Blame:
    """One thing that, if wrong, explains the books: a count, or the rows of a stretch between two counts.

    `slip` is how it was mistyped, where a slip of the pen explains it: how many times too large, or the unit
    written and the unit meant; `found` is then the amount as written and `implied` what it should be. `gap`
    is what left without a row in a stretch; below 0 it came in.
    """

    count: Count | None = None
    stretch: tuple[Count, Count] | None = None
    gap: float = 0.0
    slip: Slip | None = None
    found: float = 0.0
    implied: float = 0.0


def blame_chain(item: Item, chain: Chain) -> tuple[tuple[Blame, ...], ...]:
    """The suspects of a chain, each with the alternatives that it leaves open.

    Where a slip of the pen explains one alternative, those that nothing explains are dropped.
    """
    found = []
    for quantities, implied in zip(chain.result.suspects, chain.result.implied, strict=True):
        alternatives: list[Blame] = []
        for quantity, (value, u) in sorted(zip(quantities, implied, strict=True), reverse=True):
            stretch = quantity - len(chain.counts)
            if stretch < 0:
                alternatives.append(_count(item, chain.counts[quantity], value, u))
            else:
                before, after = chain.counts[stretch : stretch + 2]
                gap = chain.flows[stretch] - value
                alternatives.append(Blame(stretch=(before, after), gap=gap))
        found.append(_explained(alternatives) or tuple(alternatives))
    return tuple(found)


def blame_two_counts(item: Item, balance: Balance) -> tuple[tuple[Blame, ...], ...]:
    """The slips of the pen, in either count, that explain a balance that is off."""
    first, last = balance.first, balance.last
    if first is None or last is None or not isfinite(balance.unaccounted):
        return ()
    flow, flow_u = balance.closed.net, balance.closed.uncertainty()
    found = _explained(
        [
            _count(item, last, first.amount + flow, combined_uncertainty([first.u, flow_u])),
            _count(item, first, last.amount - flow, combined_uncertainty([last.u, flow_u])),
        ]
    )
    return (found,) if found else ()


def _explained(alternatives: Sequence[Blame]) -> tuple[Blame, ...]:
    return tuple(each for each in alternatives if each.slip is not None)


def _slips(item: Item) -> dict[Slip, float]:
    packs = item.pack if item.unit == "pieces" and item.pack is not None else 1.0
    return {
        **dict(DECIMAL_SLIPS.items()),
        **dict(unit_slips(UNITS.get(item.unit, {})).items()),
        **({PACKS: 1 / packs} if packs > 1 else {}),
    }


def _count(item: Item, count: Count, implied: float, u: float) -> Blame:
    slip = likeliest_slip(count.amount, count.u, implied, u, _slips(item))
    return Blame(count=count, slip=slip, found=count.amount, implied=implied)


def unit_slips(units: Mapping[str, float]) -> dict[tuple[str, str], float]:
    """By (unit written, unit meant): how many times too large that made the amount.

    `units` are the sizes of units of one kind in any one unit: 10 oz written as 10 g is 1 / 28.35 of it.
    """
    return {(written, meant): units[written] / units[meant] for written, meant in permutations(units, 2)}


def likeliest_slip(
    found: float, found_u: float, implied: float, implied_u: float, slips: Mapping[Key, float]
) -> Key | None:
    """The slip that made `found` out of what other records say it must be, `implied`; None where none fits.

    `slips` are by key how many times too large they made it. One fits where found / slip and `implied` differ
    by at most `FACTOR` times their joint standard uncertainty; of several the nearest, the earlier of equals.
    `found_u` is that of the scale, which no slip changes; besides, an amount is taken to be read to `READ_TO`
    of itself. None is named where `implied` is not above `SHARPEST` times its own uncertainty, as by then
    some slip or other fits nearly any amount. A convention, no source.
    """
    if not all(isfinite(value) for value in (found, found_u, implied, implied_u)):
        return None
    if implied <= SHARPEST * implied_u or implied <= 0 or found <= 0:
        return None
    best: Key | None = None
    nearest = FACTOR
    spread = hypot(implied_u, found_u, READ_TO * implied)
    for key, slip in slips.items():
        off = abs(found / slip - implied) / spread
        if off < nearest:
            best, nearest = key, off
    return best
