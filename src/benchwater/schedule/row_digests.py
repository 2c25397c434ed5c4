"""Digests of what a period's report rests on in the logs: rows up to its end, and rows set aside.

Rows count by what they say and in their order, not by their file or line: a file that is renamed, or
grows at its top, changes no report. A row that was set aside counts for every period, unless its own
date can be read and is later.
"""

import hashlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from benchwater.plugin.bench import Bench
from benchwater.plugin.logs import LogKind
from benchwater.read.cells import read_date
from benchwater.read.decode import decode
from benchwater.read.headers import recognise
from benchwater.read.outcome import Reading, SetAside
from benchwater.read.reasons import CellError, FileError
from benchwater.schedule.manifest import Period

if TYPE_CHECKING:
    import pandas as pd

_SHORT = 16
_PLACE = ("file", "line")


@dataclass(frozen=True, slots=True)
class _Entry:
    moment: datetime
    file: str
    text: str


@dataclass(slots=True)
class _Running:
    """Digests of all entries so far: of one log's together, and of each file's."""

    whole: Any = field(default_factory=hashlib.sha256)
    files: dict[str, Any] = field(default_factory=dict)

    def add(self, entry: _Entry) -> None:
        data = entry.text.encode("utf-8", "surrogatepass") + b"\n"
        self.whole.update(data)
        self.files.setdefault(entry.file, hashlib.sha256()).update(data)


def with_digests(
    periods: Sequence[Period], folder: Path, reading: Reading, kinds: Sequence[LogKind], bench: Bench
) -> tuple[Period, ...]:
    """The periods, each with the digests of what its report rests on."""
    logs = {name: list(_rows(table)) for name, table in sorted(reading.tables.items())}
    logs["set aside"] = sorted(
        _set_aside(folder, reading.set_aside, kinds, bench), key=lambda entry: entry.moment
    )
    at_end = _by_end(logs, {period.rows_until for period in periods})
    return tuple(
        replace(period, rows=at_end[period.rows_until][0], files=at_end[period.rows_until][1])
        for period in periods
    )


def _by_end(
    logs: Mapping[str, Sequence[_Entry]], ends: Iterable[date]
) -> dict[date, tuple[str, dict[str, str]]]:
    """For each end, in one pass over the logs: the digest of all that is earlier, and one for each file."""
    running = {name: _Running() for name in logs}
    position = dict.fromkeys(logs, 0)
    found: dict[date, tuple[str, dict[str, str]]] = {}
    for end in sorted(ends):
        moment = datetime(end.year, end.month, end.day)
        whole = hashlib.sha256()
        files: dict[str, Any] = {}
        for name, entries in logs.items():
            at = position[name]
            while at < len(entries) and entries[at].moment < moment:
                running[name].add(entries[at])
                at += 1
            position[name] = at
            whole.update(f"{name} {at} {running[name].whole.hexdigest()}\n".encode())
            for file, digest in running[name].files.items():
                files.setdefault(file, hashlib.sha256()).update(f"{name} {digest.hexdigest()}\n".encode())
        found[end] = (
            whole.hexdigest(),
            {file: digest.hexdigest()[:_SHORT] for file, digest in sorted(files.items())},
        )
    return found


def _rows(table: "pd.DataFrame") -> Iterator[_Entry]:
    names = sorted(name for name in table.columns if name not in _PLACE)
    columns = [table[name].tolist() for name in names]
    for moment, file, values in zip(
        table["date"].tolist(), table["file"].tolist(), zip(*columns, strict=True), strict=True
    ):
        told = (
            f"{name}={_value(value)}"
            for name, value in zip(names, values, strict=True)
            if not _is_missing(value)
        )
        yield _Entry(moment.to_pydatetime(), file, "\x1f".join(told))


def _value(value: object) -> str:
    return value.isoformat() if isinstance(value, datetime) else repr(value)


def _is_missing(value: object) -> bool:
    return value is None or bool(value != value)


def _set_aside(
    folder: Path, entries: Sequence[SetAside], kinds: Sequence[LogKind], bench: Bench
) -> Iterator[_Entry]:
    dates = {file: _dates(folder / file, kinds, bench) for file in {entry.file for entry in entries}}
    for entry in entries:
        moment = dates[entry.file].get(entry.line, datetime.min)
        text = "\x1f".join((entry.log, entry.column, entry.value, entry.why))
        yield _Entry(moment, entry.file, text)


def _dates(path: Path, kinds: Sequence[LogKind], bench: Bench) -> dict[int, datetime]:
    """The date of each record of a file that has one that can be read, by line."""
    try:
        header = recognise(decode(path.read_bytes()).text, kinds)
    except (OSError, FileError):
        return {}
    at = next((h.position for h in header.headings if h.column is not None and h.column.kind == "date"), None)
    dates: dict[int, datetime] = {}
    for record in header.records():
        if at is None or at >= len(record.cells) or record.open_quote:
            continue
        try:
            dates[record.line] = read_date(record.cells[at].strip(), bench.date_order)
        except CellError:
            continue
    return dates
