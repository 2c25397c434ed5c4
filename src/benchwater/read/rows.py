"""From the records below a header to columns of values, and the rows set aside with why."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from benchwater.plugin.bench import Bench
from benchwater.plugin.logs import LogKind
from benchwater.read.bare_units import BareUnits
from benchwater.read.body import read_body
from benchwater.read.coded import Coded, Rows
from benchwater.read.headers import Header
from benchwater.read.limits import MOST_SET_ASIDE
from benchwater.read.one_row import Problem, read_record, whole_record_problem
from benchwater.read.outcome import SetAside
from benchwater.read.reasons import FileError
from benchwater.read.records import Record
from benchwater.read.row_columns import not_plainly_rows, read_columns
from benchwater.units import QuantityError, read_quantity


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadRows:
    """The usable rows of one file, those set aside, and the documented units that had to stand in.

    `columns` holds the values of the usable rows by the table's column names, `lines` the line each row
    starts on.
    """

    columns: Mapping[str, Coded]
    lines: Rows
    set_aside: tuple[SetAside, ...]
    fallbacks: frozenset[str]


def read_rows(file: str, header: Header, bench: Bench) -> ReadRows:
    """Every record below the header, as a row or set aside. FileError beyond the bounds of an honest log.

    Columns are read first, each distinct text once; the few records in which anything is wrong are then
    read one by one, for what to tell about them.
    """
    _check_heading_units(header)
    units = BareUnits(header, bench)
    body = read_body(header.below, header.separator, len(header.headings), header.first_line)
    told: dict[int, SetAside] = {}
    for row in not_plainly_rows(body, header).tolist():
        record = body.record(row)
        early = whole_record_problem(record, header)
        if early is not None:
            told[record.line] = _set_aside(file, header.kind, record, [early])
    if told:
        body = body.take(~np.isin(body.lines, list(told)))
    columns, refused = read_columns(body, header, bench, units)
    suspects = np.flatnonzero(refused)
    if len(told) + len(suspects) > MOST_SET_ASIDE:
        raise FileError(
            f"has {len(told) + len(suspects)} rows that cannot be read (at most {MOST_SET_ASIDE})"
        )
    for row in suspects.tolist():
        record = body.record(row)
        problems = read_record(record, header, bench, units)[1]
        refused[row] = bool(problems)
        if problems:
            told[record.line] = _set_aside(file, header.kind, record, problems)
    if len(suspects):
        columns = {name: column.take(~refused) for name, column in columns.items()}
    return ReadRows(
        columns=columns,
        lines=body.lines[~refused],
        set_aside=tuple(told[line] for line in sorted(told)),
        fallbacks=frozenset(units.stood_in),
    )


def _check_heading_units(header: Header) -> None:
    for heading in header.headings:
        column = heading.column
        if column is None or heading.unit is None:
            continue
        if column.kind in {"temperature", "mass", "duration", "length", "volume"}:
            try:
                read_quantity("1", column.kind, default_unit=heading.unit)
            except QuantityError as error:
                raise FileError(f"has a heading for `{column.name}` that {error}") from None


def _set_aside(file: str, kind: LogKind, record: Record, problems: Sequence[Problem]) -> SetAside:
    first, *others = problems
    why = first.error.why
    for other in others:
        written = f", written `{other.value}`," if other.value else ""
        why += f"; also `{other.column}`{written} {other.error.why}"
    return SetAside(
        file=file,
        line=record.line,
        column=first.column,
        value=first.value,
        why=why,
        reason=first.error.reason.name.lower(),
        log=kind.name,
    )
