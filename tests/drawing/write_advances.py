"""Write drawing/fonts/advances.json from the font file: python tests/drawing/write_advances.py."""

from benchwater.drawing.text import ADVANCES_FILE, FACES

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
    """Return the file as it should stand."""
    per_size, widths = measured()
    entries = [f'"{code}": {width}' for code, width in widths.items()]
    lines = [", ".join(entries[at : at + A_LINE]) for at in range(0, len(entries), A_LINE)]
    body = ",\n".join(lines)
    return f'{{"per_size": {per_size}, "advances": {{\n{body}\n}}}}\n'


if __name__ == "__main__":
    ADVANCES_FILE.write_text(text(), encoding="utf-8", newline="\n")
