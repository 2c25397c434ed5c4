"""From rows of values to one table a log kind, with a fixed type for every column."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from benchwater.plugin.logs import Column, LogKind
from benchwater.read.rows import Row

if TYPE_CHECKING:
    import pandas as pd

_NUMBERS = frozenset(
    {"number", "money", "amount", "spread", "temperature", "mass", "duration", "length", "volume"}
)


def build_tables(
    kinds: Sequence[LogKind], files: Sequence[tuple[LogKind, str, tuple[Row, ...]]]
) -> "dict[str, pd.DataFrame]":
    """One table a log kind (empty ones too), in order of date, file and line; see `Season.log`."""
    return {
        kind.name: _table(kind, [(file, rows) for of_kind, file, rows in files if of_kind.name == kind.name])
        for kind in kinds
    }


def _table(kind: LogKind, files: Sequence[tuple[str, tuple[Row, ...]]]) -> "pd.DataFrame":
    import pandas as pd

    rows = [(file, row) for file, rows in files for row in rows]
    data: dict[str, pd.Series] = {}
    for column in kind.columns:
        values = [row.values.get(column.frame_name) for _, row in rows]
        data[column.frame_name] = pd.Series(values, dtype=_dtype(column))
    data["file"] = pd.Series([file for file, _ in rows], dtype="str")
    data["line"] = pd.Series([row.line for _, row in rows], dtype="int64")
    declared = set(data)
    extra = sorted({name for _, row in rows for name in row.values} - declared)
    for name in extra:
        data[name] = pd.Series([row.values.get(name) for _, row in rows], dtype="str")
    table = pd.DataFrame(data)
    dates = next((column.frame_name for column in kind.columns if column.kind == "date"), None)
    order = [name for name in (dates, "file", "line") if name is not None]
    table = table.sort_values(order, kind="stable", ignore_index=True)
    for column in kind.columns:
        if column.kind == "name" and column.refers_to is None:
            table[column.frame_name] = _one_spelling(table[column.frame_name])
    return table


def _one_spelling(names: "pd.Series") -> "pd.Series":
    """`Mill Reach` and `mill reach` are one water: the spelling met first stands for both."""
    first: dict[str, str] = {}
    for name in names.dropna():
        first.setdefault(name.casefold(), name)
    return names.map(lambda name: first[name.casefold()], na_action="ignore").astype("str")


def _dtype(column: Column) -> str:
    if column.kind == "date":
        return "datetime64[us]"
    if column.kind == "count":
        return "int64" if column.default is not None or column.needed else "float64"
    if column.kind in _NUMBERS:
        return "float64"
    return "object" if column.kind == "tags" else "str"
