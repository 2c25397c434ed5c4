"""From text to records: RFC 4180 quoting, any line ending, physical line numbers kept.

A quotation mark opens a quoted cell only at the cell's start, so `9 1/2"` is a length in inches. One
that is never closed spoils its own line alone: reading goes on at the next.
"""

import csv
from collections.abc import Iterator
from typing import NamedTuple

from benchwater.read.limits import MOST_LINES_IN_A_CELL


class Record(NamedTuple):
    """One record: the line it starts on (from 1), its cells, and whether a quotation mark stayed open."""

    line: int
    cells: tuple[str, ...]
    open_quote: bool = False


def records(text: str, separator: str) -> Iterator[Record]:
    """The records of a text that hold anything at all; blank ones are skipped."""
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    index = 0
    while index < len(lines):
        start = index
        record = lines[index]
        index += 1
        open_quote = False
        if '"' in record:
            end = _closing_line(lines, start, separator)
            open_quote = end is None
            if end is not None:
                record = "\n".join(lines[start : end + 1])
                index = end + 1
        cells = _cells(record, separator, literal=open_quote)
        if any(cell.strip() for cell in cells):
            yield Record(start + 1, cells, open_quote)


def _closing_line(lines: list[str], start: int, separator: str) -> int | None:
    is_open = False
    for index in range(start, min(len(lines), start + MOST_LINES_IN_A_CELL)):
        is_open = _ends_open(lines[index], separator, is_open)
        if not is_open:
            return index
    return None


def _ends_open(line: str, separator: str, is_open: bool) -> bool:
    at_start = not is_open
    position = 0
    while position < len(line):
        character = line[position]
        if is_open:
            if character == '"':
                if line[position + 1 : position + 2] == '"':
                    position += 1
                else:
                    is_open = False
        elif character == '"' and at_start:
            is_open, at_start = True, False
        elif character == separator:
            at_start = True
        elif character != " ":
            at_start = False
        position += 1
    return is_open


def _cells(record: str, separator: str, *, literal: bool) -> tuple[str, ...]:
    if literal or '"' not in record:
        return tuple(record.split(separator))
    lines = [f"{line}\n" for line in record.split("\n")]
    try:
        parsed = list(csv.reader(lines, delimiter=separator, skipinitialspace=True))
    except csv.Error:
        return tuple(record.split(separator))
    return tuple(cell for row in parsed for cell in row)
