"""Tells from the cells below a heading which column of a log they belong to."""

import re
from collections.abc import Iterable, Sequence

from benchwater.plugin.bench import Bench
from benchwater.plugin.logs import Column
from benchwater.read.cells import CellContext, read_amount, read_cell, vocabulary, without_mark
from benchwater.read.dates import is_a_day
from benchwater.read.names import find_name, find_place, same_spelling
from benchwater.read.outcome import CellError
from benchwater.units import QuantityError, is_quantity, read_number, read_quantity

MOST_SAMPLED = 60
_ENOUGH = 0.8
_PICTURE = re.compile(r"\.(?:jpe?g|png|heic|webp|gif)\b", re.IGNORECASE)
_SURE, _POSSIBLE, _NO = 2, 1, 0


def columns_of(cells: Sequence[str], columns: Iterable[Column], bench: Bench) -> list[Column]:
    """The columns that nearly all of the cells are surely of; where there are none, those they may be of."""
    distinct, columns = _distinct(cells), list(columns)
    for least in (_SURE, _POSSIBLE) if distinct else ():
        found = [column for column in columns if _nearly_all(distinct, column, bench, least)]
        if found:
            return found
    return []


def could_be_of(cells: Sequence[str], columns: Sequence[Column], bench: Bench) -> bool:
    """Whether the cells could be of any of the columns, numbers without a unit of a mass too."""
    said = [cell for cell in cells if cell]
    numbers = sum(_is_number(without_mark(cell)) for cell in said)
    may_be_mass = any(column.kind == "mass" for column in columns)
    return bool(columns_of(said, columns, bench)) or (may_be_mass and 0 < numbers >= _ENOUGH * len(said))


def surely_of(cells: Sequence[str], columns: Iterable[Column], bench: Bench) -> list[Column]:
    """The columns that nearly all of at least two different cells are surely of."""
    distinct = _distinct(cells)
    return [each for each in columns if len(distinct) > 1 and _nearly_all(distinct, each, bench, _SURE)]


def none_is_of(cells: Sequence[str], column: Column, bench: Bench) -> bool:
    """Whether there are cells, and not one can be read as of the column."""
    distinct = _distinct(cells)
    return bool(distinct) and all(_likeness(cell, column, bench) == _NO for cell in distinct)


def hold_places(cells: Sequence[str], bench: Bench) -> bool:
    """Whether most of the cells name a mold and its cavity together."""
    distinct = _distinct(cells)
    return sum(find_place(cell, bench) is not None for cell in distinct) > len(distinct) / 2


def _distinct(cells: Sequence[str]) -> list[str]:
    return list(dict.fromkeys(filter(None, cells)))


def _nearly_all(cells: Sequence[str], column: Column, bench: Bench, least: int) -> bool:
    return sum(_likeness(cell, column, bench) >= least for cell in cells) >= _ENOUGH * len(cells)


def _likeness(text: str, column: Column, bench: Bench) -> int:
    kind, number = column.kind, without_mark(text)
    if column.refers_to == "cavity":
        is_one = any(
            same_spelling(text) == same_spelling(name)
            for mold in bench.molds.values()
            for name in mold.cavities
        )
        return _SURE if is_one or find_place(text, bench) else _POSSIBLE if not bench.molds else _NO
    if column.refers_to is not None:
        known = {"mold": bench.molds, "item": bench.items, "build": bench.builds}[column.refers_to]
        found = find_name(text, column.refers_to, bench) or (
            (column.refers_to == "mold" and find_place(text, bench))
            or (column.name == "item" and find_name(text, "build", bench))
        )
        return _SURE if found else _NO if known or _is_number(text) else _POSSIBLE
    if kind == "date":
        return _SURE if is_a_day(text) else _NO
    if kind == "word":
        return _SURE if vocabulary(column).meanings(text, whole=column.decides_row) else _NO
    if kind == "name" and column.word_phrases and vocabulary(column).meanings(text, whole=True):
        return _SURE
    if kind == "photo":
        return _SURE if _PICTURE.search(text) else _NO
    if kind == "name" and not column.word_phrases:
        return _SURE if _is_number(text) else _POSSIBLE
    if kind in {"name", "text", "tags", "photo"}:
        return _NO if _is_number(text) else _POSSIBLE
    context = CellContext(bench=bench, decimal_comma=False, bare_unit=None)
    if is_quantity(kind):
        try:
            read_quantity(number, kind)
        except QuantityError:
            return _POSSIBLE if _is_number(number) and kind != "mass" else _NO
        return _SURE
    if kind in {"amount", "spread"}:
        return _POSSIBLE if any(_is_amount(text, item, context) for item in bench.items.values()) else _NO
    try:
        read_cell(text, column, context)
    except CellError:
        return _NO
    if kind == "money" and _is_number(text):
        return _POSSIBLE
    return _SURE if kind != "count" or _is_number(number) else _POSSIBLE


def _is_amount(text: str, item: object, context: CellContext) -> bool:
    try:
        read_amount(text, item, context, whole=False)  # type: ignore[arg-type]
    except CellError:
        return False
    return True


def _is_number(text: str) -> bool:
    try:
        read_number(text)
    except QuantityError:
        return False
    return True
