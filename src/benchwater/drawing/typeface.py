"""The typeface of the page and its plots, Open Sans unchanged (see fonts/README.md): its files and sizes."""

import unicodedata
from pathlib import Path
from typing import Literal, NamedTuple

from benchwater.drawing.advances import ADVANCES, PER_SIZE

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
_OTHER, _WIDE = 0.6, 1.0


def width_of(text: str, size: float) -> float:
    """Return the width of a line of regular type, in the unit of `size`."""
    codes = map(ord, text)
    return size / PER_SIZE * sum(ADVANCES[code] if code in ADVANCES else _guess(chr(code)) for code in codes)


def _guess(letter: str) -> float:
    """Return an estimated width for a letter that the typeface lacks and another one sets."""
    if unicodedata.combining(letter):
        return 0.0
    return PER_SIZE * (_WIDE if unicodedata.east_asian_width(letter) in "WF" else _OTHER)
