"""A table as it is printed: cells as text in the bench's units, numbers right-aligned, rows limited."""

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import NamedTuple

from benchwater.plugin.bench import Bench
from benchwater.plugin.section import Cell, Table, TableColumn
from benchwater.render.text import LONG_WORD, PIECE, iso, plain
from benchwater.units import DASH, figures, heading_unit, show, show_bare
from benchwater.words import counted, shorten

LONGEST_CELL = 240
_SHORT_TABLE = 10
_SIMILAR = 100
_DECIMALS = re.compile(r"[.](\d+)")

_PAGE_POINTS, _HALF_POINTS = 470, 226
_LETTER_EMS, _PHONE_EMS = 0.59, 21
_HALF_ROWS = 16


class _Setting(NamedTuple):
    """A density of a table: its name in the stylesheet, type size in points, space before a column in ems."""

    name: str
    points: float
    space_ems: float
    numbers_break: bool


_SETTINGS = (
    _Setting("roomy", 8.1, 1.6, False),
    _Setting("medium", 8.1, 0.9, False),
    _Setting("close", 7.0, 0.9, False),
    _Setting("dense", 6.6, 0.75, True),
)
_LAST_RESORT = "crammed"


@dataclass(frozen=True, slots=True)
class PrintedColumn:
    """One column: its heading, the unit where all cells share one, its cells, and its alignment.

    Every cell of an `unbroken` column stays on one line.
    """

    label: str
    unit: str
    cells: tuple[str, ...]
    numeric: bool
    unbroken: bool = False


@dataclass(frozen=True, slots=True)
class PrintedTable:
    """A table ready for the page; `more` says how many rows are left out and where they are.

    `setting` names its density. A `half` table is short and narrow enough to stand beside another on paper, a
    `narrow` one fits a phone.
    """

    title: str
    note: str
    columns: tuple[PrintedColumn, ...]
    more: str
    setting: str
    short: bool
    half: bool
    narrow: bool
    names_rows: bool

    @property
    def rows(self) -> tuple[tuple[str, ...], ...]:
        """Return the cells row by row."""
        return tuple(zip(*(column.cells for column in self.columns), strict=True))


def print_table(table: Table, bench: Bench, most_rows: int | None = None) -> PrintedTable:
    """Return the table in the bench's units, without hidden columns and rows beyond `print_rows`.

    On paper `most_rows` bounds them further, and no column of p-values is there: the HTML has them.
    """
    rows = table.rows[: table.print_rows]
    in_html = len(rows)
    rows = rows[:most_rows]
    on_paper = most_rows is not None
    places = [
        index
        for index, column in enumerate(table.columns)
        if not (column.hidden or (on_paper and column.unit == "p"))
    ]
    columns = tuple(_print_column(table, index, rows, bench) for index in places)
    half = _half_setting(columns) if len(rows) <= _HALF_ROWS else None
    setting = half or _setting(columns)
    numbers_whole = any(each.name == setting and not each.numbers_break for each in _SETTINGS)
    return PrintedTable(
        title=table.title,
        note=table.note,
        columns=tuple(
            replace(column, unbroken=half is not None or (column.numeric and numbers_whole))
            for column in columns
        ),
        more=_more(len(table.rows) - len(rows), "json" if in_html < len(table.rows) else "html"),
        setting=setting,
        short=len(rows) <= _SHORT_TABLE,
        half=half is not None,
        narrow=half is not None and _ems(columns, _SETTINGS[0]) <= _PHONE_EMS,
        names_rows=bool(columns) and not columns[0].numeric,
    )


def show_number(value: float | None, unit: str | None, bench: Bench, digits: int | None = None) -> str:
    """Return a number with its unit; one without unit has three significant digits, an integer all."""
    if unit is None:
        return _bare_number(value, digits)
    return bench.show(value, unit, digits)


def _more(left_out: int, kind: str) -> str:
    return f"And {counted(left_out, 'more row')} in season-report.{kind}." if left_out else ""


def _half_setting(columns: Sequence[PrintedColumn]) -> str | None:
    """Return the density at which the table fits half the width unbroken; None where none does."""
    return next(
        (each.name for each in _SETTINGS[:2] if _ems(columns, each) * each.points <= _HALF_POINTS), None
    )


def _ems(columns: Sequence[PrintedColumn], setting: _Setting) -> float:
    """Return about how wide the table is where nothing in it breaks."""
    letters = sum(_narrowest(column, numbers_break=False, words_break=False) for column in columns)
    return letters * _LETTER_EMS + setting.space_ems * max(0, len(columns) - 1)


def _setting(columns: Sequence[PrintedColumn]) -> str:
    """Return the widest density at which, by an estimate, no word breaks on the narrower paper."""
    for setting in _SETTINGS:
        letters = sum(_narrowest(column, setting.numbers_break) for column in columns)
        ems = letters * _LETTER_EMS + setting.space_ems * max(0, len(columns) - 1)
        if ems * setting.points <= _PAGE_POINTS:
            return setting.name
    return _LAST_RESORT


def _narrowest(column: PrintedColumn, numbers_break: bool, words_break: bool = True) -> int:
    """Return the letters of the longest part that stays on one line."""
    heading = max(len(word) for word in [*column.label.split(), column.unit])
    if not (numbers_break if column.numeric else words_break):
        return max([heading, *(len(cell) for cell in column.cells)])
    words = (len(word) for cell in column.cells for word in cell.split())
    return max(
        heading, max((min(size, PIECE + 1) if size > LONG_WORD else size for size in words), default=0)
    )


def _print_column(table: Table, index: int, rows: Sequence[tuple[Cell, ...]], bench: Bench) -> PrintedColumn:
    column = table.columns[index]
    values = [plain(row[index]) for row in rows]
    numeric = any(_is_number(value) for value in values)
    if column.unit_from is None:
        unit = heading_unit(column.unit, system=bench.system, currency=bench.currency) if numeric else ""
        cells = _column_cells(values, column, bench)
    else:
        unit, cells = _mixed_cells(table, column, rows, values, bench)
    return PrintedColumn(_heading(column.label), unit, cells, numeric)


def _heading(label: str) -> str:
    """Return a label with a capital, unless it begins with a symbol such as p."""
    first = label.partition(" ")[0]
    return label if len(first) < 2 else label[0].upper() + label[1:]


def _column_cells(values: Sequence[Cell], column: TableColumn, bench: Bench) -> tuple[str, ...]:
    if column.unit == "1":
        return tuple(_cell(value, column, bench) for value in values)
    return _same_decimals(values, column, lambda even: tuple(_cell(value, even, bench) for value in values))


def _same_decimals(
    values: Sequence[Cell], column: TableColumn, draw: Callable[[TableColumn], tuple[str, ...]]
) -> tuple[str, ...]:
    """Return cells of one unit, all with the same decimals where their sizes are within `_SIMILAR`."""
    cells = draw(column)
    sizes = [abs(value) for value in values if isinstance(value, int | float) and value]
    decimals = max((len(part[1]) for cell in cells if (part := _DECIMALS.search(cell))), default=0)
    if column.digits is not None or not decimals or not sizes or max(sizes) > _SIMILAR * min(sizes):
        return cells
    return draw(replace(column, digits=decimals))


def _mixed_cells(
    table: Table, column: TableColumn, rows: Sequence[tuple[Cell, ...]], values: Sequence[Cell], bench: Bench
) -> tuple[str, tuple[str, ...]]:
    """Return heading unit and cells, each cell in its own unit; a unit that all share is in the heading."""
    names = [each.name for each in table.columns]
    source = names.index(column.unit_from or "")
    printed_as = table.print_units or (None,) * len(rows)
    units = [(plain(row[source]), printed_as[number]) for number, row in enumerate(rows)]
    in_use = {unit for unit, value in zip(units, values, strict=True) if _is_number(value)}
    canonical, print_unit = next(iter(in_use)) if len(in_use) == 1 else (None, None)
    if isinstance(canonical, str) and print_unit is None:
        heading = heading_unit(canonical, system=bench.system, currency=bench.currency)
        return heading, _column_cells(values, replace(column, unit=canonical), bench)

    def draw(even: TableColumn) -> tuple[str, ...]:
        pairs = zip(values, units, strict=True)
        return tuple(_cell_in(value, unit, printed, even.digits, bench) for value, (unit, printed) in pairs)

    if print_unit is None:
        return "", draw(column)
    cells = _same_decimals(values, column, draw)
    suffix = f" {print_unit}"
    if all(cell.endswith(suffix) or cell == DASH for cell in cells):
        return print_unit, tuple(cell.removesuffix(suffix) for cell in cells)
    return "", cells


def _cell(value: Cell, column: TableColumn, bench: Bench) -> str:
    if not isinstance(value, int | float) or isinstance(value, bool):
        return _word(value)
    if column.unit is None or (column.unit == "pieces" and isinstance(value, int)):
        return _bare_number(value, column.digits)
    return show_bare(value, column.unit, system=bench.system, currency=bench.currency, digits=column.digits)


def _cell_in(value: Cell, unit: Cell, print_unit: str | None, digits: int | None, bench: Bench) -> str:
    if not isinstance(value, int | float) or isinstance(value, bool):
        return _word(value)
    known = unit if isinstance(unit, str) else None
    return show(
        value, known, system=bench.system, currency=bench.currency, digits=digits, print_unit=print_unit
    )


def _word(value: Cell) -> str:
    if value is None:
        return DASH
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, date):
        return iso(value).replace("T", " ")
    return shorten(str(value), LONGEST_CELL)


def _bare_number(value: float | None, digits: int | None) -> str:
    if value is None:
        return DASH
    return figures(value, 0 if digits is None and isinstance(value, int) else digits)


def _is_number(value: Cell) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)
