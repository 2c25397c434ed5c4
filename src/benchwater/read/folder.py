"""Reads every log below a maker's folder, and accounts for every file and row."""

import re
from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import lru_cache
from itertools import accumulate, chain
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple, TypeVar

import numpy as np

from benchwater.plugin.bench import Bench
from benchwater.plugin.logs import Column, LogKind
from benchwater.read.coded import Coded
from benchwater.read.dates import DateHints, date_hints
from benchwater.read.headers import Header, Heading
from benchwater.read.log_parts import LogPart, log_parts
from benchwater.read.names import find_name, same_spelling
from benchwater.read.outcome import (
    FileError,
    NotRead,
    ReadAs,
    Reading,
    SetAside,
    Source,
    UnreadColumn,
    marks_totals,
)
from benchwater.read.records import SMALL, Body, Record, body_of, records_below
from benchwater.read.rows import Origin, ReadRows, check_heading_units, read_rows, record_problem
from benchwater.read.tables import build_tables, take_repeats
from benchwater.read.vocabulary import everyday_key
from benchwater.words import counted, listed

if TYPE_CHECKING:
    import pandas as pd

_FAR_AHEAD = np.timedelta64(400, "D")
_MOST_FAR_AHEAD = 3
_MOST_WAITING = 5_000
_DITTO = re.compile(r"[\"“”″〃]|''|-\s?[\"“”″]\s?-|ditto|same(?: as above)?|do\.|idem", re.IGNORECASE)
_FEW = 0.05


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
        records = _records_by_themselves(found, self._kinds, self._bench)
        if records is not None:
            self._wait(found, records)
            return
        blanks = found.file in self._same_as_above or "*" in self._same_as_above
        filled = _fill_same_as_above(found.header, found.body(), found.file, blanks=blanks)
        whole = replace(found.without_records(), read_as=found.read_as + filled.read_as)
        parts = list(_without_finished_baits(whole, filled.body, self._kinds, self._bench))
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


def _records_by_themselves(part: LogPart, kinds: Sequence[LogKind], bench: Bench) -> list[Record] | None:
    """The records of a small part if each is a row that stands for itself, else None."""
    header = part.header
    if part.records is not None or len(header.below) >= SMALL:
        return None
    records = records_below(header.below, header.separator, header.first_line)
    named = [h for h in header.headings if h.column is not None]
    can_repeat = [h.position for h in named if h.column and _can_repeat(h.column)]
    is_split = any(kind.part_of == part.log for kind in kinds)
    items = [h.position for h in named if is_split and h.column and h.column.refers_to == "item"]
    for record in records:
        cells = [cell.strip() for cell in record.cells]
        if (
            record_problem(record, header) is not None
            or any(map(_is_ditto, cells))
            or not all(at < len(cells) and cells[at] for at in can_repeat)
            or _builds([cells[at] for at in items if at < len(cells)], bench)
        ):
            return None
    return records


def _can_repeat(column: Column) -> bool:
    return column.needed and column.kind in {"date", "name"}


@lru_cache(maxsize=20_000)
def _is_ditto(text: str) -> bool:
    return _DITTO.fullmatch(text) is not None


class _Filled(NamedTuple):
    """The records with what stands above in such cells, what was taken so, and a question about the rest."""

    body: Body
    read_as: tuple[tuple[str, str], ...] = ()
    question: str = ""


def _fill_same_as_above(header: Header, body: Body, file: str, *, blanks: bool) -> _Filled:
    """Fill ditto marks with the cell above; blank days and names too, if `blanks`, else ask about them."""
    columns, said, question = list(body.columns), dict[str, str](), ""
    has_cells = None
    for heading in header.headings:
        column = columns[heading.position]
        if heading.column is None:
            continue
        ditto = {text for text in column.values if _is_ditto(text)}
        if ditto:
            columns[heading.position] = column = _filled(column, column.mask(ditto.__contains__))
            said |= dict.fromkeys(sorted(ditto), "the cell above")
        if not _can_repeat(heading.column) or "" not in column.values:
            continue
        if has_cells is None:
            has_cells = np.sum([each.mask(bool) for each in body.columns], axis=0) >= 2
            has_cells &= ~np.any([each.mask(marks_totals) for each in body.columns], axis=0)
        empty = column.mask(lambda text: text == "") & has_cells
        if len(empty) and not empty[0] and empty.any() and (~empty).sum() > _FEW * len(empty):
            if blanks:
                columns[heading.position] = _filled(column, empty)
                said[f"{heading.written} left blank"] = "the cell above"
            elif not question:
                rows = int(empty.sum())
                question = (
                    f"{counted(rows, 'row')} of {file} {'has' if rows == 1 else 'have'} no "
                    f'`{heading.written}`: the same as above? Then write `same_as_above = ["{file}"]` under '
                    "[logs] in bench.toml"
                )
    filled = Body(lines=body.lines, columns=tuple(columns), irregular=body.irregular) if said else body
    return _Filled(filled, tuple(said.items()), question)


def _filled(column: Coded, empty: np.ndarray) -> Coded:
    """The column with the value above in the rows named; the first row keeps its own."""
    rows = np.where(empty, 0, np.arange(len(empty)))
    return column.take(np.maximum.accumulate(rows))


def _without_finished_baits(
    part: LogPart, body: Body, kinds: Sequence[LogKind], bench: Bench
) -> Iterator[tuple[LogPart, Body]]:
    """Yield the log with its own records, and the part of it that holds those which name a build, if any."""
    kind = next((each for each in kinds if each.part_of == part.log), None)
    item = next((h for h in part.header.headings if h.column and h.column.refers_to == "item"), None)
    named = set() if kind is None or item is None else _builds(body.columns[item.position].values, bench)
    if kind is None or item is None or not named:
        yield part, body
        return
    of_builds = body.columns[item.position].mask(named.__contains__)
    items, baits = body.take(np.flatnonzero(~of_builds)), body.take(np.flatnonzero(of_builds))
    if len(items.lines):
        yield part, items
    if len(baits.lines):
        yield replace(part, header=_header_of(kind, part.header, baits)), baits


def _builds(texts: Sequence[str], bench: Bench) -> set[str]:
    """The texts that name a build; one spelt as both is an item, one spelt as neither whatever it is near."""
    found = set()
    for text in filter(None, texts):
        build, item = find_name(text, "build", bench), find_name(text, "item", bench)
        if build is not None and (
            item is None or (same_spelling(build) == same_spelling(text) != same_spelling(item))
        ):
            found.add(text)
    return found


def _header_of(kind: LogKind, header: Header, body: Body) -> Header:
    return replace(
        header,
        kind=kind,
        headings=tuple(_heading_of(kind, each, body) for each in header.headings),
        implied=tuple(each for each in header.implied if kind.column(each[0]) is not None),
    )


def _heading_of(kind: LogKind, heading: Heading, body: Body) -> Heading:
    """The heading as one of the part; one that says nothing there has no text."""
    if not body.columns[heading.position].mask(bool).any():
        return replace(heading, column=None, text="")
    if heading.column is None:
        return heading
    name = "build" if heading.column.refers_to == "item" else heading.column.name
    return replace(heading, column=kind.column(name))


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
