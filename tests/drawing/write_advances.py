"""Write drawing/advances.py from the font file: python tests/drawing/write_advances.py."""

from pathlib import Path

from benchwater.drawing.typeface import FACES

FILE = Path(__file__).parents[2] / "src" / "benchwater" / "drawing" / "advances.py"
HEAD = '''"""How wide each letter of the regular face is, by code point, in units of the font.

Written by `tests/drawing/write_advances.py`, and held against the font file by the tests: to open that takes
as long as to draw all plots of a report.
"""

PER_SIZE = {per_size}
ADVANCES: dict[int, int] = {{
'''
A_LINE = 8


def measured() -> tuple[int, dict[int, int]]:
    """The units a size has, and the advance of each letter."""
    from fontTools.ttLib import TTFont

    regular = next(face for face in FACES if face.weight == 400 and face.style == "normal")
    with TTFont(regular.path, lazy=True) as font:
        across = font["hmtx"].metrics
        widths = {code: across[name][0] for code, name in sorted(font.getBestCmap().items())}
        return font["head"].unitsPerEm, widths


def text() -> str:
    """The module as it should stand."""
    per_size, widths = measured()
    told = [f"{code}: {width}" for code, width in widths.items()]
    lines = [f"    {', '.join(told[at : at + A_LINE])},\n" for at in range(0, len(told), A_LINE)]
    return f"{HEAD.format(per_size=per_size)}{''.join(lines)}}}  # fmt: skip\n"


if __name__ == "__main__":
    FILE.write_text(text(), encoding="utf-8", newline="\n")
