"""A log's table as CSV in canonical units, safe to open in a spreadsheet."""

import csv
import io
import re
from collections.abc import Callable, Mapping
from datetime import datetime
from typing import TYPE_CHECKING, Any

from benchwater.plugin.bench import Item
from benchwater.plugin.logs import Column, LogKind

if TYPE_CHECKING:
    import pandas as pd

DATE_FORMAT = "%Y-%m-%d %H:%M:%S"
ITEM_UNIT = "item_unit"
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
_NUMBER = re.compile(r"[+-]?[0-9]+(?:[.,][0-9]+)?")
_WORDS = frozenset({"text", "word", "name", "yes_no"})


def safe_text(text: str) -> str:
    """Prefix an apostrophe to text that a spreadsheet would run as a formula (CWE-1236).

    Numbers such as `-2` stay as they are.
    """
    return f"'{text}" if text.startswith(_FORMULA) and not _NUMBER.fullmatch(text) else text


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
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows(zip(*columns.values(), strict=True))
    return stream.getvalue()


def _cells(column: "pd.Series[Any]", write: Callable[[Any], str]) -> list[str]:
    return ["" if gone else write(value) for value, gone in zip(column, column.isna(), strict=True)]


def _writer(column: Column) -> Callable[[Any], str]:
    if column.kind == "date":
        return _moment
    if column.kind == "count":
        return lambda value: str(int(value))
    if column.kind == "tags":
        return lambda tags: safe_text(";".join(tags))
    if column.kind in _WORDS:
        return safe_text
    return lambda value: repr(float(value))


def _moment(value: datetime) -> str:
    return value.strftime(DATE_FORMAT)
