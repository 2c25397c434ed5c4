"""Read the records below a header as rows, apply the log's own check, and set rows aside with a reason."""

import traceback
from bisect import bisect_left
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from benchwater.plugin.bench import Bench
from benchwater.plugin.logs import LogKind, RowProblem, Value
from benchwater.read.coded import Coded, Codes, Indices, Mask, constant_column, group_rows
from benchwater.read.columns import is_error, read_columns
from benchwater.read.dates import DateHints, date_hints, read_date
from benchwater.read.headers import Header, Heading
from benchwater.read.outcome import (
    LONGEST_CELL,
    MOST_SET_ASIDE,
    CellError,
    CheckProblem,
    FileError,
    Reason,
    SetAside,
    marks_totals,
)
from benchwater.read.records import Body, Record
from benchwater.supervisor import StoppedError, plugin_call
from benchwater.text import error_text
from benchwater.units import QuantityError, is_quantity, read_quantity


@dataclass(frozen=True, slots=True)
class Origin:
    """Where the lines of a text come from: of one part of a file, or of several laid end to end.

    `parts` are the numbers of the parts, `files` the files that these stand in. `starts` says how many lines
    of the text come before line 1 of each.
    """

    parts: Sequence[int]
    files: Sequence[str]
    starts: Sequence[int]

    def of(self, line: int) -> tuple[int, str, int]:
        """The part, the file and the line in that file of a line of the text."""
        at = bisect_left(self.starts, line) - 1
        return self.parts[at], self.files[at], line - self.starts[at]

    def of_all(self, lines: Indices) -> tuple[Codes, Indices]:
        """The part of each line, and the line in its file."""
        at = np.searchsorted(self.starts, lines) - 1
        return np.array(self.parts, dtype=np.int32)[at], lines - np.array(self.starts, dtype=np.int64)[at]


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadRows:
    """The usable rows of parts with one heading; by the number of the part what was set aside or taken.

    `columns` holds the values of the usable rows by the table's column names, `parts` the part that each row
    is of, `lines` the line it starts on. `taken` are texts with what they were taken for, `fallbacks` says
    which documented units stood in for bare numbers, `check_problems` how the log's check failed first.
    """

    log: str
    columns: Mapping[str, Coded]
    parts: Codes
    lines: Indices
    set_aside: Mapping[int, Sequence[SetAside]]
    cells_set_aside: Mapping[int, Sequence[SetAside]]
    taken: Mapping[int, Sequence[tuple[str, str]]]
    fallbacks: frozenset[str]
    check_problems: Mapping[int, Sequence[CheckProblem]]

    def take(self, kept: Mask) -> "ReadRows":
        """The same with some of the usable rows."""
        if kept.all():
            return self
        columns = {name: column.take(kept) for name, column in self.columns.items()}
        return replace(self, columns=columns, parts=self.parts[kept], lines=self.lines[kept])


@dataclass(frozen=True, slots=True)
class Problem:
    """What is wrong with a row: the column, the cell as written, and why."""

    column: str
    value: str
    error: CellError


def read_rows(
    header: Header, body: Body, bench: Bench, origin: Origin, hints: Sequence[DateHints] = ()
) -> ReadRows:
    """Read each record below the header as a row, or set it aside. FileError beyond an honest log's bounds.

    Several records of a body may stand on one line. A cell that does not decide its row is set aside alone:
    the row counts, and the value is unknown. `hints` is what the days of each part say together, the same of
    all but for `said`; without it the days below the header are asked.
    """
    check_heading_units(header)
    kind = header.kind
    body, unusable = _without_unusable_records(body, header)
    read = read_columns(
        header,
        body,
        bench,
        lambda days: hints[0] if hints else date_hints(days, bench.date_order, origin.files[0]),
    )
    columns = {**_extra_columns(body, header), **read.values}
    names = {column.frame_name: column.name for column in kind.columns}
    read_cells = [
        (names[name], each)
        for part in (read.by_itself, read.by_another)
        for name, each in part.items()
        if _has_errors(each)
    ]
    deciding = {column.name for column in kind.columns if column.decides_row}
    refused = np.zeros(len(body.lines), dtype=bool)
    for name, column in read_cells:
        if name in deciding:
            refused |= column.mask(is_error)
    cells: list[tuple[int, str, CellError]] = []
    for frame_name, name in names.items():
        if name not in deciding and _has_errors(columns[frame_name]):
            wrong_rows = np.flatnonzero(columns[frame_name].mask(is_error) & ~refused).tolist()
            cells += [(row, name, columns[frame_name].value(row)) for row in wrong_rows]
            _check_number(len(cells), "cells")
    passed = np.flatnonzero(~refused)
    found, failure = _checked(kind, _usable(columns, ~refused), len(passed), bench)
    rules_of_row = dict(
        zip(passed[found.mask(bool)].tolist(), np.flatnonzero(found.mask(bool)).tolist(), strict=True)
    )
    refused[passed] = found.mask(
        lambda rules: any(rule.column in deciding or rule.column not in names.values() for rule in rules)
    )
    for row, at in rules_of_row.items():
        if not refused[row]:
            cells += [(row, rule.column, CellError(Reason.RULE, rule.why)) for rule in found.value(at)]
    refused_rows = np.flatnonzero(refused).tolist()
    cells = sorted((cell for cell in cells if not refused[cell[0]]), key=lambda cell: cell[0])
    _check_number(len(cells), "cells")
    _check_number(len(unusable) + len(refused_rows), "rows")
    problems = [(record.line, [problem], _day_of(record, header, read.dates)) for record, problem in unusable]
    for row in refused_rows:
        wrong = [(name, column.value(row)) for name, column in read_cells if is_error(column.value(row))]
        if row in rules_of_row:
            rules = found.value(rules_of_row[row])
            wrong = [(rule.column, CellError(Reason.RULE, rule.why)) for rule in rules] + wrong
        found_here = [Problem(name, read.text(name, row), error) for name, error in wrong]
        problems.append(
            (int(body.lines[row]), found_here, _readable({**read.by_itself, **read.by_another}, row))
        )
    for frame_name, name in names.items():
        ruled_out = [row for row, of, error in cells if of == name and error.reason is Reason.RULE]
        if ruled_out:
            here = np.isin(np.arange(len(body.lines)), ruled_out)
            columns[frame_name] = columns[frame_name].replaced(here, constant_column(len(here)))
    day = read.by_itself.get("date")
    set_aside, cells_set_aside = (
        defaultdict[int, list[SetAside]](list),
        defaultdict[int, list[SetAside]](list),
    )
    for line, each, content in sorted(problems, key=lambda problem: problem[0]):
        part, file, own_line = origin.of(line)
        set_aside[part].append(
            _set_aside(file, kind, own_line, each, *_amount_and_unit(content, bench), tuple(content.items()))
        )
    for row, name, error in cells:
        part, file, own_line = origin.of(int(body.lines[row]))
        values = () if day is None else (("date", day.value(row)),)
        problem = Problem(name, read.text(name, row), error)
        cells_set_aside[part].append(_set_aside(file, kind, own_line, [problem], values=values))
    parts, lines = origin.of_all(body.lines)
    taken = _taken_by_part(read.taken, origin, parts)
    implied = [(heading, f"{name} `{word}` in every row") for name, word, heading in header.implied]
    for part, of_part in zip(origin.parts, hints or [read.dates], strict=True):
        if of_part.said or implied:
            taken[part] = [*of_part.said, *implied, *taken.get(part, ())]
    check_problems = {}
    if failure is not None:
        row, why, detail = failure
        part, file, own_line = origin.of(int(body.lines[passed[row]]))
        check_problems[part] = [CheckProblem(log=kind.name, file=file, line=own_line, why=why, detail=detail)]
    return ReadRows(
        log=kind.name,
        columns=_usable(columns, ~refused),
        parts=parts[~refused],
        lines=lines[~refused],
        set_aside=set_aside,
        cells_set_aside=cells_set_aside,
        taken=taken,
        fallbacks=read.stood_in,
        check_problems=check_problems,
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
        if marks_totals(first) and not any(map(str.isdigit, date_cell)):
            why = "marks a row of totals, which is no entry of its own"
            return Problem(header.headings[cells.index(first)].text, first, CellError(Reason.TOTALS, why))
    return None


def extra_name(heading: Heading, kind: LogKind) -> str:
    """The name in the table of a column that the maker added."""
    return f"extra_{heading.text}" if heading.text in kind.frame_columns else heading.text


def check_heading_units(header: Header) -> None:
    """FileError where the unit of a heading is none of its column's."""
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
    mask = np.isin(body.lines, list(body.irregular)) if body.irregular else np.zeros(len(body.lines), bool)
    for position, column in enumerate(body.columns):
        if position >= len(header.headings):
            mask |= column.mask(bool)
        elif max(map(len, column.values), default=0) > LONGEST_CELL:
            mask |= column.mask(lambda text: len(text) > LONGEST_CELL)
    if header.date_position is not None:
        mask |= body.columns[header.date_position].mask(lambda text: not any(map(str.isdigit, text)))
    return np.flatnonzero(mask)


def _extra_columns(body: Body, header: Header) -> dict[str, Coded]:
    extra: dict[str, Coded] = {}
    for heading in header.headings:
        if heading.column is None and heading.text:
            texts = body.columns[heading.position]
            extra[extra_name(heading, header.kind)] = Coded(
                texts.codes, [text or None for text in texts.values]
            )
    return extra


def _has_errors(column: Coded) -> bool:
    return any(map(is_error, column.values))


def _usable(columns: Mapping[str, Coded], kept: Mask) -> dict[str, Coded]:
    """The columns of the rows that are kept, with None for what cannot be used."""
    if not kept.all():
        columns = {name: column.take(kept) for name, column in columns.items()}
    return {
        name: Coded(column.codes, [None if is_error(value) else value for value in column.values])
        if _has_errors(column)
        else column
        for name, column in columns.items()
    }


def _check_number(count: int, what: str) -> None:
    if count > MOST_SET_ASIDE:
        raise FileError(f"has {count} {what} that cannot be read (at most {MOST_SET_ASIDE})")


def _readable(columns: Mapping[str, Coded], row: int) -> dict[str, Any]:
    """The cells of a row that could be read and are not empty."""
    values = {name: column.value(row) for name, column in columns.items()}
    return {name: value for name, value in values.items() if value is not None and not is_error(value)}


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


def _taken_by_part(
    columns: Sequence[Coded], origin: Origin, parts: Codes
) -> dict[int, list[tuple[str, str]]]:
    """The texts of each part that were taken for something else, of each column in their order."""
    if len(origin.parts) == 1:
        taken = [pair for column in columns for pair in column.held() if pair is not None]
        return {origin.parts[0]: taken} if taken else {}
    found = defaultdict[int, list[tuple[str, str]]](list)
    for column in columns:
        rows = np.flatnonzero(column.mask(lambda pair: pair is not None))
        for part, code in dict.fromkeys(zip(parts[rows].tolist(), column.codes[rows].tolist(), strict=True)):
            found[part].append(column.values[code])
    return found


Check = Callable[[Mapping[str, Value], Bench], Iterable[RowProblem]]
_Failure = tuple[int, str, str]
"""The first row on which a check fails, why, and the traceback."""


def _checked(
    kind: LogKind, columns: Mapping[str, Coded], rows: int, bench: Bench
) -> tuple[Coded, _Failure | None]:
    """Apply the check of a log to its rows (see `_check_rows`); one that would hold the run is left out."""
    unchecked = constant_column(rows, ())
    if kind.check is None:
        return unchecked, None
    try:
        with plugin_call(f"The check of the log {kind.name}"):
            return _check_rows(kind.check, columns, rows, bench)
    except StoppedError as error:
        return unchecked, (0, str(error), "") if rows else None


def _check_rows(
    check: Check, columns: Mapping[str, Coded], rows: int, bench: Bench
) -> tuple[Coded, _Failure | None]:
    """Return the problems of each row as a column, and the first failure.

    The columns that the check reads are recorded; rows that are equal in all of them get the same answer, so
    the check sees one of them. A row on which it raises or returns something else than RowProblems has none.
    """
    checked_columns: set[str] = set()
    while True:
        groups = group_rows([columns[name] for name in sorted(checked_columns)], rows)
        read: set[str] = set()
        problems: list[tuple[RowProblem, ...]] = []
        failure: _Failure | None = None
        for row in groups.first.tolist():
            try:
                problems.append(_problems(check, _RecordingRow(columns, row, read), bench))
            except KeyboardInterrupt:
                raise
            except BaseException as error:
                problems.append(())
                why = str(error) if isinstance(error, _AnswerError) else error_text(error)
                failure = failure or (row, why, traceback.format_exc())
            if not read <= checked_columns:
                break
        else:
            return Coded(groups.of_row, problems), failure
        checked_columns |= read


class _AnswerError(TypeError):
    """A check returned something else than RowProblems."""


def _problems(check: Check, row: "_RecordingRow", bench: Bench) -> tuple[RowProblem, ...]:
    answer: object = check(row, bench)
    if not isinstance(answer, Iterable):
        raise _AnswerError(f"it must return an iterable of RowProblem, not {answer!r}")
    found = []
    for problem in answer:
        if not (
            isinstance(problem, RowProblem)
            and isinstance(problem.column, str)
            and isinstance(problem.why, str)
        ):
            raise _AnswerError(f"it must return an iterable of RowProblem; one of them is {problem!r}")
        found.append(problem)
    return tuple(found)


class _RecordingRow(Mapping[str, Value]):
    """One row, which records which of its columns are read."""

    def __init__(self, columns: Mapping[str, Coded], row: int, read: set[str]) -> None:
        self._columns = columns
        self._row = row
        self._read = read

    def __getitem__(self, name: str) -> Value:
        column = self._columns[name]
        self._read.add(name)
        value: Value = column.value(self._row)
        return value

    def __iter__(self) -> Iterator[str]:
        self._read.update(self._columns)
        return iter(self._columns)

    def __len__(self) -> int:
        return len(self._columns)
