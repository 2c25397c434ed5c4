"""The typeface of the page and its plots, Open Sans unchanged (see fonts/README.md): its files and sizes."""

import json
import unicodedata
from functools import cache
from pathlib import Path
from typing import Literal, NamedTuple

FAMILY = "Benchwater Sans"
_FONTS = Path(__file__).parent / "fonts"


class Face(NamedTuple):
    """One font file, with the weight and style it stands for under the name `FAMILY`."""

    path: Path
    weight: int
    style: Literal["normal", "italic"]


FACES = (
    Face(_FONTS / "OpenSans-Regular.ttf", 400, "normal"),
    Face(_FONTS / "OpenSans-Italic.ttf", 400, "italic"),
    Face(_FONTS / "OpenSans-Semibold.ttf", 600, "normal"),
    Face(_FONTS / "OpenSans-Bold.ttf", 700, "normal"),
)
FAMILIES = f"{FAMILY},Open Sans,Segoe UI,Roboto,Helvetica Neue,Arial,sans-serif"
"""The page's typeface, then those a browser may have, as in report.css."""
CAPITALS = 0.714
"""The height of capitals and digits, as a share of the type size."""
ABOVE, BELOW = 0.76, 0.24
"""The extent of a line above and below its baseline, as shares of the type size."""
PITCH = 1.2
"""The line spacing, as a share of the type size."""
ADVANCES_FILE = _FONTS / "advances.json"
_OTHER, _WIDE = 0.6, 1.0


@cache
def advances() -> tuple[float, dict[int, float]]:
    """Return the font units per em, and the advance width of each letter of the regular face by code point.

    A file has them, because reading the font would take as long as drawing all plots of a report;
    `tests/drawing/write_advances.py` writes it.
    """
    measured = json.loads(ADVANCES_FILE.read_text(encoding="utf-8"))
    return measured["per_size"], {int(code): width for code, width in measured["advances"].items()}


def width_of(text: str, size: float) -> float:
    """Return the width of a line of regular type, in the unit of `size`."""
    per_em, widths = advances()
    return size / per_em * sum(widths[ord(c)] if ord(c) in widths else per_em * _guess(c) for c in text)


def _guess(letter: str) -> float:
    """Return an estimated width, in ems, of a letter that the typeface lacks and another one sets."""
    if unicodedata.combining(letter):
        return 0.0
    return _WIDE if unicodedata.east_asian_width(letter) in "WF" else _OTHER
