"""From columns of texts to columns of values: what `one_row` does, for all rows at once."""

from typing import Any

import numpy as np

from benchwater.plugin.bench import Bench
from benchwater.plugin.logs import Column
from benchwater.read.bare_units import BareUnits
from benchwater.read.body import Body
from benchwater.read.cells import check_cavity, read_amount
from benchwater.read.coded import Coded, Flags, Rows, empty_column, grouped
from benchwater.read.headers import Header
from benchwater.read.limits import LONGEST_CELL
from benchwater.read.looked_at import rows_refused
from benchwater.read.one_row import extra_name, read_filled_or_empty
from benchwater.read.reasons import CellError


def not_plainly_rows(body: Body, header: Header) -> Rows:
    """The records that may be no rows at all: see `one_row.whole_record_problem`."""
    flags = np.isin(body.lines, list(body.whole))
    for position, column in enumerate(body.columns):
        if position >= len(header.headings):
            flags |= column.where(bool)
        elif max(map(len, column.values), default=0) > LONGEST_CELL:
            flags |= column.where(lambda text: len(text) > LONGEST_CELL)
    for heading in header.headings:
        if heading.column is not None and heading.column.kind == "date":
            flags |= body.columns[heading.position].where(lambda text: not any(map(str.isdigit, text)))
    return np.flatnonzero(flags)


def read_columns(
    body: Body, header: Header, bench: Bench, units: BareUnits
) -> tuple[dict[str, Coded], Flags]:
    """The values by the table's column names, and the rows in which anything is wrong.

    What such a row holds has no meaning.
    """
    return _Columns(body, header, bench, units).read()


class _Columns:
    def __init__(self, body: Body, header: Header, bench: Bench, units: BareUnits) -> None:
        self._rows = len(body.lines)
        self._kind = header.kind
        self._bench = bench
        self._units = units
        self._texts: dict[str, Coded] = {}
        self._columns: dict[str, Coded] = {}
        self._refused = np.zeros(self._rows, dtype=bool)
        for heading in header.headings:
            texts = body.columns[heading.position]
            if heading.column is not None:
                self._texts[heading.column.name] = texts
            elif heading.text:
                filled = [text or None for text in texts.values]
                self._columns[extra_name(heading, header.kind)] = Coded(texts.codes, filled)

    def read(self) -> tuple[dict[str, Coded], Flags]:
        for column in self._kind.columns:
            self._columns[column.frame_name] = self._column(column)
        for column in self._kind.columns:
            self._decide_by_another(column)
        if self._kind.check is not None:
            fine = np.flatnonzero(~self._refused)
            columns = {name: column.take(fine) for name, column in self._columns.items()}
            self._refused[fine] = rows_refused(self._kind.check, columns, len(fine), self._bench)
        return self._columns, self._refused

    def _text_of(self, column: Column) -> Coded:
        return self._texts.get(column.name) or empty_column(self._rows, "")

    def _column(self, column: Column) -> Coded:
        texts = self._text_of(column)
        values: list[Any] = [None] * len(texts.values)
        wrong = np.zeros(len(values), dtype=bool)
        for code, (text, is_used) in enumerate(zip(texts.values, texts.used(), strict=True)):
            if is_used:
                try:
                    context = self._units.context(column, text)
                    values[code] = read_filled_or_empty(text, column, context)
                except CellError:
                    wrong[code] = True
        if wrong.any():
            self._refused |= wrong[texts.codes]
        return Coded(texts.codes, values)

    def _decide_by_another(self, column: Column) -> None:
        """An amount is in the unit of its item, and a cavity is one of its mold."""
        if column.kind in {"amount", "spread"}:
            other = self._columns["item"]
        elif column.refers_to == "cavity":
            other = self._columns["mold"]
        else:
            return
        texts = self._text_of(column)
        rows = np.flatnonzero(texts.where(bool) & ~self._refused)
        groups = grouped([other.take(rows), texts.take(rows)], len(rows))
        codes = np.zeros(self._rows, dtype=np.int32)
        codes[rows] = groups.of_row + 1
        values: list[Any] = [column.default]
        wrong = np.zeros(len(groups.first), dtype=bool)
        for group, row in enumerate(rows[groups.first].tolist()):
            try:
                values.append(self._decided(column, texts.of(row), other.of(row)))
            except CellError:
                wrong[group] = True
                values.append(None)
        self._refused[rows] = wrong[groups.of_row]
        self._columns[column.frame_name] = Coded(codes, values)

    def _decided(self, column: Column, text: str, other: str) -> str | float:
        if column.refers_to == "cavity":
            return check_cavity(text, other, self._bench)
        context = self._units.context(column, text)
        return read_amount(text, self._bench.items[other], context, whole=column.kind == "amount")
