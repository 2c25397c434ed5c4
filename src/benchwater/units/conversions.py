"""Linear conversions between units: pint's answers from conversions.json, else pint itself."""

import json
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    import pint

FILE = Path(__file__).with_suffix(".json")


class Linear(NamedTuple):
    """`to = scale * value + offset`."""

    scale: float
    offset: float


@cache
def conversion(unit: str, to: str) -> Linear:
    """Return the conversion from `unit` to `to`; both are pint's names, of the same dimension."""
    return known_conversions().get((unit, to)) or ask_pint(unit, to)


@cache
def known_conversions() -> dict[tuple[str, str], Linear]:
    """Return the conversions of all units that are read or printed (tests/units/write_conversions.py)."""
    rows = json.loads(FILE.read_text(encoding="utf-8"))
    return {(unit, to): Linear(scale, offset) for unit, to, scale, offset in rows}


def ask_pint(unit: str, to: str) -> Linear:
    """Return the conversion by pint, whose registry takes a third of a second to build."""
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
