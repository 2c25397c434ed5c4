"""Write units/conversions.json from pint's answers: python tests/units/write_conversions.py."""

import json
from collections.abc import Iterator

from benchwater.units.quantities import FILE, QUANTITIES, UNITS, Linear, ask_pint


def answers() -> Iterator[tuple[tuple[str, str], Linear]]:
    """Each unit to the canonical one of its dimension, and from it to each."""
    for quantity, (canonical, pint_name, *_) in QUANTITIES.items():
        for unit in UNITS[quantity]:
            yield (unit, canonical), ask_pint(unit, canonical)
        for unit in UNITS[quantity]:
            yield (pint_name, unit), ask_pint(pint_name, unit)


def text() -> str:
    """The file as it should stand."""
    rows = [json.dumps([*units, *linear]) for units, linear in dict(answers()).items()]
    return "[\n" + ",\n".join(rows) + "\n]\n"


if __name__ == "__main__":
    FILE.write_text(text(), encoding="utf-8", newline="\n")
