"""The same rows in a second file, such as a copy, or a monthly file beside a cumulative one.

Within one file equal rows are meant (two equal castings). Across files of one log, a row that an
earlier file (by name) already holds is a repeat, as often as that file holds it: two equal rows there
and three here make one new row. Rows are compared by what they say, not by how it is written.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from benchwater.read.coded import Coded, Codes, Flags, Rows, empty_column, grouped, joined, merged
from benchwater.read.outcome import Repeat
from benchwater.words import runs


@dataclass(frozen=True, slots=True, kw_only=True)
class FileRows:
    """The usable rows of one file."""

    file: str
    log: str
    columns: Mapping[str, Coded]
    lines: Rows

    def take(self, kept: Flags) -> "FileRows":
        """Those of the rows that are kept."""
        if kept.all():
            return self
        columns = {name: column.take(kept) for name, column in self.columns.items()}
        return FileRows(file=self.file, log=self.log, columns=columns, lines=self.lines[kept])


@dataclass(frozen=True, slots=True, kw_only=True)
class Unique:
    """By file, which rows are no repeats; and what was taken as a repeat."""

    kept: Mapping[str, Flags]
    repeats: tuple[Repeat, ...]


def take_repeats(files: Sequence[FileRows], keep: Sequence[str] = ()) -> Unique:
    """Take out the rows that an earlier file holds. `keep` names files whose rows are all meant."""
    kept: dict[str, Flags] = {}
    repeats: list[Repeat] = []
    for log in dict.fromkeys(entry.log for entry in files):
        of_log = sorted((entry for entry in files if entry.log == log), key=lambda entry: entry.file)
        for entry, same in zip(of_log, _repeated(of_log, keep), strict=True):
            kept[entry.file] = np.ones(len(entry.lines), dtype=bool)
            for first, rows in sorted(same.items()):
                kept[entry.file][rows] = False
                lines = entry.lines[rows].tolist()
                repeats.append(Repeat(file=entry.file, lines=runs(lines), rows=len(lines), first_in=first))
    return Unique(kept=kept, repeats=tuple(sorted(repeats, key=lambda repeat: repeat.file)))


def _repeated(files: Sequence[FileRows], keep: Sequence[str]) -> list[dict[str, Rows]]:
    """For each file, its rows that are repeats, by the file that holds them first."""
    found: list[dict[str, Rows]] = []
    rows_of, same_of, count = _rows_to_compare(files)
    held = np.zeros(count, dtype=np.int64)
    first_in = np.full(count, -1, dtype=np.int64)
    for number, (entry, rows, same) in enumerate(zip(files, rows_of, same_of, strict=True)):
        meant = "*" in keep or entry.file in keep
        keys, counts = np.unique(same, return_counts=True)
        again = np.zeros(len(rows), dtype=bool) if meant else _nth(same) <= held[same]
        new = np.unique(same[~again])
        repeats_of = first_in[same[again]]
        found.append(
            {files[first].file: rows[again][repeats_of == first] for first in np.unique(repeats_of).tolist()}
        )
        first_in[new] = np.where(first_in[new] < 0, number, first_in[new])
        held[keys] = held[keys] + counts if meant else np.maximum(held[keys], counts)
    return found


def _rows_to_compare(files: Sequence[FileRows]) -> tuple[list[Rows], list[Codes], int]:
    """For each file, the rows that another may hold, and a number that equal rows share; how many numbers.

    Rows of a day that one file alone tells of have no equal.
    """
    ends = np.cumsum([len(entry.lines) for entry in files])
    all_rows = np.arange(ends[-1], dtype=np.int64)
    if len(files) == 1:
        return [all_rows[:0]], [np.zeros(0, dtype=np.int32)], 0
    of_file = np.repeat(np.arange(len(files), dtype=np.int32), [len(entry.lines) for entry in files])
    names = list(dict.fromkeys(name for entry in files for name in entry.columns))
    days = _said(files, "date")
    pairs = grouped([days, Coded(of_file, range(len(files)))], len(all_rows)).first
    told_by = np.bincount(days.codes[pairs], minlength=len(days.values))
    rows = all_rows[told_by[days.codes] > 1]
    same = grouped([_said(files, name).take(rows) for name in names], len(rows))
    starts = np.concatenate([[0], ends[:-1]])
    cuts = [slice(*np.searchsorted(rows, edges)) for edges in zip(starts, ends, strict=True)]
    return (
        [rows[cut] - start for cut, start in zip(cuts, starts, strict=True)],
        [same.of_row[cut] for cut in cuts],
        len(same.first),
    )


def _said(files: Sequence[FileRows], name: str) -> Coded:
    """One column of all files, nothing being said by an empty cell as by a column that is not there."""
    column = joined([entry.columns.get(name) or empty_column(len(entry.lines)) for entry in files])
    return merged(column, lambda value: None if value == "" else value)


def _nth(keys: Codes) -> Rows:
    """For each row the how-manieth of its key it is, from 1."""
    order = np.argsort(keys, kind="stable")
    in_order = keys[order]
    starts = np.flatnonzero(np.concatenate([[True], in_order[1:] != in_order[:-1]])) if len(keys) else order
    nth = np.empty(len(keys), dtype=np.int64)
    sizes = np.diff(np.append(starts, len(keys)))
    nth[order] = np.arange(len(keys)) - np.repeat(starts, sizes) + 1
    return nth
