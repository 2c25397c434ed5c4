"""Prepare the records of a recognised log: fill cells that mean `same as above`, split finished baits off."""

import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from benchwater.plugin.bench import Bench
from benchwater.plugin.logs import Column, LogKind
from benchwater.read.coded import Coded
from benchwater.read.headers import Header, Heading
from benchwater.read.log_parts import LogPart
from benchwater.read.names import find_name, same_spelling
from benchwater.read.outcome import marks_totals
from benchwater.read.records import SMALL, Body, Record, records_below
from benchwater.read.rows import record_problem
from benchwater.words import counted

_DITTO = re.compile(r"[\"“”″〃]|''|-\s?[\"“”″]\s?-|ditto|same(?: as above)?|do\.|idem", re.IGNORECASE)
_FEW = 0.05


def records_by_themselves(part: LogPart, kinds: Sequence[LogKind], bench: Bench) -> list[Record] | None:
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


class Filled(NamedTuple):
    """The records with what stands above in such cells, what was taken so, and a question about the rest."""

    body: Body
    read_as: tuple[tuple[str, str], ...] = ()
    question: str = ""


def fill_same_as_above(header: Header, body: Body, file: str, *, blanks: bool) -> Filled:
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
    return Filled(filled, tuple(said.items()), question)


def _filled(column: Coded, empty: np.ndarray) -> Coded:
    """The column with the value above in the rows named; the first row keeps its own."""
    rows = np.where(empty, 0, np.arange(len(empty)))
    return column.take(np.maximum.accumulate(rows))


def without_finished_baits(
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
