"""Linear conversions between named units: from the table of `conversions`, else from pint."""

from functools import cache
from typing import TYPE_CHECKING, NamedTuple

from benchwater.units.conversions import CONVERSIONS

if TYPE_CHECKING:
    import pint


class Linear(NamedTuple):
    """`to = scale * value + offset`."""

    scale: float
    offset: float


@cache
def conversion(unit: str, to: str) -> Linear:
    """The conversion of a number in `unit` to one in `to`; both are pint's names, of the same dimension."""
    known = CONVERSIONS.get((unit, to))
    return ask_pint(unit, to) if known is None else Linear(*known)


def ask_pint(unit: str, to: str) -> Linear:
    """The conversion by pint, whose registry takes a third of a second to build."""
    quantity = _registry().Quantity
    at_zero = float(quantity(0.0, unit).to(to).magnitude)
    at_one = float(quantity(1.0, unit).to(to).magnitude)
    if at_zero == 0.0:
        return Linear(at_one, 0.0)
    at_hundred = float(quantity(100.0, unit).to(to).magnitude)
    return Linear((at_hundred - at_zero) / 100.0, at_zero)


@cache
def _registry() -> "pint.UnitRegistry[float]":
    import pint

    return pint.UnitRegistry(autoconvert_offset_to_baseunit=True, cache_folder=None)
