"""Write drawing/advances.py from the font file: python tests/drawing/write_advances.py."""

from pathlib import Path

from benchwater.drawing.typeface import FACES

FILE = Path(__file__).parents[2] / "src" / "benchwater" / "drawing" / "advances.py"
HEAD = '''"""The advance width of each letter of the regular face, by code point, in font units.

`tests/drawing/write_advances.py` writes this file and a test compares it with the font: reading the font
would take as long as drawing all plots of a report.
"""

PER_SIZE = {per_size}
ADVANCES: dict[int, int] = {{
'''
A_LINE = 8


def measured() -> tuple[int, dict[int, int]]:
    """Return the font's units per em, and the advance of each letter."""
    from fontTools.ttLib import TTFont

    regular = next(face for face in FACES if face.weight == 400 and face.style == "normal")
    with TTFont(regular.path, lazy=True) as font:
        across = font["hmtx"].metrics
        widths = {code: across[name][0] for code, name in sorted(font.getBestCmap().items())}
        return font["head"].unitsPerEm, widths


def text() -> str:
    """Return the source of the module."""
    per_size, widths = measured()
    entries = [f"{code}: {width}" for code, width in widths.items()]
    lines = [f"    {', '.join(entries[at : at + A_LINE])},\n" for at in range(0, len(entries), A_LINE)]
    return f"{HEAD.format(per_size=per_size)}{''.join(lines)}}}  # fmt: skip\n"


if __name__ == "__main__":
    FILE.write_text(text(), encoding="utf-8", newline="\n")
