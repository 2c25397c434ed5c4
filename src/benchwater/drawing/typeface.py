"""How wide and how high type is, read from the font file that the page is printed in."""

import unicodedata
from functools import lru_cache

from benchwater.render.fonts import FACES, FAMILY

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
    advances = _advances()
    return size * sum(advances.get(ord(letter)) or _guess(letter) for letter in text)


def _guess(letter: str) -> float:
    """A letter that the typeface does not have is set in another; this is a fair width for it."""
    if unicodedata.combining(letter):
        return 0.0
    return _WIDE if unicodedata.east_asian_width(letter) in "WF" else _OTHER


@lru_cache(maxsize=1)
def _advances() -> dict[int, float]:
    """By code point, the advance of each letter of the regular face, as a share of its size."""
    from fontTools.ttLib import TTFont

    regular = next(face for face in FACES if face.weight == 400 and face.style == "normal")
    with TTFont(regular.path, lazy=True) as font:
        across, per_size = font["hmtx"].metrics, font["head"].unitsPerEm
        return {code: across[name][0] / per_size for code, name in font.getBestCmap().items()}
