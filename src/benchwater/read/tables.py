"""From the rows of files to one table a log kind, without the rows that an earlier file holds.

Within one file equal rows are meant (two equal castings). Across files of one log, a row that an
earlier file (by name) already holds is a repeat, as often as that file holds it: two equal rows there
and three here make one new row. Rows are compared by their values, not by how these are written.
"""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from benchwater.plugin.logs import Column, LogKind
from benchwater.read.coded import (
    Coded,
    Codes,
    Indices,
    concatenate,
    constant_column,
    group_rows,
    map_values,
)
from benchwater.read.outcome import Repeat
from benchwater.read.rows import ReadRows
from benchwater.units import QUANTITIES
from benchwater.words import runs

if TYPE_CHECKING:
    import pandas as pd

_NUMBERS = frozenset({"number", "money", "amount", "spread", *QUANTITIES})


def take_repeats(
    files: Sequence[ReadRows], keep: Sequence[str] = ()
) -> tuple[list[ReadRows], tuple[Repeat, ...]]:
    """Return the files without the rows that an earlier one holds, and an account of these.

    `keep` names files whose rows are all meant, `*` is all.
    """
    kept = [np.ones(len(entry.lines), dtype=bool) for entry in files]
    repeats: list[Repeat] = []
    for log in dict.fromkeys(entry.log for entry in files):
        of_log = sorted(
            (number for number, entry in enumerate(files) if entry.log == log),
            key=lambda number: files[number].file,
        )
        for number, same in zip(of_log, _repeated([files[each] for each in of_log], keep), strict=True):
            entry = files[number]
            for first, rows in sorted(same.items()):
                kept[number][rows] = False
                lines = entry.lines[rows].tolist()
                repeats.append(Repeat(file=entry.file, lines=runs(lines), rows=len(lines), first_in=first))
    unique = [entry.take(rows) for entry, rows in zip(files, kept, strict=True)]
    return unique, tuple(sorted(repeats, key=lambda repeat: repeat.file))


def _repeated(files: Sequence[ReadRows], keep: Sequence[str]) -> list[dict[str, Indices]]:
    """The rows of each file that are repeats, by the file that holds them first."""
    found: list[dict[str, Indices]] = []
    rows_of, same_of, count = _rows_to_compare(files)
    held = np.zeros(count, dtype=np.int64)
    first_in = np.full(count, -1, dtype=np.int64)
    for number, (entry, rows, same) in enumerate(zip(files, rows_of, same_of, strict=True)):
        if not len(rows):
            found.append({})
            continue
        meant = "*" in keep or entry.file in keep
        keys, counts = np.unique(same, return_counts=True)
        again = np.zeros(len(rows), dtype=bool) if meant else _occurrence(same) <= held[same]
        new = np.unique(same[~again])
        repeats_of = first_in[same[again]]
        found.append(
            {files[first].file: rows[again][repeats_of == first] for first in np.unique(repeats_of).tolist()}
        )
        first_in[new] = np.where(first_in[new] < 0, number, first_in[new])
        held[keys] = held[keys] + counts if meant else np.maximum(held[keys], counts)
    return found


def _rows_to_compare(files: Sequence[ReadRows]) -> tuple[list[Indices], list[Codes], int]:
    """The rows of each file that another file may hold, the group of equal rows each is in, how many groups.

    Only days with rows in several files are compared.
    """
    ends = np.cumsum([len(entry.lines) for entry in files])
    all_rows = np.arange(ends[-1], dtype=np.int64)
    if len(files) == 1:
        return [all_rows[:0]], [np.zeros(0, dtype=np.int32)], 0
    of_file = np.repeat(np.arange(len(files), dtype=np.int32), [len(entry.lines) for entry in files])
    names = list(dict.fromkeys(name for entry in files for name in entry.columns))
    days = _compared(files, "date")
    pairs = group_rows([days, Coded(of_file, range(len(files)))], len(all_rows)).first
    files_of_day = np.bincount(days.codes[pairs], minlength=len(days.values))
    rows = all_rows[files_of_day[days.codes] > 1]
    same = group_rows([_compared(files, name).take(rows) for name in names], len(rows))
    starts = np.concatenate([[0], ends[:-1]])
    cuts = [slice(*np.searchsorted(rows, edges)) for edges in zip(starts, ends, strict=True)]
    return (
        [rows[cut] - start for cut, start in zip(cuts, starts, strict=True)],
        [same.of_row[cut] for cut in cuts],
        len(same.first),
    )


def _compared(files: Sequence[ReadRows], name: str) -> Coded:
    """One column of all files; an empty cell equals one of a column that is not there."""
    return map_values(_concatenate(files, name), lambda value: None if value == "" else value)


def _occurrence(keys: Codes) -> Indices:
    """How often each row's key occurred up to that row, from 1."""
    order = np.argsort(keys, kind="stable")
    in_order = keys[order]
    starts = np.flatnonzero(np.concatenate([[True], in_order[1:] != in_order[:-1]])) if len(keys) else order
    occurrence = np.empty(len(keys), dtype=np.int64)
    sizes = np.diff(np.append(starts, len(keys)))
    occurrence[order] = np.arange(len(keys)) - np.repeat(starts, sizes) + 1
    return occurrence


def build_tables(kinds: Sequence[LogKind], files: Sequence[ReadRows]) -> "dict[str, pd.DataFrame]":
    """One table for each log kind, empty ones too, in order of date, file and line; see `Season.log`."""
    return {kind.name: _table(kind, [entry for entry in files if entry.log == kind.name]) for kind in kinds}


def _table(kind: LogKind, files: Sequence[ReadRows]) -> "pd.DataFrame":
    import pandas as pd

    files = sorted((entry for entry in files if len(entry.lines)), key=lambda entry: entry.file)
    lines = np.concatenate([np.zeros(0, dtype=np.int64), *(entry.lines for entry in files)])
    days = _concatenate(files, "date")
    order = np.argsort(_typed(days.values, "datetime64[us]")[days.codes], kind="stable")
    data: dict[str, Any] = {}
    for column in kind.columns:
        values = _concatenate(files, column.frame_name).take(order)
        if column.kind == "name" and column.refers_to is None:
            values = _one_spelling(values)
        dtype = _dtype(column)
        is_words = dtype == "category"
        data[column.frame_name] = (
            _categorical(values) if is_words else _typed(values.values, dtype).take(values.codes)
        )
    counts = [len(entry.lines) for entry in files]
    names = Coded(np.repeat(np.arange(len(files), dtype=np.int32), counts), [entry.file for entry in files])
    data["file"] = _categorical(names.take(order))
    data["line"] = lines[order]
    declared = set(data)
    for name in sorted({name for entry in files for name in entry.columns} - declared):
        data[name] = _categorical(_concatenate(files, name).take(order))
    return pd.DataFrame(data, copy=False)


def _concatenate(files: Sequence[ReadRows], name: str) -> Coded:
    return concatenate([entry.columns.get(name) or constant_column(len(entry.lines)) for entry in files])


def _typed(values: Sequence[Any], dtype: str) -> Any:
    if dtype == "object":
        held = np.empty(len(values), dtype=object)
        held[:] = values
        return held
    if dtype == "float64":
        return np.array([np.nan if value is None else value for value in values], dtype=np.float64)
    if dtype == "int64":
        return np.array([0 if value is None else value for value in values], dtype=np.int64)
    return np.array(values, dtype="datetime64[us]")


def _categorical(column: Coded) -> "pd.Categorical":
    """A column of words; its categories are those that occur, in the order in which `groupby` lists text."""
    import pandas as pd

    words = sorted(set(column.held()) - {None})
    places = {word: place for place, word in enumerate(words)}
    codes = np.array([places.get(value, -1) for value in column.values], dtype=np.int32)
    return pd.Categorical.from_codes(codes[column.codes], categories=pd.Index(words, dtype="str"))


def _one_spelling(names: Coded) -> Coded:
    """Give names that differ in case alone the spelling of the first: `Mill Reach` and `mill reach`."""
    folded: dict[str, list[int]] = {}
    for code, name in enumerate(names.values):
        if name is not None:
            folded.setdefault(name.casefold(), []).append(code)
    several = [codes for codes in folded.values() if len(codes) > 1]
    if not several:
        return names
    first_row = np.full(len(names.values), len(names.codes), dtype=np.int64)
    first_row[names.codes[::-1]] = np.arange(len(names.codes))[::-1]
    spelt = list(names.values)
    for codes in several:
        first = min(codes, key=lambda code: int(first_row[code]))
        for code in codes:
            spelt[code] = names.values[first]
    return Coded(names.codes, spelt)


def _dtype(column: Column) -> str:
    if column.kind == "date":
        return "datetime64[us]"
    if column.kind == "count":
        return "int64" if column.default is not None or column.needed else "float64"
    if column.kind in _NUMBERS:
        return "float64"
    return "object" if column.kind == "tags" else "category"
