"""Splits the text below a header into columns of texts, each distinct text held once.

pandas' C parser splits plain lines, which are nearly all of most logs. A line with a quotation mark, or with
anything else that parsers disagree on, goes through `records.record_at`.
"""

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import islice, zip_longest

import numpy as np
import numpy.typing as npt

from benchwater.read.coded import Coded, Indices, Mask, concatenate, map_values
from benchwater.read.records import Record, record_at
from benchwater.read.refusals import MOST_LINES, MOST_ROWS, MOST_SET_ASIDE, FileError

SMALL_BYTES = 4_000
"""A text below this size is split line by line, which then costs less than to call pandas."""
_WIDER = 2
_CHUNK_BYTES = 8 * 1024 * 1024
_NEWLINE, _QUOTE, _NOTHING = ord("\n"), ord('"'), 0
_MARK = "\ufeff".encode()


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
        """One record."""
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


def read_body(text: str, separator: str, width: int, first_line: int) -> Body:
    """Read the records of a text whose lines end in `\\n`. FileError beyond the bounds of an honest log.

    The body has a few columns more than `width`, for cells behind the last heading.
    """
    width += _WIDER
    lines = _Lines(text)
    irregular = lines.holding(_QUOTE) | lines.holding(_NOTHING)
    irregular[0] |= lines.data.startswith(_MARK)
    if len(lines.data) < SMALL_BYTES:
        irregular[:] = True
    try:
        return _body(lines, irregular, separator, width, first_line)
    except _WiderLineError:
        return _body(lines, irregular | (lines.fields(separator) > width), separator, width, first_line)


class _WiderLineError(ValueError):
    """A plain line has more cells than there are columns."""


def _body(lines: "_Lines", irregular: Mask, separator: str, width: int, first_line: int) -> Body:
    single, taken = _irregular_records(lines, irregular, separator)
    wanted = lines.ends > lines.starts
    wanted[taken] = False
    plain = np.flatnonzero(wanted)
    parts = _parse(lines.select(wanted), separator, width) if len(plain) else []
    parts.append(_columns_of(single, width))
    columns = [map_values(concatenate(of_one), str.strip) for of_one in zip(*parts, strict=True)]
    if len(columns[0].codes) != len(plain) + len(single):
        raise AssertionError(f"{len(plain)} lines gave {len(columns[0].codes) - len(single)} records")
    starts = np.array([record.line - 1 for record in single], dtype=np.int64)
    kept_whole = [
        record for record in single if record.open_quote or any(map(str.strip, record.cells[width:]))
    ]
    if len(kept_whole) > MOST_SET_ASIDE:
        raise FileError(f"has more than {MOST_SET_ASIDE} rows that cannot be read")
    moved = [record._replace(line=record.line - 1 + first_line) for record in kept_whole]
    body = Body(
        lines=np.concatenate([plain, starts]) + first_line,
        columns=tuple(columns),
        irregular={record.line: record for record in moved},
    )
    body = body.take(np.argsort(body.lines, kind="stable")) if single else body
    blank = _blank_rows(body)
    body = body if not len(blank) else body.take(np.delete(np.arange(len(body.lines)), blank))
    if len(body.lines) > MOST_ROWS:
        raise FileError(f"has {len(body.lines)} rows (at most {MOST_ROWS})")
    return body


def _columns_of(records: Sequence[Record], width: int) -> list[Coded]:
    columns = list(islice(zip_longest(*(record.cells for record in records), fillvalue=""), width))
    columns += [("",) * len(records)] * (width - len(columns))
    rows = np.arange(len(records), dtype=np.int32)
    return [Coded(rows, texts) for texts in columns]


def _blank_rows(body: Body) -> Indices:
    """The records that hold nothing but spaces."""
    rows = np.arange(len(body.lines))
    for column in body.columns:
        if len(rows):
            rows = rows[column.take(rows).mask(lambda text: text == "")]
    return np.array([row for row in rows if int(body.lines[row]) not in body.irregular], dtype=np.int64)


class _Lines:
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


def _irregular_records(lines: _Lines, irregular: Mask, separator: str) -> tuple[list[Record], list[int]]:
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
