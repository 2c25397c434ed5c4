"""Decode a file's bytes, split text into records, and hold these as columns of texts.

Text is UTF-8 or UTF-16, with or without a mark, else Windows-1252. Quoting is that of RFC 4180, and physical
line numbers are kept. A quotation mark opens a quoted cell only at the cell's start, so `9 1/2"` is a length
in inches. One that is never closed spoils its own line alone: reading goes on at the next.

pandas' C parser splits plain lines, which are nearly all of most logs. A line with a quotation mark, or with
anything else that parsers disagree on, goes through `record_at`.
"""

import codecs
import csv
import io
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from itertools import islice, zip_longest
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from benchwater.read.coded import Coded, Indices, Mask, concatenate, map_values
from benchwater.read.outcome import (
    LONGEST_LINE,
    MOST_LINES,
    MOST_LINES_IN_A_CELL,
    MOST_ROWS,
    MOST_SET_ASIDE,
    FileError,
)

_MARKS = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)
DITTO = "〃"
LineAt = Callable[[int], str | None]
"""The line of an index from 0, without its end; None behind the last."""
SMALL = 4_000
"""A text of fewer characters is split line by line, which then costs less than to call pandas."""
_WIDER = 2
_CHUNK_BYTES = 8 * 1024 * 1024
_NEWLINE, _QUOTE, _NOTHING = ord("\n"), ord('"'), 0
_MARK = "\ufeff".encode()


class Decoded(NamedTuple):
    """The text, and the name of the encoding it was in."""

    text: str
    encoding: str


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
        if (line := line_at(index)) is None:
            return None
        if not (is_open := _ends_open(line, separator, is_open)):
            return index
    return None


def _ends_open(line: str, separator: str, is_open: bool) -> bool:
    """Whether a quoted cell is still open at the end of a line, given whether one is at its start."""
    if is_open:
        closing = re.match('(?:[^"]++|"")*+"', line)
        if closing is None:
            return True
        line = f"x{line[closing.end() :]}"  # a quotation mark opens a cell only at the cell's start
    return _closed_line(separator).fullmatch(line) is None


def _cells(lines: list[str], separator: str) -> tuple[str, ...]:
    try:
        parsed = list(csv.reader([f"{line}\n" for line in lines], delimiter=separator, skipinitialspace=True))
    except csv.Error:
        return tuple("\n".join(lines).split(separator))
    return tuple(cell for row in parsed for cell in row)


@dataclass(frozen=True, slots=True, kw_only=True)
class Body:
    """The records below a header that are not blank, in order.

    `lines` holds the line each starts on, `columns` its cells by position, stripped, empty where a record is
    too short. `irregular` maps the line to each record with more cells than columns or with an open quotation
    mark.
    """

    lines: Indices
    columns: tuple[Coded, ...]
    irregular: Mapping[int, Record]

    def record(self, row: int) -> Record:
        line = int(self.lines[row])
        return self.irregular.get(line) or Record(
            line, tuple(str(column.value(row)) for column in self.columns)
        )

    def take(self, rows: Indices | Mask) -> "Body":
        """The body of some records, in that order."""
        return Body(
            lines=self.lines[rows],
            columns=tuple(column.take(rows) for column in self.columns),
            irregular=self.irregular,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """Headings and the records below them, before any log is recognised.

    Columns behind the last heading hold cells that have none. `read_as` says what was taken how, `problem`
    why these records are of no log.
    """

    headings: tuple[str, ...]
    body: Body
    read_as: tuple[tuple[str, str], ...] = ()
    problem: str = ""

    def texts(self, position: int) -> list[str]:
        """The distinct cells of a column that hold anything."""
        return [str(text) for text in self.body.columns[position].held() if text]

    def positions(self) -> range:
        return range(len(self.headings))

    def take(self, rows: Indices, positions: Sequence[int]) -> "Grid":
        """Some records, and some of their columns."""
        body = self.body.take(rows)
        columns = (*(body.columns[at] for at in positions), *body.columns[len(self.headings) :])
        headings = tuple(self.headings[at] for at in positions)
        return replace(self, headings=headings, body=replace(body, columns=columns))


def read_body(text: str, separator: str, width: int, first_line: int) -> Body:
    """Read the records of a text whose lines end in `\\n`. FileError beyond the bounds of an honest log.

    The body has a few columns more than `width`, for cells behind the last heading.
    """
    width += _WIDER
    if len(text) < SMALL:
        return body_of(records_below(text, separator, first_line), width)
    lines = _ByteLines(text)
    irregular = lines.holding(_QUOTE) | lines.holding(_NOTHING)
    irregular[0] |= lines.data.startswith(_MARK)
    try:
        return _body(lines, irregular, separator, width, first_line)
    except _WiderLineError:
        return _body(lines, irregular | (lines.fields(separator) > width), separator, width, first_line)


def records_below(text: str, separator: str, first_line: int) -> list[Record]:
    """The records of a text that hold anything, on the lines where they stand in the file."""
    found = (record for record, _ in records_and_ends(text, separator))
    return [record._replace(line=record.line - 1 + first_line) for record in found]


def body_of(records: Sequence[Record], width: int) -> Body:
    """The body of some records. FileError beyond the bounds of an honest log."""
    if len(records) > MOST_ROWS:
        raise FileError(f"has {len(records)} rows (at most {MOST_ROWS})")
    kept_whole = {
        record.line: record
        for record in records
        if record.open_quote or any(map(str.strip, record.cells[width:]))
    }
    if len(kept_whole) > MOST_SET_ASIDE:
        raise FileError(f"has more than {MOST_SET_ASIDE} rows that cannot be read")
    columns = list(islice(zip_longest(*(record.cells for record in records), fillvalue=""), width))
    columns += [("",) * len(records)] * (width - len(columns))
    rows = np.arange(len(records), dtype=np.int32)
    return Body(
        lines=np.array([record.line for record in records], dtype=np.int64),
        columns=tuple(map_values(Coded(rows, texts), str.strip) for texts in columns),
        irregular=kept_whole,
    )


class _WiderLineError(ValueError):
    """A plain line has more cells than there are columns."""


def _body(lines: "_ByteLines", irregular: Mask, separator: str, width: int, first_line: int) -> Body:
    found, taken = _irregular_records(lines, irregular, separator)
    single = body_of([record._replace(line=record.line - 1 + first_line) for record in found], width)
    wanted = lines.ends > lines.starts
    wanted[taken] = False
    plain = np.flatnonzero(wanted)
    parts = _parse(lines.select(wanted), separator, width) if len(plain) else []
    all_parts = zip(*parts, single.columns, strict=True)
    columns = [map_values(concatenate(of_one), str.strip) for of_one in all_parts]
    if len(columns[0].codes) != len(plain) + len(found):
        raise AssertionError(f"{len(plain)} lines gave {len(columns[0].codes) - len(found)} records")
    body = Body(
        lines=np.concatenate([plain + first_line, single.lines]),
        columns=tuple(columns),
        irregular=single.irregular,
    )
    body = body.take(np.argsort(body.lines, kind="stable")) if found and len(plain) else body
    blank = _blank_rows(body)
    body = body if not len(blank) else body.take(np.delete(np.arange(len(body.lines)), blank))
    if len(body.lines) > MOST_ROWS:
        raise FileError(f"has {len(body.lines)} rows (at most {MOST_ROWS})")
    return body


def _blank_rows(body: Body) -> Indices:
    rows = np.arange(len(body.lines))
    for column in body.columns:
        if len(rows):
            rows = rows[column.take(rows).mask(lambda text: text == "")]
    return np.array([row for row in rows if int(body.lines[row]) not in body.irregular], dtype=np.int64)


class _ByteLines:
    """The lines of a text as ranges of its bytes."""

    def __init__(self, text: str) -> None:
        if (count := text.count("\n")) > MOST_LINES:
            raise FileError(f"has {count} lines (at most {MOST_LINES})")
        self.data = text.encode()
        self._bytes = np.frombuffer(self.data, dtype=np.uint8)
        self.ends = np.append(np.flatnonzero(self._bytes == _NEWLINE), len(self.data))
        self.starts = np.concatenate([np.zeros(1, dtype=np.int64), self.ends[:-1] + 1])

    def at(self, index: int) -> str | None:
        """One line; None after the last."""
        if index >= len(self.ends):
            return None
        return self.data[self.starts[index] : self.ends[index]].decode()

    def holding(self, byte: int) -> Mask:
        """A mask of the lines that hold a byte."""
        found = np.zeros(len(self.ends), dtype=bool)
        if bytes([byte]) in self.data:
            found[np.searchsorted(self.ends, np.flatnonzero(self._bytes == byte))] = True
        return found

    def fields(self, separator: str) -> npt.NDArray[np.int64]:
        """The number of cells of each line if it is split at every separator."""
        fields = np.ones(len(self.starts), dtype=np.int64)
        inside = self.starts < len(self.data)
        fields[inside] += np.add.reduceat(self._bytes == ord(separator), self.starts[inside], dtype=np.int64)
        return fields

    def select(self, wanted: Mask) -> bytes:
        """The bytes of the lines wanted."""
        if wanted.all():
            return self.data
        edges = np.flatnonzero(np.diff(np.concatenate([[False], wanted, [False]]).astype(np.int8)))
        runs = zip(self.starts[edges[::2]], self.ends[edges[1::2] - 1], strict=True)
        return b"\n".join(self.data[start:end] for start, end in runs)


def _irregular_records(lines: _ByteLines, irregular: Mask, separator: str) -> tuple[list[Record], list[int]]:
    """The records that start on irregular lines, and every line that belongs to one."""
    found: list[Record] = []
    taken: list[int] = []
    over = 0
    for index in np.flatnonzero(irregular).tolist():
        if index < over:
            continue
        record, over = record_at(lines.at, index, separator)
        if any(cell.strip() for cell in record.cells):
            found.append(record)
        taken += range(index, over)
    return found, taken


def _parse(data: bytes, separator: str, width: int) -> list[list[Coded]]:
    """Parse the lines in chunks; each chunk is a list of columns."""
    parts = []
    start = 0
    while start < len(data):
        end = data.find(b"\n", start + _CHUNK_BYTES)
        end = len(data) if end < 0 else end
        parts.append(_parse_chunk(data[start:end], separator, width))
        start = end + 1
    return parts


def _parse_chunk(data: bytes, separator: str, width: int) -> list[Coded]:
    """Parse one chunk. A first row of words keeps pandas from reading texts as numbers."""
    import pandas as pd

    words = separator.join(["word"] * width).encode()
    try:
        table = pd.read_csv(
            io.BytesIO(words + b"\n" + data),
            sep=separator,
            header=None,
            names=list(range(width)),
            index_col=False,
            dtype="category",
            na_filter=False,
            quoting=csv.QUOTE_NONE,
            skip_blank_lines=False,
            engine="c",
            encoding="utf-8",
            low_memory=False,
        )
    except pd.errors.ParserError:
        raise _WiderLineError from None
    columns = [table[name].array for name in table.columns]
    return [Coded(column.codes[1:].astype(np.int32), column.categories.tolist()) for column in columns]
