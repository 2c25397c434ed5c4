"""Which count or stretch of days is likeliest to be wrong where the books of an item do not close."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import isfinite

from benchwater.ledger.casting_masses import OUNCE_G
from benchwater.ledger.movements import net_amount, net_uncertainty
from benchwater.ledger.stock import Balance, Chain, Count
from benchwater.ledger.stock_books import OUNCE_ML, Book
from benchwater.plugin.bench import Item
from benchwater.statistics.uncertainty import combined_uncertainty

from .mistyped_counts import DECIMAL_SLIPS, likeliest_slip, unit_slips

UNITS: Mapping[str, Mapping[str, float]] = {
    "g": {"g": 1.0, "oz": OUNCE_G, "lb": 16 * OUNCE_G, "kg": 1000.0},
    "mL": {"mL": 1.0, "fl oz": OUNCE_ML, "L": 1000.0},
}
PACKS = ("packs", "pieces")
Slip = float | tuple[str, str]


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


def blame_chain(book: Book, chain: Chain) -> tuple[tuple[Blame, ...], ...]:
    """The suspects of a chain, each with the alternatives that it leaves open.

    Where a slip of the pen explains one alternative, those that nothing explains are dropped.
    """
    found = []
    for quantities, implied in zip(chain.result.suspects, chain.result.implied, strict=True):
        alternatives: list[Blame] = []
        for quantity, (value, u) in sorted(zip(quantities, implied, strict=True), reverse=True):
            stretch = quantity - len(chain.counts)
            if stretch < 0:
                alternatives.append(_count(book.item, chain.counts[quantity], value, u))
            else:
                before, after = chain.counts[stretch : stretch + 2]
                gap = chain.flows[stretch] - value
                alternatives.append(Blame(stretch=(before, after), gap=gap))
        found.append(_explained(alternatives) or tuple(alternatives))
    return tuple(found)


def blame_two_counts(book: Book, balance: Balance) -> tuple[tuple[Blame, ...], ...]:
    """The slips of the pen, in either count, that explain a balance that is off."""
    first, last = balance.first, balance.last
    if first is None or last is None or not isfinite(balance.unaccounted):
        return ()
    flow, flow_u = net_amount(balance.closed), net_uncertainty(balance.closed)
    found = _explained(
        [
            _count(book.item, last, first.amount + flow, combined_uncertainty([first.u, flow_u])),
            _count(book.item, first, last.amount - flow, combined_uncertainty([last.u, flow_u])),
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
