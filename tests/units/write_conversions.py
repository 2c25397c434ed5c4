"""Write units/conversions.py from pint's answers: python tests/units/write_conversions.py."""

from collections.abc import Iterator
from pathlib import Path

from benchwater.units.quantities import QUANTITIES, UNITS
from benchwater.units.registry import Linear, ask_pint

ROOT = Path(__file__).parents[2]
FILE = ROOT / "src" / "benchwater" / "units" / "conversions.py"
HEAD = '''"""pint's conversions of every unit that is read or printed, so that a run need not import pint.

Written by `tests/units/write_conversions.py`, and checked against pint by the tests.
"""

CONVERSIONS: dict[tuple[str, str], tuple[float, float]] = {
'''


def answers() -> Iterator[tuple[tuple[str, str], Linear]]:
    """Each unit to the canonical one of its dimension, and from it to each."""
    for quantity, (canonical, pint_name, *_) in QUANTITIES.items():
        for unit in UNITS[quantity]:
            yield (unit, canonical), ask_pint(unit, canonical)
        for unit in UNITS[quantity]:
            yield (pint_name, unit), ask_pint(pint_name, unit)


def text() -> str:
    """The module as it should stand."""
    found = dict(answers())
    lines = [
        f'    ("{unit}", "{to}"): ({scale!r}, {offset!r}),\n' for (unit, to), (scale, offset) in found.items()
    ]
    return f"{HEAD}{''.join(lines)}}}\n"


if __name__ == "__main__":
    FILE.write_text(text(), encoding="utf-8", newline="\n")
