"""The months and seasons that have rows, each with a digest of the rows that its report is made from.

A digest covers what the rows say, the pictures they name and their order, not their file or line: a file
that is renamed, or grows at its top, changes no report. A row set aside counts for every period, unless its
own date can be read and is later.
"""

import hashlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
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
    import pandas as pd

    logs = [_hashed(name, _with_contents(folder, table)) for name, table in sorted(reading.tables.items())]
    logs.append(_hashed_set_aside(reading.set_aside + reading.cells_set_aside))
    rows = pd.concat(logs, ignore_index=True).astype({"file": "category"})
    found = {}
    for end in {period.rows_until for period in periods}:
        earlier = rows[rows["time"] < pd.Timestamp(end)]
        by_file = earlier.groupby("file", observed=True)["hash"]
        files = {str(file): _digest(hashes)[:_FILE_DIGITS] for file, hashes in by_file}
        found[end] = _digest(earlier["hash"]), files
    return tuple(
        replace(period, rows=found[period.rows_until][0], files=found[period.rows_until][1])
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


def _with_contents(folder: Path, table: "pd.DataFrame") -> "pd.DataFrame":
    """Add the content of each row's picture to its name."""
    if PHOTO not in table.columns:
        return table
    contents = {name: f"{name} {content_hash(folder / name)}" for name in table[PHOTO].dropna().unique()}
    return table.assign(**{PHOTO: table[PHOTO].map(contents)})


def _hashed(log: str, table: "pd.DataFrame") -> "pd.DataFrame":
    """Return time, file and hash of each row: the sum of its cells' hashes modulo 2**64.

    A missing cell adds nothing.
    """
    import pandas as pd

    hashes = np.full(len(table), _hash(log), dtype=np.uint64)
    for name in table.columns:
        if name not in _PLACE_COLUMNS:
            codes, values = pd.factorize(table[name])
            # factorize codes a missing cell as -1, which selects the 0 at the end.
            of_values = [_hash(f"{name}={value!r}") for value in values.tolist()]
            hashes += np.array([*of_values, 0], np.uint64)[codes]
    files = table["file"].astype("str")
    return pd.DataFrame({"time": table["date"].astype("datetime64[us]"), "file": files, "hash": hashes})


def _hashed_set_aside(entries: Sequence[SetAside]) -> "pd.DataFrame":
    import pandas as pd

    said = [(entry.log, entry.column, entry.value, entry.why, repr(entry.values)) for entry in entries]
    when = np.array([dict(entry.values).get("date", datetime.min) for entry in entries], "datetime64[us]")
    hashes = np.array([_hash("\x1f".join(texts)) for texts in said], np.uint64)
    files = pd.Series([entry.file for entry in entries], dtype="str")
    return pd.DataFrame({"time": when, "file": files, "hash": hashes}).sort_values("time", kind="stable")


def _hash(text: str) -> int:
    digest = hashlib.blake2b(text.encode("utf-8", "surrogatepass"), digest_size=_HASH_BYTES)
    return int.from_bytes(digest.digest(), "little")


def _digest(hashes: "pd.Series[Any]") -> str:
    return hashlib.sha256(hashes.to_numpy("<u8").tobytes()).hexdigest()
