"""Reads logs record by record in plain Python, as an oracle for the reader, which reads column by column.

`read_record` for each row, a counter of rows for repeats, a list of values for each column.
"""

from collections import Counter
from collections.abc import Hashable, Mapping, Sequence
from pathlib import Path
from typing import NamedTuple, cast

import pandas as pd

from benchwater.plugin import Bench, Column, LogKind
from benchwater.read.cells import check_cavity, read_amount
from benchwater.read.columns import BareUnits, read_filled_or_empty
from benchwater.read.dates import date_hints
from benchwater.read.headers import recognise
from benchwater.read.names import find_place
from benchwater.read.outcome import CellError, Reason
from benchwater.read.records import decode, plain_ends, records_and_ends
from benchwater.read.rows import Problem, extra_name, record_problem
from benchwater.words import runs

NUMBERS = {"number", "money", "amount", "spread", "temperature", "mass", "duration", "length", "volume"}


class Row(NamedTuple):
    line: int
    values: Mapping[str, object]


class SlowReading(NamedTuple):
    """Tables; (file, line, column, value, reason) of rows and of cells set aside; repeats; what stood in."""

    tables: dict[str, pd.DataFrame]
    set_aside: list[tuple[str, int, str, str, str]]
    cells_set_aside: list[tuple[str, int, str, str, str]]
    repeats: list[tuple[str, str, int, str]]
    fallbacks: set[str]


def read_row_by_row(
    files: Mapping[str, bytes], kinds: Sequence[LogKind], bench: Bench, keep: Sequence[str] = ()
) -> SlowReading:
    read: list[tuple[LogKind, str, list[Row]]] = []
    set_aside, cells = [], []
    fallbacks: set[str] = set()
    for name, data in files.items():
        header = recognise(decode(data).text, kinds, bench)
        at = header.date_position
        days = [
            r.cells[at].strip()
            for r in records(header.below, header.separator)
            if at is not None and at < len(r.cells)
        ]
        units = BareUnits(header, bench, date_hints(days, bench.date_order, name))
        rows = []
        for below in records(header.below, header.separator):
            record = below._replace(line=below.line - 1 + header.first_line)
            values, problems = read_record(record, header, bench, units)
            told = [(name, record.line, p.column, p.value, p.error.reason.name.lower()) for p in problems]
            if values is None:
                set_aside.append(told[0])
            else:
                cells += told
                rows.append(Row(record.line, values))
        read.append((header.kind, name, rows))
        fallbacks |= units.stood_in
    unique, repeats = take_repeats(read, keep)
    tables = {
        kind.name: table(kind, [entry for entry in unique if entry[0].name == kind.name]) for kind in kinds
    }
    counted = {(file, row.line) for _, file, rows in unique for row in rows}
    cells = [cell for cell in cells if cell[:2] in counted]
    return SlowReading(tables, set_aside, cells, repeats, fallbacks)


def decides_row(name, kind):
    column = kind.column(name)
    return column is None or column.decides_row


def read_folder_row_by_row(folder: Path, names: Sequence[str], *args, **kwargs) -> SlowReading:
    return read_row_by_row({name: (folder / name).read_bytes() for name in names}, *args, **kwargs)


def records(text, separator):
    return (record for record, _ in records_and_ends(plain_ends(text), separator))


def read_record(record, header, bench, units):
    """The values of a record by the table's column names, None for no row, and all that is wrong with it."""
    early = record_problem(record, header)
    if early is not None:
        return None, [early]
    cells = [cell.strip() for cell in record.cells]
    values: dict[str, object] = {}
    problems: list[Problem] = []
    texts: dict[str, str] = {}
    for heading in header.headings:
        text = cells[heading.position] if heading.position < len(cells) else ""
        if heading.column is not None:
            texts[heading.column.name] = text
        elif heading.text:
            values[extra_name(heading, header.kind)] = text or None
    texts |= places(texts, header.kind, bench)
    for column in header.kind.columns:
        text = texts.get(column.name, "")
        try:
            values[column.frame_name] = read_filled_or_empty(text, column, units.context(column, text))
        except CellError as error:
            problems.append(Problem(column.name, text, error))
    problems += amounts_and_cavities(texts, values, header.kind, bench, units, problems)
    if any(decides_row(problem.column, header.kind) for problem in problems):
        return None, problems
    unknown = {header.kind.column(problem.column).frame_name for problem in problems}
    values |= dict.fromkeys(unknown)
    if header.kind.check is not None:
        rules = [
            Problem(found.column, texts.get(found.column, ""), CellError(Reason.RULE, found.why))
            for found in header.kind.check(values, bench)
        ]
        if any(decides_row(rule.column, header.kind) for rule in rules):
            return None, rules + problems
        values |= dict.fromkeys(header.kind.column(rule.column).frame_name for rule in rules)
        problems += rules
    return values, problems


def places(texts, kind, bench):
    """The mold and cavity of a row that names both in one cell."""
    names = [column.name for column in kind.columns if column.refers_to in {"mold", "cavity"}]
    if len(names) == 2:
        for name, other in (names, names[::-1]):
            if texts.get(name) and not texts.get(other) and (place := find_place(texts[name], bench)):
                return place._asdict()
    return {}


def amounts_and_cavities(texts, values, kind, bench, units, earlier):
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


def take_repeats(files, keep):
    most: dict[str, Counter[Hashable]] = {}
    first_in: dict[Hashable, str] = {}
    unique, repeats = [], []
    for kind, file, rows in sorted(files, key=lambda entry: entry[1]):
        held = most.setdefault(kind.name, Counter())
        meant = "*" in keep or file in keep
        here: Counter[Hashable] = Counter()
        kept: list[Row] = []
        repeated: dict[str, list[int]] = {}
        for row in rows:
            key = tuple(sorted((n, v) for n, v in row.values.items() if v is not None and v != ""))
            here[key] += 1
            if not meant and here[key] <= held[key]:
                repeated.setdefault(first_in[kind.name, key], []).append(row.line)
            else:
                kept.append(row)
                first_in.setdefault((kind.name, key), file)
        for seen, count in here.items():
            held[seen] = held[seen] + count if meant else max(held[seen], count)
        unique.append((kind, file, kept))
        repeats += [(file, runs(lines), len(lines), first) for first, lines in sorted(repeated.items())]
    return unique, repeats


def table(kind: LogKind, files) -> pd.DataFrame:
    rows = [(file, row) for _, file, rows in files for row in rows]
    data = {}
    for column in kind.columns:
        values = [row.values.get(column.frame_name) for _, row in rows]
        data[column.frame_name] = pd.Series(values, dtype=dtype(column))
    data["file"] = pd.Series([file for file, _ in rows], dtype="str")
    data["line"] = pd.Series([row.line for _, row in rows], dtype="int64")
    extra = sorted({name for _, row in rows for name in row.values} - set(data))
    for name in extra:
        data[name] = pd.Series([row.values.get(name) for _, row in rows], dtype="str")
    built = pd.DataFrame(data).sort_values(["date", "file", "line"], kind="stable", ignore_index=True)
    for column in kind.columns:
        if column.kind == "name" and column.refers_to is None:
            first: dict[str, str] = {}
            for name in built[column.frame_name].dropna():
                first.setdefault(name.casefold(), name)
            built[column.frame_name] = (
                built[column.frame_name]
                .map(lambda name, first=first: first[name.casefold()], na_action="ignore")
                .astype("str")
            )
    words = [name for name in built.columns if built[name].dtype == "str"]
    return built.astype(dict.fromkeys(words, "category"))


def dtype(column: Column) -> str:
    if column.kind == "date":
        return "datetime64[us]"
    if column.kind == "count":
        return "int64" if column.default is not None or column.needed else "float64"
    if column.kind in NUMBERS:
        return "float64"
    return "object" if column.kind == "tags" else "str"
