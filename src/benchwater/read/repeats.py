"""The same rows in a second file, such as a copy, or a monthly file beside a cumulative one.

Within one file equal rows are meant (two equal castings). Across files of one log, a row that an
earlier file (by name) already holds is a repeat, as often as that file holds it: two equal rows there
and three here make one new row. Rows are compared by what they say, not by how it is written.
"""

from collections import Counter
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass

from benchwater.read.outcome import Repeat
from benchwater.read.rows import Row


@dataclass(frozen=True, slots=True, kw_only=True)
class FileRows:
    """The usable rows of one file."""

    file: str
    log: str
    rows: tuple[Row, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Unique:
    """By file, the rows that are no repeats; and what was taken as a repeat."""

    rows: Mapping[str, tuple[Row, ...]]
    repeats: tuple[Repeat, ...]


def take_repeats(files: Sequence[FileRows], keep: Sequence[str] = ()) -> Unique:
    """Take out the rows that an earlier file holds. `keep` names files whose rows are all meant."""
    most: dict[str, Counter[Hashable]] = {}
    first_in: dict[tuple[str, Hashable], str] = {}
    unique: dict[str, tuple[Row, ...]] = {}
    repeats: list[Repeat] = []
    for entry in sorted(files, key=lambda item: item.file):
        held = most.setdefault(entry.log, Counter())
        meant = "*" in keep or entry.file in keep
        here: Counter[Hashable] = Counter()
        kept: list[Row] = []
        repeated: dict[str, list[int]] = {}
        for row in entry.rows:
            key = _key(row)
            here[key] += 1
            if not meant and here[key] <= held[key]:
                repeated.setdefault(first_in[entry.log, key], []).append(row.line)
            else:
                kept.append(row)
                first_in.setdefault((entry.log, key), entry.file)
        for key, count in here.items():
            held[key] = held[key] + count if meant else max(held[key], count)
        unique[entry.file] = tuple(kept)
        repeats += [
            Repeat(file=entry.file, lines=runs(lines), rows=len(lines), first_in=first)
            for first, lines in sorted(repeated.items())
        ]
    return Unique(rows=unique, repeats=tuple(repeats))


def runs(lines: Sequence[int]) -> str:
    """Line numbers as runs: `2-14, 17`."""
    parts: list[list[int]] = []
    for line in lines:
        if parts and line == parts[-1][-1] + 1:
            parts[-1][1:] = [line]
        else:
            parts.append([line])
    return ", ".join("-".join(str(end) for end in part) for part in parts)


def _key(row: Row) -> Hashable:
    return tuple(
        sorted((name, value) for name, value in row.values.items() if value is not None and value != "")
    )
