"""Reads every log below a maker's folder, and accounts for every file and row."""

from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import accumulate, chain
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple, TypeVar

import numpy as np

from benchwater.plugin.bench import Bench
from benchwater.plugin.logs import LogKind
from benchwater.read.dates import DateHints, date_hints
from benchwater.read.headers import Header
from benchwater.read.log_parts import LogPart, log_parts
from benchwater.read.outcome import FileError, NotRead, ReadAs, Reading, SetAside, Source, UnreadColumn
from benchwater.read.prepare import fill_same_as_above, records_by_themselves, without_finished_baits
from benchwater.read.records import Record, body_of
from benchwater.read.rows import Origin, ReadRows, check_heading_units, read_rows
from benchwater.read.tables import build_tables, take_repeats
from benchwater.read.vocabulary import everyday_key
from benchwater.words import counted, listed

if TYPE_CHECKING:
    import pandas as pd

_FAR_AHEAD = np.timedelta64(400, "D")
_MOST_FAR_AHEAD = 3
_MOST_WAITING = 5_000


class _Waiting(NamedTuple):
    """A small part that waits to be read: its number, file, records and what its days say together."""

    number: int
    file: str
    records: Sequence[Record]
    hints: DateHints


def _read_together(waiting: Sequence[_Waiting], header: Header, bench: Bench) -> dict[int, ReadRows]:
    """Read parts of one heading laid end to end; each by itself where the log's own check fails on a row.

    Returns the rows by the number of their first part.
    """
    ends = list(accumulate((part.records[-1].line if part.records else 0 for part in waiting), initial=0))
    records = [
        record._replace(line=record.line + start)
        for part, start in zip(waiting, ends, strict=False)
        for record in part.records
    ]
    origin = Origin([part.number for part in waiting], [part.file for part in waiting], ends[:-1])
    hints = [part.hints for part in waiting]
    together = read_rows(header, body_of(records, len(header.headings)), bench, origin, hints)
    if together.check_problems and len(waiting) > 1:
        return {part.number: _read_together([part], header, bench)[part.number] for part in waiting}
    return {waiting[0].number: together}


class _Reader:
    """Reads part by part; small ones of one heading wait until they are read together."""

    def __init__(self, kinds: Sequence[LogKind], bench: Bench, same_as_above: Sequence[str]) -> None:
        self._kinds, self._bench, self._same_as_above = kinds, bench, same_as_above
        self._waiting: dict[object, tuple[Header, list[_Waiting]]] = {}
        self.parts: list[LogPart] = []
        self.read: dict[int, ReadRows] = {}
        self.questions: list[str] = []

    def add(self, found: LogPart) -> None:
        """Read a part, or let it wait for others. FileError where it is no honest log."""
        records = records_by_themselves(found, self._kinds, self._bench)
        if records is not None:
            self._wait(found, records)
            return
        blanks = found.file in self._same_as_above or "*" in self._same_as_above
        filled = fill_same_as_above(found.header, found.body(), found.file, blanks=blanks)
        whole = replace(found.without_records(), read_as=found.read_as + filled.read_as)
        parts = list(without_finished_baits(whole, filled.body, self._kinds, self._bench))
        self.read |= {
            number: read_rows(part.header, body, self._bench, Origin([number], [part.file], [0]))
            for number, (part, body) in enumerate(parts, start=len(self.parts))
        }
        self.parts += [part for part, _ in parts]
        if filled.question:
            self.questions.append(filled.question)

    def _wait(self, part: LogPart, records: Sequence[Record]) -> None:
        header, at = part.header, part.header.date_position
        days = [record.cells[at].strip() for record in records if at is not None and at < len(record.cells)]
        hints = date_hints(dict.fromkeys(days), self._bench.date_order, part.file)
        key = header.key, replace(hints, said=())
        if key not in self._waiting:
            check_heading_units(header)
        of_heading, waiting = self._waiting.setdefault(key, (header, []))
        waiting.append(_Waiting(len(self.parts), part.file, records, hints))
        self.parts.append(part.without_records())
        if len(waiting) >= _MOST_WAITING:
            self.read |= _read_together(waiting, of_heading, self._bench)
            del self._waiting[key]

    def finish(self) -> None:
        """Read what waits."""
        for header, waiting in self._waiting.values():
            self.read |= _read_together(waiting, header, self._bench)


def read_folder(
    folder: Path,
    kinds: Sequence[LogKind],
    bench: Bench,
    *,
    keep_repeats: Sequence[str] = (),
    same_as_above: Sequence[str] = (),
    progress: Callable[[str], None] = lambda file: None,
) -> Reading:
    """Read every log below the folder. Never raises for what a file holds: each is listed with its reason.

    `keep_repeats` names files whose rows are all meant, though another file holds the same ones; `*` is
    every file. `same_as_above` names files where a blank day or name is that of the row above.
    """
    reader = _Reader(kinds, bench, same_as_above)
    not_read: list[NotRead] = []
    for found in log_parts(folder, kinds, bench, progress=progress):
        if isinstance(found, NotRead):
            not_read.append(found)
            continue
        try:
            reader.add(found)
        except FileError as error:
            not_read.append(error.not_read(found.file))
    reader.finish()
    parts, read = reader.parts, [reader.read[first] for first in sorted(reader.read)]
    files = [part.file for part in parts]
    unique, repeats = take_repeats(read, files, keep_repeats)
    tables = build_tables(kinds, unique, files)
    seen, used = (_rows_of_parts(entries, len(parts)) for entries in (read, unique))
    set_aside = _by_part([entry.set_aside for entry in read])
    cells = _by_part([_in_rows(entry) for entry in unique])
    taken = _by_part([entry.taken for entry in read])
    check_problems = _by_part([entry.check_problems for entry in read])
    return Reading(
        tables=tables,
        sources=tuple(
            Source(
                file=part.file,
                path=part.path,
                sha256=part.sha256,
                log=part.log,
                rows=seen[number] + len(set_aside.get(number, ())),
                used=used[number],
                repeated=seen[number] - used[number],
                set_aside=len(set_aside.get(number, ())),
                cells_set_aside=len(cells.get(number, ())),
                dialect=part.dialect,
            )
            for number, part in enumerate(parts)
        ),
        set_aside=tuple(chain.from_iterable(set_aside.values())),
        cells_set_aside=tuple(chain.from_iterable(cells.values())),
        repeats=repeats,
        not_read=tuple(not_read),
        fallbacks=tuple(sorted(set().union(*(entry.fallbacks for entry in read)))),
        check_problems=tuple(chain.from_iterable(check_problems.values())),
        read_as=tuple(
            ReadAs(file=part.file, written=written, read_as=taken_for)
            for number, part in enumerate(parts)
            for written, taken_for in dict.fromkeys(
                (*part.read_as, *part.header.read_as, *taken.get(number, ()))
            )
        ),
        questions=(
            *dict.fromkeys(reader.questions),
            *_far_ahead(tables),
            *_short_names(kinds, tables),
        ),
        unread_columns=tuple(
            dict.fromkeys(
                UnreadColumn(file=part.file, column=each.written, may_be=each.may_be, could_be=each.could_be)
                for part in parts
                for each in part.header.headings
                if each.column is None and each.text
            )
        ),
    )


_Entry = TypeVar("_Entry")


def _by_part(found: Sequence[Mapping[int, Sequence[_Entry]]]) -> dict[int, Sequence[_Entry]]:
    """What was found in each part, in the order of the parts."""
    return dict(sorted(chain.from_iterable(each.items() for each in found), key=lambda each: each[0]))


def _rows_of_parts(read: Sequence[ReadRows], parts: int) -> list[int]:
    """How many usable rows each part has."""
    of_rows = [np.zeros(0, dtype=np.int32), *(entry.parts for entry in read)]
    return [int(rows) for rows in np.bincount(np.concatenate(of_rows), minlength=parts)]


def _in_rows(entry: ReadRows) -> dict[int, list[SetAside]]:
    """The cells set aside in the rows that are left."""
    cells = [(part, cell) for part, its_cells in entry.cells_set_aside.items() for cell in its_cells]
    width = max([0, *(cell.line for _, cell in cells), int(entry.lines.max(initial=0))]) + 1
    keys = np.array([part * width + cell.line for part, cell in cells], dtype=np.int64)
    left = np.isin(keys, entry.parts.astype(np.int64) * width + entry.lines) if cells else keys
    found = defaultdict[int, list[SetAside]](list)
    for (part, cell), is_left in zip(cells, left.tolist(), strict=True):
        if is_left:
            found[part].append(cell)
    return found


def _far_ahead(tables: Mapping[str, "pd.DataFrame"]) -> Iterator[str]:
    """Ask about a few rows dated more than a year after all others."""
    dates = [table["date"].to_numpy("datetime64[D]") for table in tables.values()]
    days = np.sort(np.concatenate(dates)) if dates else np.empty(0, "datetime64[D]")
    far = np.flatnonzero(np.diff(days) > _FAR_AHEAD)
    if not far.size or len(days) - far[-1] - 1 > _MOST_FAR_AHEAD:
        return
    before, first = days[far[-1]], days[far[-1] + 1]
    for table in tables.values():
        for row in table[table["date"] >= first].itertuples():
            yield (
                f"{row.file}, line {row.line} is dated {row.date:%Y-%m-%d}, long after every other row "
                f"(the latest of those is of {before}): is the year right?"
            )


def _short_names(kinds: Sequence[LogKind], tables: Mapping[str, "pd.DataFrame"]) -> Iterator[str]:
    """Ask about a name that others of the log hold with a word more: `perch` beside `yellow perch`."""
    for kind in kinds:
        for column in kind.columns:
            if column.kind != "name" or not column.word_phrases:
                continue
            rows = tables[kind.name][column.frame_name].dropna().astype("str").value_counts().sort_index()
            words = {name: set(everyday_key(str(name)).split()) for name in rows.index}
            for name, own in words.items():
                longer = [each for each in words if own < words[each]]
                if not longer:
                    continue
                count, others = int(rows[name]), listed([f"`{each}`" for each in longer])
                same = f'put `"{name}" = "{longer[0]}"` under [words.values] in bench.toml'
                yield (
                    f"{counted(count, 'row')} of the {kind.name} log {'names' if count == 1 else 'name'} the "
                    f"{column.name} `{name}`, and {int(rows[longer].sum())} {others}: is it the same? Then "
                    f"{same if len(longer) == 1 else 'write which'}"
                )
