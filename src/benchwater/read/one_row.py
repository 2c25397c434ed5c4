"""One record to one row of values, cell by cell, or what is wrong with it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import cast

from benchwater.plugin.bench import Bench
from benchwater.plugin.logs import Column, LogKind, Value
from benchwater.read.bare_units import BareUnits
from benchwater.read.cells import CellContext, check_cavity, read_amount, read_cell
from benchwater.read.headers import Header, Heading
from benchwater.read.limits import LONGEST_CELL
from benchwater.read.reasons import CellError, Reason
from benchwater.read.records import Record

_TOTALS = ("total", "totals", "sum", "subtotal", "grand total")


@dataclass(frozen=True, slots=True)
class Problem:
    """What is wrong with a row: the column, the cell as written, and why."""

    column: str
    value: str
    error: CellError


def read_record(
    record: Record, header: Header, bench: Bench, units: BareUnits
) -> tuple[dict[str, Value], list[Problem]]:
    """The values of a record by the table's column names, and everything that is wrong with it."""
    early = whole_record_problem(record, header)
    if early is not None:
        return {}, [early]
    cells = [cell.strip() for cell in record.cells]
    values: dict[str, Value] = {}
    problems: list[Problem] = []
    texts: dict[str, str] = {}
    for heading in header.headings:
        text = cells[heading.position] if heading.position < len(cells) else ""
        if heading.column is None:
            if heading.text:
                values[extra_name(heading, header.kind)] = text or None
            continue
        texts[heading.column.name] = text
    for column in header.kind.columns:
        text = texts.get(column.name, "")
        try:
            values[column.frame_name] = read_filled_or_empty(text, column, units.context(column, text))
        except CellError as error:
            problems.append(Problem(column.name, text, error))
    problems += _amounts_and_cavities(texts, values, header.kind, bench, units, problems)
    if not problems and header.kind.check is not None:
        for found in header.kind.check(values, bench):
            problems.append(
                Problem(found.column, texts.get(found.column, ""), CellError(Reason.RULE, found.why))
            )
    return values, problems


def read_filled_or_empty(text: str, column: Column, context: CellContext) -> Value:
    """The value of a cell, or what stands for it where it is empty. CellError says why there is none."""
    if text == "":
        if column.needed:
            a = "an" if column.name.startswith(("a", "e", "i", "o", "u")) else "a"
            raise CellError(Reason.MISSING, f"is empty, and every row needs {a} {column.name}")
        return column.default
    return read_cell(text, column, context)


def _amounts_and_cavities(
    texts: Mapping[str, str],
    values: dict[str, Value],
    kind: LogKind,
    bench: Bench,
    units: BareUnits,
    earlier: Sequence[Problem],
) -> list[Problem]:
    """The cells that another cell of the row decides: an amount by its item, a cavity by its mold."""
    spoilt = {problem.column for problem in earlier}
    problems = []
    for column in kind.columns:
        text = texts.get(column.name, "")
        if not text or column.name in spoilt:
            continue
        try:
            if column.kind in {"amount", "spread"} and "item" not in spoilt:
                item = bench.items[cast(str, values["item"])]
                context = units.context(column, text)
                values[column.frame_name] = read_amount(text, item, context, whole=column.kind == "amount")
            elif column.refers_to == "cavity" and "mold" not in spoilt:
                values[column.frame_name] = check_cavity(text, cast(str, values["mold"]), bench)
        except CellError as error:
            problems.append(Problem(column.name, text, error))
    return problems


def whole_record_problem(record: Record, header: Header) -> Problem | None:
    """Why the record is no row at all, whatever its cells say."""
    cells = [cell.strip() for cell in record.cells]
    if record.open_quote:
        opened = next((cell for cell in cells if cell.startswith('"')), cells[0])
        why = "opens a quotation mark that is never closed (double it inside a cell, or remove it)"
        return Problem("", opened[:LONGEST_CELL], CellError(Reason.OPEN_QUOTE, why))
    for position, cell in enumerate(cells):
        if len(cell) > LONGEST_CELL:
            name = header.headings[position].text if position < len(header.headings) else ""
            why = f"has {len(cell)} characters (at most {LONGEST_CELL})"
            return Problem(name, f"{cell[:60]}…", CellError(Reason.TOO_LONG, why))
    width = len(header.headings)
    extra = [cell for cell in cells[width:] if cell]
    if extra:
        why = f"stands beyond the header's {width} columns"
        if header.separator == ",":
            why += ": a comma inside a cell (`10,6`) needs quotation marks, or semicolons between cells"
        return Problem("", extra[0], CellError(Reason.TOO_MANY_CELLS, why))
    dated = next(
        (h.position for h in header.headings if h.column is not None and h.column.kind == "date"), None
    )
    if dated is not None:
        first = next((cell for cell in cells if cell), "")
        date_cell = cells[dated] if dated < len(cells) else ""
        is_totals = first.casefold().rstrip(": ") in _TOTALS
        if is_totals and not any(character.isdigit() for character in date_cell):
            why = "marks a row of totals, which is no entry of its own"
            return Problem(header.headings[cells.index(first)].text, first, CellError(Reason.TOTALS, why))
    return None


def extra_name(heading: Heading, kind: LogKind) -> str:
    """The name in the table of a column that the maker added."""
    return f"extra_{heading.text}" if heading.text in kind.frame_columns else heading.text
