"""From the rows of files to one table a log kind, without the rows that an earlier file holds.

Within one file equal rows are meant (two equal castings). Across files of one log, a row that an
earlier file (by name) already holds is a repeat, as often as that file holds it: two equal rows there
and three here make one new row. Rows are compared by their values, not by how these are written.
"""

from collections import defaultdict
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from benchwater.plugin.logs import Column, LogKind
from benchwater.read.coded import (
    Coded,
    Codes,
    Indices,
    Mask,
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
    read: Sequence[ReadRows], files: Sequence[str], keep: Sequence[str] = ()
) -> tuple[list[ReadRows], tuple[Repeat, ...]]:
    """Return the rows without those that an earlier file holds, and an account of these.

    `files` names the file of each part. `keep` names files whose rows are all meant, `*` is all.
    """
    kept = [np.ones(len(entry.lines), dtype=bool) for entry in read]
    repeats: list[Repeat] = []
    for log in dict.fromkeys(entry.log for entry in read):
        of_log = [number for number, entry in enumerate(read) if entry.log == log]
        entries = [read[number] for number in of_log]
        is_new, of_files = _repeated(entries, files, keep)
        repeats += of_files
        ends = np.cumsum([len(entry.lines) for entry in entries])
        for number, of_entry in zip(of_log, np.split(is_new, ends[:-1]), strict=True):
            kept[number] = of_entry
    unique = [entry.take(rows) for entry, rows in zip(read, kept, strict=True)]
    return unique, tuple(sorted(repeats, key=lambda repeat: repeat.file))


def _repeated(
    entries: Sequence[ReadRows], files: Sequence[str], keep: Sequence[str]
) -> tuple[Mask, list[Repeat]]:
    """A mask of the rows of one log that are no repeats, and an account of those that are.

    Only days with rows of several parts are compared.
    """
    parts, lines = _parts_and_lines(entries)
    order, is_new, repeats = _order(files), np.ones(len(lines), dtype=bool), list[Repeat]()
    days = _compared(entries, "date")
    rows = np.flatnonzero(_held_by_several(days.codes, parts)[days.codes])
    if not len(rows):
        return is_new, repeats
    rows = rows[np.argsort(order[parts[rows]], kind="stable")]
    names = dict.fromkeys(name for entry in entries for name in entry.columns)
    same = group_rows([_compared(entries, name).take(rows) for name in names], len(rows)).of_row
    several = _held_by_several(same, parts[rows])[same]
    rows, same = rows[several], same[several]
    pairs = group_rows([Coded(same, range(len(rows))), Coded(parts[rows], files)], len(rows))
    held, first_in, before = dict[int, int](), dict[int, int](), np.zeros(len(pairs.first), dtype=np.int64)
    counts = np.bincount(pairs.of_row).tolist()
    for pair, (group, part) in enumerate(
        zip(same[pairs.first].tolist(), parts[rows][pairs.first].tolist(), strict=True)
    ):
        is_meant = "*" in keep or files[part] in keep
        earlier = held.get(group, 0)
        before[pair] = 0 if is_meant else earlier
        held[group] = earlier + counts[pair] if is_meant else max(earlier, counts[pair])
        first_in.setdefault(group, part)
    again = _occurrence(pairs.of_row) <= before[pairs.of_row]
    is_new[rows[again]] = False
    found = defaultdict[tuple[int, str], list[int]](list)
    for row, group in zip(rows[again].tolist(), same[again].tolist(), strict=True):
        found[int(parts[row]), files[first_in[group]]].append(int(lines[row]))
    for (part, first), its_lines in sorted(found.items(), key=lambda each: (order[each[0][0]], each[0][1])):
        repeats.append(Repeat(file=files[part], lines=runs(its_lines), rows=len(its_lines), first_in=first))
    return is_new, repeats


def _parts_and_lines(entries: Sequence[ReadRows]) -> tuple[Codes, Indices]:
    parts = [np.zeros(0, dtype=np.int32), *(entry.parts for entry in entries)]
    lines = [np.zeros(0, dtype=np.int64), *(entry.lines for entry in entries)]
    return np.concatenate(parts), np.concatenate(lines)


def _order(files: Sequence[str]) -> Indices:
    """The place of each part in the order of files, and of their parts within one."""
    return np.argsort(np.array(sorted(range(len(files)), key=files.__getitem__), dtype=np.int64))


def _held_by_several(groups: Codes, parts: Codes) -> Mask:
    """For each group of rows, whether several parts hold any."""
    any_part = np.zeros(groups.max(initial=-1) + 1, dtype=np.int32)
    any_part[groups] = parts
    are_several = np.zeros(len(any_part), dtype=bool)
    are_several[groups[parts != any_part[groups]]] = True
    return are_several


def _compared(entries: Sequence[ReadRows], name: str) -> Coded:
    """One column of all rows; an empty cell equals one of a column that is not there."""
    return map_values(_concatenate(entries, name), lambda value: None if value == "" else value)


def _occurrence(keys: Codes) -> Indices:
    """How often each row's key occurred up to that row, from 1."""
    order = np.argsort(keys, kind="stable")
    in_order = keys[order]
    starts = np.flatnonzero(np.concatenate([[True], in_order[1:] != in_order[:-1]])) if len(keys) else order
    occurrence = np.empty(len(keys), dtype=np.int64)
    sizes = np.diff(np.append(starts, len(keys)))
    occurrence[order] = np.arange(len(keys)) - np.repeat(starts, sizes) + 1
    return occurrence


def build_tables(
    kinds: Sequence[LogKind], read: Sequence[ReadRows], files: Sequence[str]
) -> "dict[str, pd.DataFrame]":
    """One table for each log kind, empty ones too, in order of date, file and line; see `Season.log`.

    `files` names the file of each part.
    """
    return {
        kind.name: _table(kind, [each for each in read if each.log == kind.name], files) for kind in kinds
    }


def _table(kind: LogKind, entries: Sequence[ReadRows], files: Sequence[str]) -> "pd.DataFrame":
    import pandas as pd

    entries = [entry for entry in entries if len(entry.lines)]
    parts, lines = _parts_and_lines(entries)
    days = _concatenate(entries, "date")
    order = np.lexsort((_order(files)[parts], _typed(days.values, "datetime64[us]")[days.codes]))
    data: dict[str, Any] = {}
    for column in kind.columns:
        values = _concatenate(entries, column.frame_name).take(order)
        if column.kind == "name" and column.refers_to is None:
            values = _one_spelling(values)
        dtype = _dtype(column)
        is_words = dtype == "category"
        data[column.frame_name] = (
            _categorical(values) if is_words else _typed(values.values, dtype).take(values.codes)
        )
    data["file"] = _categorical(Coded(parts[order], files))
    data["line"] = lines[order]
    declared = set(data)
    for name in sorted({name for entry in entries for name in entry.columns} - declared):
        data[name] = _categorical(_concatenate(entries, name).take(order))
    return pd.DataFrame(data, copy=False)


def _concatenate(entries: Sequence[ReadRows], name: str) -> Coded:
    return concatenate([entry.columns.get(name) or constant_column(len(entry.lines)) for entry in entries])


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
