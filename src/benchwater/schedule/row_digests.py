"""Digests of what a period's report rests on in the logs: rows up to its end, and rows set aside.

Rows count by what they say and in their order, not by their file or line: a file that is renamed, or
grows at its top, changes no report. A row that was set aside counts for every period, unless its own
date can be read and is later.
"""

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from benchwater.plugin.bench import Bench
from benchwater.plugin.logs import LogKind
from benchwater.read.cells import read_date
from benchwater.read.headers import recognise
from benchwater.read.outcome import Reading, SetAside
from benchwater.read.records import decode
from benchwater.read.refusals import CellError, FileError
from benchwater.schedule.manifest import Period

if TYPE_CHECKING:
    import pandas as pd

_SHORT = 16
_PLACE = ("file", "line")
_MARK_BYTES = 8


@dataclass(frozen=True, slots=True)
class _Log:
    """A log's rows in order of their moments: the number of each one's file in `files`, and its mark."""

    moments: np.ndarray
    file: np.ndarray
    files: Sequence[str]
    marks: np.ndarray

    def rows_before(self, end: date) -> int:
        """How many rows are earlier than that day."""
        return int(np.searchsorted(self.moments, np.datetime64(end, "us")))

    def digest(self, rows: Any = slice(None)) -> str:
        """Of the marks of some rows, in their order."""
        return hashlib.sha256(self.marks[rows].astype("<u8").tobytes()).hexdigest()

    def rows_of_files(self) -> dict[str, np.ndarray]:
        """The numbers of each file's rows, rising."""
        order = np.argsort(self.file, kind="stable")
        bounds = np.searchsorted(self.file[order], np.arange(len(self.files) + 1))
        return {name: order[bounds[at] : bounds[at + 1]] for at, name in enumerate(self.files)}


def with_digests(
    periods: Sequence[Period], folder: Path, reading: Reading, kinds: Sequence[LogKind], bench: Bench
) -> tuple[Period, ...]:
    """The periods, each with the digests of what its report rests on."""
    logs = {name: _used(table) for name, table in sorted(reading.tables.items())}
    logs["set aside"] = _set_aside(folder, reading.set_aside, kinds, bench)
    at_end = _by_end(logs, {period.rows_until for period in periods})
    return tuple(
        replace(period, rows=at_end[period.rows_until][0], files=at_end[period.rows_until][1])
        for period in periods
    )


def _by_end(logs: Mapping[str, _Log], ends: Iterable[date]) -> dict[date, tuple[str, dict[str, str]]]:
    """For each end: the digest of all that is earlier, and one for each file."""
    rows_of_files = {name: log.rows_of_files() for name, log in logs.items()}
    found: dict[date, tuple[str, dict[str, str]]] = {}
    for end in sorted(ends):
        whole = hashlib.sha256()
        files: dict[str, Any] = {}
        for name, log in logs.items():
            before = log.rows_before(end)
            whole.update(f"{name} {before} {log.digest(slice(before))}\n".encode())
            for file, rows in rows_of_files[name].items():
                earlier = rows[: np.searchsorted(rows, before)]
                if len(earlier):
                    told = f"{name} {log.digest(earlier)}\n"
                    files.setdefault(file, hashlib.sha256()).update(told.encode())
        found[end] = (
            whole.hexdigest(),
            {file: digest.hexdigest()[:_SHORT] for file, digest in sorted(files.items())},
        )
    return found


def _used(table: "pd.DataFrame") -> _Log:
    """A row's mark is the sum, in 64 bits, of those of its cells; a cell that is missing has none."""
    import pandas as pd

    marks = np.zeros(len(table), dtype=np.uint64)
    for name in table.columns:
        if name not in _PLACE:
            codes, values = pd.factorize(table[name])
            # What is missing has the code -1, and so the mark that stands last.
            marks += np.array([*(_mark(f"{name}={each!r}") for each in values.tolist()), 0], np.uint64)[codes]
    file, files = pd.factorize(table["file"])
    return _Log(table["date"].to_numpy("datetime64[us]"), file, files.tolist(), marks)


def _mark(text: str) -> int:
    digest = hashlib.blake2b(text.encode("utf-8", "surrogatepass"), digest_size=_MARK_BYTES)
    return int.from_bytes(digest.digest(), "little")


def _set_aside(folder: Path, entries: Sequence[SetAside], kinds: Sequence[LogKind], bench: Bench) -> _Log:
    lines: dict[str, list[int]] = {}
    for entry in entries:
        lines.setdefault(entry.file, []).append(entry.line)
    dates = {file: _dates(folder / file, lines[file], kinds, bench) for file in lines}
    when = np.array([dates[entry.file].get(entry.line, datetime.min) for entry in entries], "datetime64[us]")
    told = ["\x1f".join((entry.log, entry.column, entry.value, entry.why)) for entry in entries]
    marks, order = np.array([_mark(text) for text in told], np.uint64), np.argsort(when, kind="stable")
    number = {file: at for at, file in enumerate(lines)}
    file = np.array([number[entry.file] for entry in entries], np.int64)
    return _Log(when[order], file[order], list(lines), marks[order])


def _dates(path: Path, lines: Sequence[int], kinds: Sequence[LogKind], bench: Bench) -> dict[int, datetime]:
    """The date of each record on these lines of a file that has one that can be read, by line."""
    try:
        header = recognise(decode(path.read_bytes()).text, kinds)
    except (OSError, FileError):
        return {}
    at = header.date_position
    dates: dict[int, datetime] = {}
    for record in header.records_on(lines):
        if at is None or at >= len(record.cells) or record.open_quote:
            continue
        try:
            dates[record.line] = read_date(record.cells[at].strip(), bench.date_order)
        except CellError:
            continue
    return dates
