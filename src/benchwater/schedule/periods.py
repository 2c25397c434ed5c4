"""The months and seasons that have rows, each with a digest of the rows that its report is made from.

A digest covers what the rows say, the pictures they name and their order, not their file or line: a file
that is renamed, or grows at its top, changes no report. A row set aside counts for every period, unless its
own date can be read and is later.
"""

import hashlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from benchwater.analyse.spans import month_after, month_spans, season_spans
from benchwater.files import content_hash
from benchwater.plugin.bench import Bench
from benchwater.read.outcome import Reading, SetAside
from benchwater.read.photos import PHOTO
from benchwater.schedule.manifest import Period

if TYPE_CHECKING:
    import pandas as pd

_FILE_DIGITS = 16
_PLACE_COLUMNS = ("file", "line")
_HASH_BYTES = 8


def periods_with_rows(tables: "Mapping[str, pd.DataFrame]", bench: Bench) -> tuple[Period, ...]:
    """Return every month and season with a row in any log, sorted by end; a month before its season."""
    midnights = {each for table in tables.values() for each in table["date"].dropna().dt.normalize().unique()}
    days = [midnight.date() for midnight in sorted(midnights)]
    found = [*_months(days, bench), *_seasons(days, bench)]
    return tuple(sorted(found, key=lambda period: (period.ended_on, period.whole_season, period.label)))


def with_digests(periods: Sequence[Period], folder: Path, reading: Reading) -> tuple[Period, ...]:
    """Return the periods with their digests, `rows` and `files`, filled in."""
    logs = {name: _used(_with_contents(folder, table)) for name, table in sorted(reading.tables.items())}
    logs["set aside"] = _set_aside(reading.set_aside + reading.cells_set_aside)
    at_end = _by_end(logs, {period.rows_until for period in periods})
    return tuple(
        replace(period, rows=at_end[period.rows_until][0], files=at_end[period.rows_until][1])
        for period in periods
    )


def _months(days: list[date], bench: Bench) -> Iterator[Period]:
    for month in sorted({day.replace(day=1) for day in days}):
        spans = month_spans(month, bench)
        yield Period(
            label=spans.label,
            month=spans.label,
            whole_season=False,
            ended_on=spans.period.end,
            rows_until=spans.season.end,
        )


def _seasons(days: list[date], bench: Bench) -> Iterator[Period]:
    last_rows = {bench.season_of(day): day for day in days}
    for (start, next_start), last_row in last_rows.items():
        month = last_row.replace(day=1)
        if month < start:
            month = month_after(month)
        spans = season_spans(month, bench)
        yield Period(
            label=spans.label,
            month=f"{month:%Y-%m}",
            whole_season=True,
            ended_on=next_start,
            rows_until=spans.season.end,
        )


@dataclass(frozen=True, slots=True)
class _Log:
    """A log's rows sorted by time: of each its time, the position of its file in `files`, and its hash."""

    times: np.ndarray
    file: np.ndarray
    files: Sequence[str]
    hashes: np.ndarray

    def rows_before(self, end: date) -> int:
        """Return how many rows are earlier than the day."""
        return int(np.searchsorted(self.times, np.datetime64(end, "us")))

    def digest(self, rows: Any = slice(None)) -> str:
        """Return the digest of the hashes of some rows, in their order."""
        return hashlib.sha256(self.hashes[rows].astype("<u8").tobytes()).hexdigest()

    def rows_of_files(self) -> dict[str, np.ndarray]:
        """Return the positions of each file's rows, ascending."""
        order = np.argsort(self.file, kind="stable")
        bounds = np.searchsorted(self.file[order], np.arange(len(self.files) + 1))
        return {name: order[bounds[at] : bounds[at + 1]] for at, name in enumerate(self.files)}


def _by_end(logs: Mapping[str, _Log], ends: Iterable[date]) -> dict[date, tuple[str, dict[str, str]]]:
    """Return for each end the digest of all earlier rows, and one for each file."""
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
                    part = f"{name} {log.digest(earlier)}\n"
                    files.setdefault(file, hashlib.sha256()).update(part.encode())
        found[end] = (
            whole.hexdigest(),
            {file: digest.hexdigest()[:_FILE_DIGITS] for file, digest in sorted(files.items())},
        )
    return found


def _with_contents(folder: Path, table: "pd.DataFrame") -> "pd.DataFrame":
    """Add the content of each row's picture to its name."""
    if PHOTO not in table.columns:
        return table
    contents = {name: f"{name} {content_hash(folder / name)}" for name in table[PHOTO].dropna().unique()}
    return table.assign(**{PHOTO: table[PHOTO].map(contents)})


def _used(table: "pd.DataFrame") -> _Log:
    """Hash each row: the sum of its cells' hashes modulo 2**64. A missing cell adds nothing."""
    import pandas as pd

    hashes = np.zeros(len(table), dtype=np.uint64)
    for name in table.columns:
        if name not in _PLACE_COLUMNS:
            codes, values = pd.factorize(table[name])
            # factorize codes a missing cell as -1, which selects the 0 at the end.
            of_values = [_hash(f"{name}={value!r}") for value in values.tolist()]
            hashes += np.array([*of_values, 0], np.uint64)[codes]
    file, files = pd.factorize(table["file"])
    return _Log(table["date"].to_numpy("datetime64[us]"), file, files.tolist(), hashes)


def _hash(text: str) -> int:
    digest = hashlib.blake2b(text.encode("utf-8", "surrogatepass"), digest_size=_HASH_BYTES)
    return int.from_bytes(digest.digest(), "little")


def _set_aside(entries: Sequence[SetAside]) -> _Log:
    when = np.array([dict(entry.values).get("date", datetime.min) for entry in entries], "datetime64[us]")
    said = [(entry.log, entry.column, entry.value, entry.why, repr(entry.values)) for entry in entries]
    hashes = np.array([_hash("\x1f".join(texts)) for texts in said], np.uint64)
    order = np.argsort(when, kind="stable")
    files = list(dict.fromkeys(entry.file for entry in entries))
    file = np.array([files.index(entry.file) for entry in entries], np.int64)
    return _Log(when[order], file[order], files, hashes[order])
