"""Reads the records below a header into columns of values, and sets rows aside with a reason."""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from benchwater.plugin.bench import Bench
from benchwater.plugin.logs import Column, LogKind, Value
from benchwater.read.bare_units import BareUnits
from benchwater.read.cells import (
    CellContext,
    check_cavity,
    is_approximate,
    is_everyday,
    read_amount,
    read_cell,
)
from benchwater.read.coded import Coded, Indices, constant_column, group_rows, map_values
from benchwater.read.combined_cells import split_causes, split_places
from benchwater.read.dates import DateHints, date_hints, read_date
from benchwater.read.headers import Header, Heading
from benchwater.read.names import same_spelling
from benchwater.read.outcome import (
    LONGEST_CELL,
    MOST_SET_ASIDE,
    TOTALS,
    CellError,
    CheckProblem,
    FileError,
    Reason,
    SetAside,
)
from benchwater.read.records import Body, Record
from benchwater.read.row_check import check_rows
from benchwater.units import QuantityError, is_quantity, read_quantity

_ROUGH = 0.1
"""The half-width of an amount marked as rough, as a share of it (common practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadRows:
    """The usable rows of one file, and the rows and cells set aside.

    `columns` holds the values of the usable rows by the table's column names, `lines` the line each row
    starts on. `words_taken` are everyday phrases with the words they were taken for, `fallbacks` says which
    documented units stood in for bare numbers, `check_problem` how the log's check failed.
    """

    columns: Mapping[str, Coded]
    lines: Indices
    set_aside: tuple[SetAside, ...]
    cells_set_aside: tuple[SetAside, ...]
    words_taken: tuple[tuple[str, str], ...]
    fallbacks: frozenset[str]
    check_problem: CheckProblem | None


@dataclass(frozen=True, slots=True)
class Problem:
    """What is wrong with a row: the column, the cell as written, and why."""

    column: str
    value: str
    error: CellError


def read_rows(file: str, header: Header, body: Body, bench: Bench) -> ReadRows:
    """Read each record below the header as a row, or set it aside. FileError beyond an honest log's bounds.

    Several records of a body may stand on one line.

    A cell that does not decide its row is set aside alone: the row counts, and the value is unknown. Each
    distinct text of a column is read once; a cell that cannot be used has its CellError as its value.
    """
    _check_heading_units(header)
    kind = header.kind
    body, unusable = _without_unusable_records(body, header)
    rows = len(body.lines)
    texts = {h.column.name: body.columns[h.position] for h in header.headings if h.column is not None}
    texts |= {name: constant_column(rows, word) for name, word, _ in header.implied}
    texts, places_taken = split_places(texts, kind, bench)
    texts, told = split_causes(texts, kind)
    dates = date_hints(_days(texts, kind), bench.date_order, file)
    units = BareUnits(header, bench, dates)
    by_itself = {
        column.frame_name: _read_column(texts.get(column.name) or constant_column(rows, ""), column, units)
        for column in kind.columns
    }
    by_itself |= _zeros(kind, texts, by_itself)
    by_another = _decided_by_another(kind, texts, by_itself, bench, units)
    columns = {**_extra_columns(body, header), **by_itself, **by_another}
    rough = _rough_cells(kind, texts)
    columns = _with_rough_cells(columns, rough, kind, bench, rows)
    refused = np.zeros(rows, dtype=bool)
    cells: list[tuple[int, str, CellError]] = []
    deciding = {column.name for column in kind.columns if column.decides_row}
    for declared in kind.columns:
        if declared.name in deciding:
            for column in (by_itself[declared.frame_name], by_another.get(declared.frame_name)):
                if column is not None and any(map(_is_error, column.values)):
                    refused |= column.mask(_is_error)
    for declared in kind.columns:
        column = columns[declared.frame_name]
        if declared.name not in deciding and any(map(_is_error, column.values)):
            wrong_rows = np.flatnonzero(column.mask(_is_error) & ~refused).tolist()
            cells += [(row, declared.name, column.value(row)) for row in wrong_rows]
            _check_number(len(cells), "cells")
    passed = np.flatnonzero(~refused)
    found, failure = constant_column(len(passed), ()), None
    if kind.check is not None:
        to_check = {name: _without_errors(column.take(passed)) for name, column in columns.items()}
        found, failure = check_rows(kind.name, kind.check, to_check, len(passed), bench)
        cell_names = {column.name for column in kind.columns} - deciding
        refused[passed] = found.mask(lambda rules: any(rule.column not in cell_names for rule in rules))
        for at in np.flatnonzero(found.mask(bool) & ~refused[passed]).tolist():
            cells += [
                (int(passed[at]), rule.column, CellError(Reason.RULE, rule.why)) for rule in found.value(at)
            ]
    refused_rows = np.flatnonzero(refused).tolist()
    cells = sorted((cell for cell in cells if not refused[cell[0]]), key=lambda cell: cell[0])
    _check_number(len(cells), "cells")
    _check_number(len(unusable) + len(refused_rows), "rows")
    names = {column.frame_name: column.name for column in kind.columns}
    read_cells = [(names[name], column) for read in (by_itself, by_another) for name, column in read.items()]
    problems = [(record.line, [problem]) for record, problem in unusable]
    contents: list[Mapping[str, Any]] = [_day_of(record, header, dates) for record, _ in unusable]
    for row in refused_rows:
        contents.append(_readable({**by_itself, **by_another}, row))
        wrong = [(name, column.value(row)) for name, column in read_cells if _is_error(column.value(row))]
        at = int(np.searchsorted(passed, row))
        if at < len(passed) and passed[at] == row:
            wrong = [(rule.column, CellError(Reason.RULE, rule.why)) for rule in found.value(at)] + wrong
        found_here = [
            Problem(name, texts[name].value(row) if name in texts else "", error) for name, error in wrong
        ]
        problems.append((int(body.lines[row]), found_here))
    for declared in kind.columns:
        ruled_out = [
            row for row, name, error in cells if name == declared.name and error.reason is Reason.RULE
        ]
        if ruled_out:
            columns[declared.frame_name] = _without_rows(columns[declared.frame_name], ruled_out)
    if refused.any() or cells:
        columns = {name: _without_errors(column.take(~refused)) for name, column in columns.items()}
    check_problem = None
    if failure is not None:
        line = int(body.lines[passed[failure.row]])
        check_problem = CheckProblem(
            log=kind.name, file=file, line=line, why=failure.why, detail=failure.detail
        )
    return ReadRows(
        columns=columns,
        lines=body.lines[~refused],
        set_aside=tuple(
            _set_aside(file, kind, line, each, *_amount_and_unit(content, bench), tuple(content.items()))
            for (line, each), content in sorted(
                zip(problems, contents, strict=True), key=lambda problem: problem[0][0]
            )
        ),
        cells_set_aside=tuple(
            _set_aside(
                file,
                kind,
                int(body.lines[row]),
                [Problem(name, texts[name].value(row) if name in texts else "", error)],
                values=(("date", by_itself["date"].value(row)),) if "date" in by_itself else (),
            )
            for row, name, error in cells
        ),
        words_taken=(
            *dates.said,
            *((heading, f"{name} `{word}` in every row") for name, word, heading in header.implied),
            *places_taken,
            *told,
            *_words_taken(kind, texts, by_itself),
            *_cavities_taken(kind, texts, by_another),
            *(
                (text, "a rough value")
                for mask in rough.values()
                for text in mask.values
                if is_approximate(text)
            ),
        ),
        fallbacks=frozenset(units.stood_in),
        check_problem=check_problem,
    )


def record_problem(record: Record, header: Header) -> Problem | None:
    """Why a record is no row at all, whatever its cells say."""
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
    dated = header.date_position
    if dated is not None:
        first = next((cell for cell in cells if cell), "")
        date_cell = cells[dated] if dated < len(cells) else ""
        is_totals = first.casefold().rstrip(": ") in TOTALS
        if is_totals and not any(character.isdigit() for character in date_cell):
            why = "marks a row of totals, which is no entry of its own"
            return Problem(header.headings[cells.index(first)].text, first, CellError(Reason.TOTALS, why))
    return None


def read_filled_or_empty(text: str, column: Column, context: CellContext) -> Value:
    """The value of a cell, or what stands for it where it is empty. CellError says why there is none."""
    if text == "":
        if column.needed:
            a = "an" if column.name.startswith(("a", "e", "i", "o", "u")) else "a"
            raise CellError(Reason.MISSING, f"is empty, and every row needs {a} {column.name}")
        return column.default
    return read_cell(text, column, context)


def extra_name(heading: Heading, kind: LogKind) -> str:
    """The name in the table of a column that the maker added."""
    return f"extra_{heading.text}" if heading.text in kind.frame_columns else heading.text


def _check_heading_units(header: Header) -> None:
    for heading in header.headings:
        column = heading.column
        if column is None or heading.unit is None:
            continue
        if is_quantity(column.kind):
            try:
                read_quantity("1", column.kind, default_unit=heading.unit)
            except QuantityError as error:
                raise FileError(f"has a heading for `{column.name}` that {error}") from None


def _without_unusable_records(body: Body, header: Header) -> tuple[Body, list[tuple[Record, Problem]]]:
    """The body without records that are no rows at all, and these with the problem of each."""
    problems: list[tuple[Record, Problem]] = []
    usable = np.ones(len(body.lines), dtype=bool)
    for row in _suspect_rows(body, header).tolist():
        record = body.record(row)
        problem = record_problem(record, header)
        if problem is not None:
            problems.append((record, problem))
            usable[row] = False
    return (body.take(usable) if problems else body), problems


def _day_of(record: Record, header: Header, hints: DateHints) -> dict[str, Any]:
    """The day of a record that is no row, where it has one that can be read."""
    at = header.date_position
    if at is None or at >= len(record.cells) or record.open_quote:
        return {}
    try:
        return {"date": read_date(record.cells[at].strip(), hints)}
    except CellError:
        return {}


def _suspect_rows(body: Body, header: Header) -> Indices:
    """The records for which `record_problem` may find a problem."""
    mask = np.isin(body.lines, list(body.irregular))
    for position, column in enumerate(body.columns):
        if position >= len(header.headings):
            mask |= column.mask(bool)
        elif max(map(len, column.values), default=0) > LONGEST_CELL:
            mask |= column.mask(lambda text: len(text) > LONGEST_CELL)
    if header.date_position is not None:
        mask |= body.columns[header.date_position].mask(lambda text: not any(map(str.isdigit, text)))
    return np.flatnonzero(mask)


def _extra_columns(body: Body, header: Header) -> dict[str, Coded]:
    """The columns that the maker added, as text."""
    extra: dict[str, Coded] = {}
    for heading in header.headings:
        if heading.column is None and heading.text:
            texts = body.columns[heading.position]
            extra[extra_name(heading, header.kind)] = Coded(
                texts.codes, [text or None for text in texts.values]
            )
    return extra


def _read_column(texts: Coded, column: Column, units: BareUnits) -> Coded:
    """The values of a column; a text that no row holds has none."""
    values: list[Any] = [None] * len(texts.values)
    for code, (text, is_used) in enumerate(zip(texts.values, texts.used_mask(), strict=True)):
        if is_used:
            try:
                values[code] = read_filled_or_empty(text, column, units.context(column, text))
            except CellError as error:
                values[code] = error
    return Coded(texts.codes, values)


def _zeros(
    kind: LogKind, texts: Mapping[str, Coded], by_itself: Mapping[str, Coded]
) -> Iterator[tuple[str, Coded]]:
    """The columns whose empty cells are 0 beside some words of another."""
    for column in kind.columns:
        for name, words in column.zero_beside:
            read, other = by_itself[column.frame_name], kind.column(name)
            if column.name in texts and other is not None:
                empty = texts[column.name].mask(lambda text: text == "")
                empty &= by_itself[other.frame_name].mask(frozenset(words).__contains__)
                codes = np.where(empty, len(read.values), read.codes).astype(np.int32)
                filled = Coded(codes, [*read.values, 0.0])
                used = zip(filled.values, filled.used_mask(), strict=True)
                yield column.frame_name, Coded(codes, [value if is_used else None for value, is_used in used])


def _words_taken(
    kind: LogKind, texts: Mapping[str, Coded], columns: Mapping[str, Coded]
) -> tuple[tuple[str, str], ...]:
    """Each everyday phrase that a cell holds, with the word it was taken for."""
    return tuple(
        (text, str(value))
        for column in kind.columns
        if column.name in texts and (column.kind in {"word", "yes_no", "name"})
        for text, value in zip(texts[column.name].values, columns[column.frame_name].values, strict=True)
        if is_everyday(text, value, column)
    )


def _cavities_taken(
    kind: LogKind, texts: Mapping[str, Coded], decided: Mapping[str, Coded]
) -> tuple[tuple[str, str], ...]:
    """Each cavity that a cell names in other words, with the cavity of its mold that was taken."""
    taken: dict[tuple[str, str], None] = {}
    for column in kind.columns:
        if column.refers_to == "cavity" and column.name in texts:
            text, cavities = texts[column.name], decided[column.frame_name]
            known = {same_spelling(value) for value in cavities.values if isinstance(value, str)}
            odd = Coded(text.codes, [same_spelling(each) not in known for each in text.values])
            for row in np.flatnonzero(odd.mask(bool)).tolist():
                if is_everyday(text.value(row), cavities.value(row), column):
                    taken[text.value(row), cavities.value(row)] = None
    return tuple(taken)


def _decided_by_another(
    kind: LogKind, texts: Mapping[str, Coded], by_itself: Mapping[str, Coded], bench: Bench, units: BareUnits
) -> dict[str, Coded]:
    """The columns whose cells depend on another of the row: an amount on its item, a cavity on its mold."""
    decided: dict[str, Coded] = {}
    for column in kind.columns:
        is_amount = column.kind in {"amount", "spread"}
        if column.name not in texts or not (is_amount or column.refers_to == "cavity"):
            continue
        text, other = texts[column.name], by_itself["item" if is_amount else "mold"]
        unusable = by_itself[column.frame_name].mask(_is_error) | other.mask(_is_error)
        rows = np.flatnonzero(text.mask(bool) & ~unusable)
        groups = group_rows([other.take(rows), text.take(rows)], len(rows))
        codes = np.zeros(len(text.codes), dtype=np.int32)
        codes[rows] = groups.of_row + 1
        values: list[Any] = [column.default]
        for row in rows[groups.first].tolist():
            try:
                if is_amount:
                    item, context = bench.items[other.value(row)], units.context(column, text.value(row))
                    units.note_pieces(column, item, text.value(row))
                    values.append(read_amount(text.value(row), item, context, whole=column.kind == "amount"))
                else:
                    values.append(check_cavity(text.value(row), other.value(row), bench))
            except CellError as error:
                values.append(error)
        decided[column.frame_name] = Coded(codes, values)
    return decided


def _days(texts: Mapping[str, Coded], kind: LogKind) -> list[str]:
    """The distinct days of a log as written."""
    name = next((column.name for column in kind.columns if column.kind == "date"), "")
    found = texts.get(name)
    return (
        []
        if found is None
        else [str(v) for v, used in zip(found.values, found.used_mask(), strict=True) if used]
    )


def _rough_cells(kind: LogKind, texts: Mapping[str, Coded]) -> dict[str, Coded]:
    """The texts of each column of numbers in which any is marked as rough."""
    return {
        column.name: texts[column.name]
        for column in kind.columns
        if column.name in texts
        and (column.kind in {"count", "number", "money", "amount"} or is_quantity(column.kind))
        and any(map(is_approximate, texts[column.name].values))
    }


def _with_rough_cells(
    columns: dict[str, Coded], rough: Mapping[str, Coded], kind: LogKind, bench: Bench, rows: int
) -> dict[str, Coded]:
    """The columns, one that names each row's rough cells, and a wider uncertainty of rough amounts."""
    if not rough:
        return columns
    masks = {name: texts.mask(is_approximate) for name, texts in rough.items()}
    named = [";".join(name for name, mask in masks.items() if mask[row]) or None for row in range(rows)]
    new = {**columns, "approximate": map_values(Coded(np.arange(rows, dtype=np.int32), named), lambda v: v)}
    spread = next((column.frame_name for column in kind.columns if column.kind == "spread"), None)
    amount = next(
        (column for column in kind.columns if column.kind == "amount" and column.name in rough), None
    )
    if spread is None or amount is None:
        return new
    codes, values = new[spread].codes.copy(), list(new[spread].values)
    for row in np.flatnonzero(masks[amount.name]).tolist():
        size, item = new[amount.frame_name].value(row), bench.items.get(new["item"].value(row))
        if new[spread].value(row) is None and isinstance(size, float) and item is not None:
            codes[row] = len(values)
            values.append(math.hypot(_ROUGH * size / math.sqrt(3), (item.resolution or 0.0) / math.sqrt(12)))
    return {**new, spread: Coded(codes, values)}


def _is_error(value: object) -> bool:
    return isinstance(value, CellError)


def _without_errors(column: Coded) -> Coded:
    return Coded(column.codes, [None if _is_error(value) else value for value in column.values])


def _without_rows(column: Coded, rows: Sequence[int]) -> Coded:
    """The column with no value in these rows."""
    codes = column.codes.copy()
    codes[rows] = len(column.values)
    return Coded(codes, [*column.values, None])


def _check_number(count: int, what: str) -> None:
    if count > MOST_SET_ASIDE:
        raise FileError(f"has {count} {what} that cannot be read (at most {MOST_SET_ASIDE})")


def _readable(columns: Mapping[str, Coded], row: int) -> dict[str, Any]:
    """The cells of a row that could be read and are not empty."""
    values = {name: column.value(row) for name, column in columns.items()}
    return {name: value for name, value in values.items() if value is not None and not _is_error(value)}


def _amount_and_unit(row: Mapping[str, Any], bench: Bench) -> tuple[float | None, str]:
    """What a row is about: its count, or the amount of its item and the item's unit; None if not readable."""
    amount, item = row.get("amount"), bench.items.get(row.get("item", ""))
    if isinstance(amount, float) and item is not None:
        return amount, item.unit
    count = row.get("count", amount)
    return (float(count) if isinstance(count, int | float) else None), ""


def _set_aside(
    file: str,
    kind: LogKind,
    line: int,
    problems: Sequence[Problem],
    amount: float | None = None,
    unit: str = "",
    values: tuple[tuple[str, Any], ...] = (),
) -> SetAside:
    first, *others = problems
    why = first.error.why
    for other in others:
        written = f", written `{other.value}`," if other.value else ""
        why += f"; also `{other.column}`{written} {other.error.why}"
    return SetAside(
        file=file,
        line=line,
        column=first.column,
        value=first.value,
        why=why,
        reason=first.error.reason.name.lower(),
        log=kind.name,
        amount=amount,
        unit=unit,
        values=values,
    )
