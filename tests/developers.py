"""Parse DEVELOPERS.md: its sections, table rows and marked code blocks."""

import re
from pathlib import Path
from typing import NamedTuple

ROOT = Path(__file__).parents[1]
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


class Block(NamedTuple):
    """A code block, the mark `<!-- what: where -->` before it, and the mark's line number."""

    what: str
    where: str
    text: str
    line: int


def part(title: str, document: str = DEVELOPERS) -> str:
    """Return the text under a heading, down to the next heading of the same level."""
    found = re.search(rf"^(#+) {re.escape(title)}\n(.*?)(?=^#{{2}} |\Z)", document, re.MULTILINE | re.DOTALL)
    assert found is not None, f"the document has no heading {title!r}"
    level = len(found[1])
    return re.split(rf"^#{{2,{level}}} ", found[2], maxsplit=1, flags=re.MULTILINE)[0]


def rows(text: str) -> list[list[str]]:
    """Return the cells of every table row, without the heads."""
    lines = re.findall(r"^\| ?(.*?) ?\|$", text, flags=re.MULTILINE)
    cells = [[cell.strip() for cell in line.split("|")] for line in lines]
    heads = {at for at, row in enumerate(cells) if all(set(cell) == {"-"} for cell in row)}
    return [row for at, row in enumerate(cells) if at not in heads and at + 1 not in heads]


def typed(cell: str) -> list[str]:
    """Return each text in `backticks`."""
    return re.findall(r"`([^`]+)`", cell)


def blocks(text: str) -> list[Block]:
    """Return the marked code blocks in order; AssertionError for one without a mark."""
    mark = re.compile(r"^<!-- (\w+)(?:: (\S+))? -->\n```\w+\n(.*?)^```$", re.MULTILINE | re.DOTALL)
    found = [
        Block(each[1], each[2] or "", each[3], DEVELOPERS.count("\n", 0, DEVELOPERS.index(each[0])) + 1)
        for each in mark.finditer(text)
    ]
    fences = len(re.findall(r"^```\w", text, flags=re.MULTILINE))
    assert len(found) == fences, f"{fences - len(found)} code blocks have no mark, so no test checks them"
    return found
