"""From the records below a header to rows of values, and the rows set aside with why."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import cast

from benchwater.plugin.bench import Bench
from benchwater.plugin.logs import Column, LogKind, Value
from benchwater.read.cells import CellContext, check_cavity, documented_unit, read_amount, read_cell
from benchwater.read.headers import Header, Heading
from benchwater.read.limits import LONGEST_CELL, MOST_ROWS
from benchwater.read.outcome import SetAside
from benchwater.read.reasons import CellError, FileError, Reason
from benchwater.read.records import Record
from benchwater.units import QuantityError, read_quantity

_TOTALS = ("total", "totals", "sum", "subtotal", "grand total")


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One usable row: the line it starts on and its values by the table's column names."""

    line: int
    values: Mapping[str, Value]


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadRows:
    """The usable rows of one file, those set aside, and the documented units that had to stand in."""

    rows: tuple[Row, ...]
    set_aside: tuple[SetAside, ...]
    fallbacks: frozenset[str]


@dataclass(frozen=True, slots=True)
class _Problem:
    column: str
    value: str
    error: CellError


class _UnitFor:
    """Which unit a bare number of a column stands in: heading, then bench.toml, then documented default."""

    def __init__(self, header: Header, bench: Bench) -> None:
        self.bench = bench
        self.kind = header.kind
        self.by_heading = {h.column.name: h.unit for h in header.headings if h.column is not None and h.unit}
        self.stood_in: set[str] = set()

    def context(self, column: Column, text: str, decimal_comma: bool) -> CellContext:
        defaults = self.bench.default_units
        stated = (
            self.by_heading.get(column.name)
            or defaults.get(f"{self.kind.name}.{column.name}")
            or defaults.get(column.name)
        )
        if stated is None and (unit := documented_unit(column, self.bench)) is not None:
            if _is_bare(text):
                self.stood_in.add(
                    f"bare numbers in `{column.name}` of the {self.kind.name} log were read as {unit} "
                    f"(say otherwise under [defaults])"
                )
            stated = unit
        return CellContext(bench=self.bench, decimal_comma=decimal_comma, bare_unit=stated)


def read_rows(file: str, header: Header, bench: Bench) -> ReadRows:
    """Every record below the header, as a row or set aside. FileError beyond the bounds of an honest log."""
    if len(header.rows) > MOST_ROWS:
        raise FileError(f"has {len(header.rows)} rows (at most {MOST_ROWS})")
    _check_heading_units(header)
    units = _UnitFor(header, bench)
    rows: list[Row] = []
    set_aside: list[SetAside] = []
    for record in header.rows:
        values, problems = _read_record(record, header, bench, units)
        if problems:
            set_aside.append(_set_aside(file, header.kind, record, problems))
        else:
            rows.append(Row(line=record.line, values=values))
    return ReadRows(rows=tuple(rows), set_aside=tuple(set_aside), fallbacks=frozenset(units.stood_in))


def _check_heading_units(header: Header) -> None:
    for heading in header.headings:
        column = heading.column
        if column is None or heading.unit is None:
            continue
        if column.kind in {"temperature", "mass", "duration", "length", "volume"}:
            try:
                read_quantity("1", column.kind, default_unit=heading.unit)
            except QuantityError as error:
                raise FileError(
                    f"names a unit in the heading `{column.name}` that is not known: {error}"
                ) from None


def _read_record(
    record: Record, header: Header, bench: Bench, units: _UnitFor
) -> tuple[dict[str, Value], list[_Problem]]:
    cells = [cell.strip() for cell in record.cells]
    early = _whole_record_problem(record, cells, header)
    if early is not None:
        return {}, [early]
    values: dict[str, Value] = {}
    problems: list[_Problem] = []
    texts: dict[str, str] = {}
    for heading in header.headings:
        text = cells[heading.position] if heading.position < len(cells) else ""
        if heading.column is None:
            if heading.text:
                values[_extra_name(heading, header.kind)] = text or None
            continue
        texts[heading.column.name] = text
    decimal_comma = header.separator == ";"
    for column in header.kind.columns:
        text = texts.get(column.name, "")
        try:
            values[column.frame_name] = _read_one(text, column, units.context(column, text, decimal_comma))
        except CellError as error:
            problems.append(_Problem(column.name, text, error))
    problems += _amounts_and_cavities(texts, values, header.kind, bench, units, decimal_comma, problems)
    if not problems and header.kind.check is not None:
        for found in header.kind.check(values, bench):
            problems.append(
                _Problem(found.column, texts.get(found.column, ""), CellError(Reason.RULE, found.why))
            )
    return values, problems


def _read_one(text: str, column: Column, context: CellContext) -> Value:
    if text == "":
        if column.needed:
            raise CellError(Reason.MISSING, f"is empty, and every row needs a {column.name}")
        return column.default
    return read_cell(text, column, context)


def _amounts_and_cavities(
    texts: Mapping[str, str],
    values: dict[str, Value],
    kind: LogKind,
    bench: Bench,
    units: _UnitFor,
    decimal_comma: bool,
    earlier: Sequence[_Problem],
) -> list[_Problem]:
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
                context = units.context(column, text, decimal_comma)
                values[column.frame_name] = read_amount(text, item, context, whole=column.kind == "amount")
            elif column.refers_to == "cavity" and "mold" not in spoilt:
                values[column.frame_name] = check_cavity(text, cast(str, values["mold"]), bench)
        except CellError as error:
            problems.append(_Problem(column.name, text, error))
    return problems


def _whole_record_problem(record: Record, cells: Sequence[str], header: Header) -> _Problem | None:
    if record.open_quote:
        opened = next((cell for cell in cells if cell.startswith('"')), cells[0])
        why = "opens a quotation mark that is never closed (double it inside a cell, or remove it)"
        return _Problem("", opened[:LONGEST_CELL], CellError(Reason.OPEN_QUOTE, why))
    for position, cell in enumerate(cells):
        if len(cell) > LONGEST_CELL:
            name = header.headings[position].text if position < len(header.headings) else ""
            why = f"has {len(cell)} characters (at most {LONGEST_CELL})"
            return _Problem(name, f"{cell[:60]}…", CellError(Reason.TOO_LONG, why))
    width = len(header.headings)
    extra = [cell for cell in cells[width:] if cell]
    if extra:
        why = f"is more than the header's {width} columns"
        if header.separator == ",":
            why += ": a comma inside a cell (`10,6`) needs quotation marks, or semicolons between cells"
        return _Problem("", extra[0], CellError(Reason.TOO_MANY_CELLS, why))
    dated = next(
        (h.position for h in header.headings if h.column is not None and h.column.kind == "date"), None
    )
    if dated is not None:
        first = next((cell for cell in cells if cell), "")
        date_cell = cells[dated] if dated < len(cells) else ""
        is_totals = first.casefold().rstrip(": ") in _TOTALS
        if is_totals and not any(character.isdigit() for character in date_cell):
            why = "marks a row of totals, which is no entry of its own"
            return _Problem(header.headings[cells.index(first)].text, first, CellError(Reason.TOTALS, why))
    return None


def _set_aside(file: str, kind: LogKind, record: Record, problems: Sequence[_Problem]) -> SetAside:
    first, *others = problems
    why = first.error.why
    for other in others:
        why += f"; also `{other.column}`, written `{other.value}`, {other.error.why}"
    return SetAside(
        file=file,
        line=record.line,
        column=first.column,
        value=first.value,
        why=why,
        reason=first.error.reason.name.lower(),
        log=kind.name,
    )


def _extra_name(heading: Heading, kind: LogKind) -> str:
    return f"extra_{heading.text}" if heading.text in kind.frame_columns else heading.text


def _is_bare(text: str) -> bool:
    return bool(text) and text.lstrip("+-−").replace(".", "").replace(",", "").isdigit()
