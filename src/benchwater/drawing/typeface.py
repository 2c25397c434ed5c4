"""How wide and how high type is, in the typeface that the page is printed in."""

import unicodedata

from benchwater.drawing.advances import ADVANCES, PER_SIZE
from benchwater.render.fonts import FAMILY

FAMILIES = f"{FAMILY},Open Sans,Segoe UI,Roboto,Helvetica Neue,Arial,sans-serif"
"""The page's typeface, then those a browser may have: as in report.css."""
CAPITALS = 0.714
"""The height of capitals and digits, of the size."""
ABOVE, BELOW = 0.76, 0.24
"""What a line takes above and below its baseline, of the size."""
PITCH = 1.2
"""From line to line, of the size."""
_OTHER, _WIDE = 0.6, 1.0


def width_of(text: str, size: float) -> float:
    """The width of a line of upright regular type, in the unit of `size`, letter after letter."""
    codes = map(ord, text)
    return size / PER_SIZE * sum(ADVANCES[code] if code in ADVANCES else _guess(chr(code)) for code in codes)


def _guess(letter: str) -> float:
    """A letter that the typeface does not have is set in another; this is a fair width for it."""
    if unicodedata.combining(letter):
        return 0.0
    return PER_SIZE * (_WIDE if unicodedata.east_asian_width(letter) in "WF" else _OTHER)
