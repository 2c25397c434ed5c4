"""Decodes a file's bytes to text, and splits text into records.

Text is UTF-8 or UTF-16, with or without a mark, else Windows-1252. Quoting is that of RFC 4180, and physical
line numbers are kept. A quotation mark opens a quoted cell only at the cell's start, so `9 1/2"` is a length
in inches. One that is never closed spoils its own line alone: reading goes on at the next.
"""

import codecs
import csv
import re
from collections.abc import Callable, Iterator
from functools import cache
from typing import NamedTuple

from benchwater.read.refusals import LONGEST_LINE, MOST_LINES_IN_A_CELL, FileError


class Decoded(NamedTuple):
    """The text, and the name of the encoding it was in."""

    text: str
    encoding: str


_MARKS = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)


def decode(data: bytes) -> Decoded:
    """The text of a log file. FileError where the bytes are no text at all."""
    for mark, encoding in _MARKS:
        if data.startswith(mark):
            try:
                return Decoded(data[len(mark) :].decode(encoding), encoding)
            except UnicodeDecodeError as error:
                raise FileError(f"is damaged: it begins as {encoding} text and does not go on so") from error
    if b"\0" in data:
        return _without_mark(data)
    try:
        return Decoded(data.decode("utf-8"), "utf-8")
    except UnicodeDecodeError:
        pass
    try:
        return Decoded(data.decode("cp1252"), "windows-1252")
    except UnicodeDecodeError as error:
        raise FileError("is not text in UTF-8, UTF-16 or Windows-1252") from error


def _without_mark(data: bytes) -> Decoded:
    sample = data[:4096]
    for encoding, zeros in (("utf-16-le", sample[1::2]), ("utf-16-be", sample[0::2])):
        if zeros and zeros.count(0) > 0.7 * len(zeros):
            try:
                return Decoded(data.decode(encoding), encoding)
            except UnicodeDecodeError:
                continue
    raise FileError("is not a text file")


DITTO = "〃"

LineAt = Callable[[int], str | None]
"""The line of an index from 0, without its end; None behind the last."""


class Record(NamedTuple):
    """One record: the line it starts on (from 1), its cells, and whether a quotation mark stayed open."""

    line: int
    cells: tuple[str, ...]
    open_quote: bool = False


def plain_ends(text: str) -> str:
    """The text with `\\n` at the end of every line."""
    return text.replace("\r\n", "\n").replace("\r", "\n") if "\r" in text else text


def check_lines(text: str) -> None:
    """FileError where a line of a text with plain ends is longer than any honest one."""
    start = 0
    while start + LONGEST_LINE < len(text):
        end = text.rfind("\n", start, start + LONGEST_LINE)
        if end < 0:
            number = text.count("\n", 0, start) + 1
            raise FileError(f"has more than {LONGEST_LINE} characters on line {number}")
        start = end + 1


def records_and_ends(text: str, separator: str) -> Iterator[tuple[Record, int]]:
    """The records of a text with plain ends that hold anything, each with the position at which it ends."""
    lines = _Lines(text)
    index = 0
    while lines.at(index) is not None:
        record, index = record_at(lines.at, index, separator)
        if any(cell.strip() for cell in record.cells):
            yield record, lines.start(index)


def record_at(line_at: LineAt, index: int, separator: str) -> tuple[Record, int]:
    """The record that starts on the line of that index, and the index of the line behind it."""
    line = line_at(index) or ""
    if '"' in line and separator + '"' + separator in separator + line:
        line = _with_ditto_marks(line, separator)
    if '"' not in line:
        return Record(index + 1, tuple(line.split(separator))), index + 1
    end = index if _closed_line(separator).fullmatch(line) else _closing_line(line_at, index, separator)
    if end is None:
        return Record(index + 1, tuple(line.split(separator)), open_quote=True), index + 1
    lines = [line, *(line_at(other) or "" for other in range(index + 1, end + 1))]
    return Record(index + 1, _cells(lines, separator)), end + 1


def _with_ditto_marks(line: str, separator: str) -> str:
    """The line with a ditto mark for each quotation mark that is a cell by itself.

    Left as it is where such marks may close cells: `"a,","b"`. No cell is taken to begin and end with a
    separator.
    """
    marked = re.sub(f'(?<![^{separator}])"(?={separator})', DITTO, line)
    marked = marked if marked.count('"') or not marked.endswith(f'{separator}"') else marked[:-1] + DITTO
    quoted = re.findall(f'(?:^|{separator})"((?:[^"]|"")*)"(?={separator}|$)', line)
    is_whole = _strictly_quoted(separator).fullmatch(line) is not None
    if is_whole and not all(
        cell.startswith(separator) and cell.endswith(separator) for cell in quoted if separator in cell
    ):
        return line
    return marked if _strictly_quoted(separator).fullmatch(marked) else line


@cache
def _strictly_quoted(separator: str) -> re.Pattern[str]:
    """A line in which every cell is quoted as a whole or holds no quotation mark."""
    cell = f'(?:"(?:[^"]++|"")*+"|[^"{separator}]*+)'
    return re.compile(f"{cell}(?:{separator}{cell})*+")


class _Lines:
    """The lines of a text, found as they are asked for: a header needs the first few alone."""

    def __init__(self, text: str) -> None:
        self._text = text
        self._starts = [0]

    def start(self, index: int) -> int:
        """Where in the text a line starts; the text's end behind the last."""
        while len(self._starts) <= index:
            end = self._text.find("\n", self._starts[-1]) if self._starts[-1] <= len(self._text) else -1
            self._starts.append(end + 1 if end >= 0 else len(self._text) + 1)
        return self._starts[index]

    def at(self, index: int) -> str | None:
        start, end = self.start(index), self.start(index + 1) - 1
        return self._text[start:end] if start <= len(self._text) else None


@cache
def _closed_line(separator: str) -> re.Pattern[str]:
    """A line in which every quotation mark that opens a cell is closed."""
    other = f"[^{separator}]*+"
    cell = f'(?: *+"(?:[^"]++|"")*+"{other}|(?! *+"){other})'
    return re.compile(f"{cell}(?:{separator}{cell})*+")


def _closing_line(line_at: LineAt, start: int, separator: str) -> int | None:
    is_open = False
    for index in range(start, start + MOST_LINES_IN_A_CELL):
        line = line_at(index)
        if line is None:
            return None
        if '"' in line:
            is_open = _ends_open(line, separator, is_open)
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


def _cells(lines: list[str], separator: str) -> tuple[str, ...]:
    try:
        parsed = list(csv.reader([f"{line}\n" for line in lines], delimiter=separator, skipinitialspace=True))
    except csv.Error:
        return tuple("\n".join(lines).split(separator))
    return tuple(cell for row in parsed for cell in row)
