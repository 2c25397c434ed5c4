"""Logs as CSV in canonical units, safe to open in a spreadsheet, and the Table Schema 2.0 of every log.

Each log has two schemas. The one of a log *as written* is strict: benchwater reads every cell that conforms
(in a file with commas between cells and points in numbers), and accepts more, such as other headings, other
case, `$` before money, or fractions typed as one character. Quantities carry their unit, so they are strings
with a pattern; so are dates, because a log mixes days with days and times. A schema cannot hold rules
between cells (a cavity of that mold, an amount in a unit of that item): `benchwater check` does.

The other describes the *canonical* CSV that `to_csv` writes: numbers in the units that the fields name.
"""

import json
import re
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from benchwater.files import write_atomically
from benchwater.plugin.bench import Bench, Item
from benchwater.plugin.logs import Column, LogKind
from benchwater.read.cells import documented_unit
from benchwater.text import csv_lines
from benchwater.units import QUANTITIES, Dimension, is_quantity, unit_spellings

if TYPE_CHECKING:
    import pandas as pd

Descriptor = dict[str, Any]
PROFILE = "https://datapackage.org/profiles/2.0/tableschema.json"

_DECIMAL = r"[0-9]{1,6}(\.[0-9]{1,4})?"
_FRACTION = r"[0-9]{1,4}/[1-9][0-9]{0,3}"
_NUMBER = rf"({_DECIMAL}|{_FRACTION}|[0-9]{{1,6}} {_FRACTION})"
_CLOCK = r"[0-9]{1,4}:[0-5][0-9](:[0-5][0-9])?"
_YEAR, _MONTH, _DAY = r"(19[5-9][0-9]|20[0-9][0-9])", r"(0[1-9]|1[0-2])", r"(0[1-9]|[12][0-9]|3[01])"
_TIME = r"([ T]([01][0-9]|2[0-3]):[0-5][0-9](:[0-5][0-9])?)?"
_LOWEST_C = -273.15
DATE_FORMAT = "%Y-%m-%d %H:%M:%S"
ITEM_UNIT = "item_unit"
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
_PLAIN_NUMBER = re.compile(r"[+-]?[0-9]+(?:[.,][0-9]+)?")
_WORDS = frozenset({"text", "photo", "word", "name", "yes_no"})


def safe_text(text: str) -> str:
    """Prefix an apostrophe to text that a spreadsheet would run as a formula (CWE-1236).

    Numbers such as `-2` stay as they are.
    """
    return f"'{text}" if text.startswith(_FORMULA) and not _PLAIN_NUMBER.fullmatch(text) else text


def keeps_item_unit(kind: LogKind) -> bool:
    """Return whether rows of this log need the unit of their item beside the amount."""
    item = kind.column("item")
    return item is not None and item.refers_to == "item" and any(c.kind == "amount" for c in kind.columns)


def extra_columns(table: "pd.DataFrame", kind: LogKind) -> tuple[str, ...]:
    """Return the maker's own columns of a log's table."""
    return tuple(name for name in table.columns if name not in kind.frame_columns)


def csv_text(table: "pd.DataFrame", kind: LogKind, items: Mapping[str, Item]) -> str:
    """Return the rows as CSV (RFC 4180 quoting, `\\n` between lines), missing cells empty.

    Numbers read back exactly; days and times are as in `DATE_FORMAT`.
    """
    columns: dict[str, list[str]] = {}
    for column in kind.columns:
        columns[column.frame_name] = _cells(table[column.frame_name], _writer(column))
        if column.kind == "amount" and keeps_item_unit(kind):
            columns[ITEM_UNIT] = [items[item].unit for item in table["item"]]
    columns["file"] = _cells(table["file"], safe_text)
    columns["line"] = _cells(table["line"], str)
    for name in extra_columns(table, kind):
        columns[safe_text(name)] = _cells(table[name], safe_text)
    return csv_lines((columns, *zip(*columns.values(), strict=True)))


def _cells(column: "pd.Series[Any]", write: Callable[[Any], str]) -> list[str]:
    return ["" if gone else write(value) for value, gone in zip(column, column.isna(), strict=True)]


def _writer(column: Column) -> Callable[[Any], str]:
    if column.kind == "date":
        return lambda moment: moment.strftime(DATE_FORMAT)
    if column.kind == "count":
        return lambda value: str(int(value))
    if column.kind == "tags":
        return lambda tags: safe_text(";".join(tags))
    if column.kind in _WORDS:
        return safe_text
    return lambda value: repr(float(value))


def written_schema(kind: LogKind, bench: Bench | None = None) -> Descriptor:
    """Return the schema of a log as makers write it, with the bench's names, date order and default units."""
    known = ", ".join(f"`{name}`" for name in kind.signature)
    return _schema(
        f"{kind.title}, as written",
        f"A file is taken for this log when its header has the columns {known}. Columns may be left out or "
        f"added otherwise. The strict form: benchwater reads more than this.",
        (_written_field(column, bench) for column in kind.columns),
        match="partial",
    )


def canonical_schema(kind: LogKind, bench: Bench | None = None, extra: Iterable[str] = ()) -> Descriptor:
    """Return the schema of a log as `to_csv` writes it, with the maker's `extra` columns at the end."""
    fields: list[Descriptor] = []
    for column in kind.columns:
        fields.append(_canonical_field(column, bench))
        if column.kind == "amount" and keeps_item_unit(kind):
            fields.append(
                _field(ITEM_UNIT, "string", "unit of this row's amount", enum=["g", "mL", "pieces"])
            )
    fields.append(_field("file", "string", "the file the row was read from", required=True))
    fields.append(_field("line", "integer", "the line the row begins on", required=True, minimum=1))
    fields += [_field(safe_text(name), "string", "a column of the maker's own") for name in extra]
    return _schema(
        f"{kind.title}, in canonical units",
        "Numbers in the unit that each field names. Text that a spreadsheet would take for a formula begins "
        "with an apostrophe.",
        fields,
        match="equal" if extra else "subset",
    )


def write_schemas(kinds: Iterable[LogKind], bench: Bench | None, folder: Path) -> tuple[Path, ...]:
    """Write `<log>.schema.json` and `<log>.canonical.schema.json` of each log."""
    folder.mkdir(parents=True, exist_ok=True)
    written: list[Path] = []
    for kind in kinds:
        written.append(
            write_atomically(folder / f"{kind.name}.schema.json", json_bytes(written_schema(kind, bench)))
        )
        canonical = canonical_schema(kind, bench)
        written.append(write_atomically(folder / f"{kind.name}.canonical.schema.json", json_bytes(canonical)))
    return tuple(written)


def json_bytes(descriptor: Descriptor) -> bytes:
    """Return a descriptor as JSON, the same bytes every time."""
    return f"{json.dumps(descriptor, ensure_ascii=False, indent=2)}\n".encode()


def _schema(title: str, description: str, fields: Iterable[Descriptor], *, match: str) -> Descriptor:
    return {
        "$schema": PROFILE,
        "title": title,
        "description": description,
        "fields": list(fields),
        "fieldsMatch": match,
        "missingValues": [""],
    }


def _field(
    name: str,
    type: str,
    description: str,
    *,
    format: str | None = None,
    unit: str | None = None,
    **rules: Any,
) -> Descriptor:
    field: Descriptor = {"name": name, "type": type}
    if format is not None:
        field["format"] = format
    field["description"] = description
    if unit is not None:
        field["unit"] = unit
    constraints = {rule: value for rule, value in rules.items() if value not in (None, False)}
    if constraints:
        field["constraints"] = constraints
    return field


def _written_field(column: Column, bench: Bench | None) -> Descriptor:
    type, rules = _written_type(column, bench)
    meaning = column.meaning
    if column.default is not None:
        meaning += f" (left empty: {column.default})"
    field = _field(column.name, type, meaning, required=column.needed, **rules)
    if is_quantity(column.kind) and bench is not None:
        field["bareUnit"] = bench.default_units.get(column.name) or documented_unit(column, bench)
    if column.also:
        field["alsoCalled"] = list(column.also)
    return field


def _written_type(column: Column, bench: Bench | None) -> tuple[str, Descriptor]:
    if column.kind == "date":
        return "string", {"pattern": _date_pattern(bench)}
    if column.kind == "count":
        return "integer", {"minimum": None if column.signed else 0, "maximum": column.most}
    if column.kind in {"number", "money"}:
        return "number", {"minimum": None if column.signed else 0}
    if is_quantity(column.kind):
        return "string", {"pattern": _quantity_pattern(column.kind)}
    if column.kind in {"amount", "spread"}:
        each = [_quantity_pattern(dimension) for dimension in ("mass", "volume", "pieces")]
        return "string", {"pattern": f"({'|'.join(each)})"}
    return "string", {"enum": _enum(column, bench)}


def _enum(column: Column, bench: Bench | None) -> list[str] | None:
    if column.kind == "yes_no":
        return None if "*" in column.words else ["yes", "no"]
    if column.kind == "word":
        return list(column.words)
    if bench is None or column.refers_to is None:
        return None
    names = {"mold": bench.molds, "item": bench.items, "build": bench.builds}.get(column.refers_to)
    return list(names) if names else None


def _date_pattern(bench: Bench | None) -> str:
    day = f"{_YEAR}-{_MONTH}-{_DAY}"
    if bench is not None and bench.date_order != "iso":
        first, second = (_DAY, _MONTH) if bench.date_order == "day first" else (_MONTH, _DAY)
        day = f"({day}|{first}[/.]{second}[/.]{_YEAR})"
    return f"{day}{_TIME}"


def _quantity_pattern(dimension: Dimension) -> str:
    unit = f"({'|'.join(_cased(unit_spellings(dimension)))})"
    if dimension == "temperature":
        below_zero = rf"-[0-9]{{1,2}}(\.[0-9]{{1,4}})?( ?({'|'.join(_cased(('c', '°c', 'f', '°f')))}))?"
        return f"({_NUMBER}( ?{unit})?|{below_zero})"
    if dimension == "pieces":
        return f"[0-9]{{1,6}}( ?{unit})?"
    several = f"{_NUMBER}( ?{unit}( {_NUMBER} ?{unit})?)?"
    return f"({several}|{_CLOCK})" if dimension == "duration" else several


def _cased(spellings: Iterable[str]) -> list[str]:
    """Return the spellings in the cases that people write: `degf`, `DEGF`, `Degf`, and `degF`."""
    cased: dict[str, None] = {}
    for text in spellings:
        cased |= dict.fromkeys((text, text.upper(), text.capitalize()))
        if text[-1:] in {"c", "f", "l"}:
            cased[text[:-1] + text[-1].upper()] = None
    return list(cased)


def _canonical_field(column: Column, bench: Bench | None) -> Descriptor:
    name, meaning = column.frame_name, column.meaning
    filled = column.needed or column.default is not None
    least = None if column.signed else 0
    if column.kind == "date":
        return _field(name, "datetime", meaning, format=DATE_FORMAT, required=filled)
    if column.kind == "count":
        return _field(name, "integer", meaning, unit="1", required=filled, minimum=least, maximum=column.most)
    if column.kind == "number":
        return _field(name, "number", meaning, required=filled, minimum=least)
    if column.kind == "money":
        unit = "money" if bench is None else bench.currency
        return _field(name, "number", meaning, unit=unit, required=filled, minimum=least)
    if column.kind in {"amount", "spread"}:
        return _field(name, "number", f"{meaning}; see {ITEM_UNIT}", required=filled, minimum=0)
    if is_quantity(column.kind):
        unit = QUANTITIES[column.kind].canonical
        lowest = _LOWEST_C if column.kind == "temperature" else 0
        return _field(name, "number", meaning, unit=unit, required=filled, minimum=lowest)
    if column.kind == "tags":
        meaning += ", with ; between them"
    words = _enum(column, None)
    enum = [safe_text(word) for word in words] if words is not None else None
    return _field(name, "string", meaning, required=filled, enum=enum)
