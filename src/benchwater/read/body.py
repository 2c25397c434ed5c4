"""From the text below a header to columns of texts, each distinct text held once.

pandas' C parser splits the plain lines, which are nearly all of most logs. A line with a quotation mark,
or with anything else that a parser may take in its own way, goes through `records.record_at`.
"""

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import islice, zip_longest

import numpy as np
import numpy.typing as npt

from benchwater.read.coded import Coded, Flags, Rows, joined, merged
from benchwater.read.records import Record, record_at
from benchwater.read.refusals import MOST_LINES, MOST_ROWS, MOST_SET_ASIDE, FileError

_WIDER = 2
_BYTES_AT_ONCE = 8 * 1024 * 1024
_NEWLINE, _QUOTE, _NOTHING = ord("\n"), ord('"'), 0
_MARK = "\ufeff".encode()


@dataclass(frozen=True, slots=True, kw_only=True)
class Body:
    """The records below a header that hold anything, in order.

    `lines` is the line each starts on, `columns` its cells by position, stripped, empty where a record is
    too short. `whole` has by line the records that columns do not do justice to: one that is wider still,
    or in which a quotation mark stays open.
    """

    lines: Rows
    columns: tuple[Coded, ...]
    whole: Mapping[int, Record]

    def record(self, row: int) -> Record:
        """One record."""
        line = int(self.lines[row])
        return self.whole.get(line) or Record(line, tuple(str(column.of(row)) for column in self.columns))

    def take(self, rows: Rows | Flags) -> "Body":
        """Some of the records, in that order."""
        return Body(
            lines=self.lines[rows],
            columns=tuple(column.take(rows) for column in self.columns),
            whole=self.whole,
        )


def read_body(text: str, separator: str, width: int, first_line: int) -> Body:
    """The records of a text whose lines end in `\\n`. FileError beyond the bounds of an honest log.

    There are a few columns more than `width`, for what stands behind the last heading.
    """
    width += _WIDER
    lines = _Lines(text)
    odd = lines.holding(_QUOTE) | lines.holding(_NOTHING)
    odd[0] |= lines.data.startswith(_MARK)
    try:
        return _body(lines, odd, separator, width, first_line)
    except _WiderLineError:
        return _body(lines, odd | (lines.fields(separator) > width), separator, width, first_line)


class _WiderLineError(ValueError):
    """A plain line has more cells than there are columns."""


def _body(lines: "_Lines", odd: Flags, separator: str, width: int, first_line: int) -> Body:
    single, taken = _odd_records(lines, odd, separator)
    wanted = lines.ends > lines.starts
    wanted[taken] = False
    plain = np.flatnonzero(wanted)
    parts = _parsed(lines.some(wanted), separator, width) if len(plain) else []
    parts.append(_of_odd(single, width))
    columns = [merged(joined(of_one), str.strip) for of_one in zip(*parts, strict=True)]
    if len(columns[0].codes) != len(plain) + len(single):
        raise AssertionError(f"{len(plain)} lines gave {len(columns[0].codes) - len(single)} records")
    starts = np.array([record.line - 1 for record in single], dtype=np.int64)
    whole = [record for record in single if record.open_quote or any(map(str.strip, record.cells[width:]))]
    if len(whole) > MOST_SET_ASIDE:
        raise FileError(f"has more than {MOST_SET_ASIDE} rows that cannot be read")
    moved = [record._replace(line=record.line - 1 + first_line) for record in whole]
    body = Body(
        lines=np.concatenate([plain, starts]) + first_line,
        columns=tuple(columns),
        whole={record.line: record for record in moved},
    )
    body = body.take(np.argsort(body.lines, kind="stable")) if single else body
    blank = _blank_rows(body)
    body = body if not len(blank) else body.take(np.delete(np.arange(len(body.lines)), blank))
    if len(body.lines) > MOST_ROWS:
        raise FileError(f"has {len(body.lines)} rows (at most {MOST_ROWS})")
    return body


def _of_odd(records: Sequence[Record], width: int) -> list[Coded]:
    columns = list(islice(zip_longest(*(record.cells for record in records), fillvalue=""), width))
    columns += [("",) * len(records)] * (width - len(columns))
    rows = np.arange(len(records), dtype=np.int32)
    return [Coded(rows, texts) for texts in columns]


def _blank_rows(body: Body) -> Rows:
    """The records without a single character but spaces."""
    rows = np.arange(len(body.lines))
    for column in body.columns:
        if len(rows):
            rows = rows[column.take(rows).where(lambda text: text == "")]
    return np.array([row for row in rows if int(body.lines[row]) not in body.whole], dtype=np.int64)


class _Lines:
    """The lines of a text as stretches of its bytes."""

    def __init__(self, text: str) -> None:
        if (count := text.count("\n")) > MOST_LINES:
            raise FileError(f"has {count} lines (at most {MOST_LINES})")
        self.data = text.encode()
        self._bytes = np.frombuffer(self.data, dtype=np.uint8)
        self.ends = np.append(np.flatnonzero(self._bytes == _NEWLINE), len(self.data))
        self.starts = np.concatenate([np.zeros(1, dtype=np.int64), self.ends[:-1] + 1])

    def at(self, index: int) -> str | None:
        """One line; None behind the last."""
        if index >= len(self.ends):
            return None
        return self.data[self.starts[index] : self.ends[index]].decode()

    def holding(self, byte: int) -> Flags:
        """Which lines hold that byte."""
        found = np.zeros(len(self.ends), dtype=bool)
        if bytes([byte]) in self.data:
            found[np.searchsorted(self.ends, np.flatnonzero(self._bytes == byte))] = True
        return found

    def fields(self, separator: str) -> npt.NDArray[np.int64]:
        """How many cells each line has, were it split at every separator."""
        fields = np.ones(len(self.starts), dtype=np.int64)
        inside = self.starts < len(self.data)
        fields[inside] += np.add.reduceat(self._bytes == ord(separator), self.starts[inside], dtype=np.int64)
        return fields

    def some(self, wanted: Flags) -> bytes:
        """The lines wanted, one below the other."""
        if wanted.all():
            return self.data
        edges = np.flatnonzero(np.diff(np.concatenate([[False], wanted, [False]]).astype(np.int8)))
        runs = zip(self.starts[edges[::2]], self.ends[edges[1::2] - 1], strict=True)
        return b"\n".join(self.data[start:end] for start, end in runs)


def _odd_records(lines: _Lines, odd: Flags, separator: str) -> tuple[list[Record], list[int]]:
    """The records that start on odd lines, and every line that belongs to one."""
    found: list[Record] = []
    taken: list[int] = []
    over = 0
    for index in np.flatnonzero(odd).tolist():
        if index < over:
            continue
        record, over = record_at(lines.at, index, separator)
        if any(cell.strip() for cell in record.cells):
            found.append(record)
        taken += range(index, over)
    return found, taken


def _parsed(data: bytes, separator: str, width: int) -> list[list[Coded]]:
    """The columns, as one list of parts a column for every stretch of lines."""
    parts = []
    start = 0
    while start < len(data):
        end = data.find(b"\n", start + _BYTES_AT_ONCE)
        end = len(data) if end < 0 else end
        parts.append(_parsed_at_once(data[start:end], separator, width))
        start = end + 1
    return parts


def _parsed_at_once(data: bytes, separator: str, width: int) -> list[Coded]:
    """The columns of a few lines. The first row is one of words, lest pandas takes any texts for numbers."""
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
