"""The one pint registry, asked only for linear conversions between named units."""

from functools import cache
from typing import NamedTuple

import pint


class Linear(NamedTuple):
    """`to = scale * value + offset`."""

    scale: float
    offset: float


@cache
def _registry() -> "pint.UnitRegistry[float]":
    return pint.UnitRegistry(autoconvert_offset_to_baseunit=True, cache_folder=None)


@cache
def conversion(unit: str, to: str) -> Linear:
    """How a number in `unit` becomes one in `to`; both are names pint knows, of the same dimension."""
    quantity = _registry().Quantity
    at_zero = float(quantity(0.0, unit).to(to).magnitude)
    at_one = float(quantity(1.0, unit).to(to).magnitude)
    if at_zero == 0.0:
        return Linear(at_one, 0.0)
    at_hundred = float(quantity(100.0, unit).to(to).magnitude)
    return Linear((at_hundred - at_zero) / 100.0, at_zero)
