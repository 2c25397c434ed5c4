"""Cells that mean `same as above`: ditto marks, and blanks where bench.toml says so."""

import re
from typing import NamedTuple

import numpy as np

from benchwater.read.body import Body
from benchwater.read.coded import Coded
from benchwater.read.headers import Header
from benchwater.read.refusals import marks_totals
from benchwater.words import counted

_DITTO = re.compile(r"[\"“”″〃]|''|-\s?[\"“”″]\s?-|ditto|same(?: as above)?|do\.|idem", re.IGNORECASE)
_FEW = 0.05


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
        ditto = {str(text) for text in column.values if text and _DITTO.fullmatch(str(text).strip())}
        if ditto:
            columns[heading.position] = column = _filled(column, column.mask(ditto.__contains__))
            said |= dict.fromkeys(sorted(ditto), "the cell above")
        can_repeat = heading.column.needed and heading.column.kind in {"date", "name"}
        if not can_repeat or "" not in column.values:
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
