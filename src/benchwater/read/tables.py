"""From columns of values to one table a log kind, with a fixed type for every column."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from benchwater.plugin.logs import Column, LogKind
from benchwater.read.coded import Coded, Rows, empty_column, joined
from benchwater.read.repeats import FileRows
from benchwater.units import QUANTITIES

if TYPE_CHECKING:
    import pandas as pd

_NUMBERS = frozenset({"number", "money", "amount", "spread", *QUANTITIES})


def build_tables(kinds: Sequence[LogKind], files: Sequence[FileRows]) -> "dict[str, pd.DataFrame]":
    """One table a log kind (empty ones too), in order of date, file and line; see `Season.log`."""
    return {kind.name: _table(kind, [entry for entry in files if entry.log == kind.name]) for kind in kinds}


def _table(kind: LogKind, files: Sequence[FileRows]) -> "pd.DataFrame":
    import pandas as pd

    files = sorted((entry for entry in files if len(entry.lines)), key=lambda entry: entry.file)
    lines = np.concatenate([np.zeros(0, dtype=np.int64), *(entry.lines for entry in files)])
    dates = next((column for column in kind.columns if column.kind == "date"), None)
    order = np.arange(len(lines)) if dates is None else _by_date(_joined(files, dates.frame_name), dates)
    data: dict[str, Any] = {}
    for column in kind.columns:
        values = _joined(files, column.frame_name).take(order)
        if column.kind == "name" and column.refers_to is None:
            values = _one_spelling(values)
        dtype = _dtype(column)
        data[column.frame_name] = _categorical(values) if dtype == "category" else _spread(values, dtype)
    counts = [len(entry.lines) for entry in files]
    names = Coded(np.repeat(np.arange(len(files), dtype=np.int32), counts), [entry.file for entry in files])
    data["file"] = _categorical(names.take(order))
    data["line"] = lines[order]
    declared = set(data)
    for name in sorted({name for entry in files for name in entry.columns} - declared):
        data[name] = _categorical(_joined(files, name).take(order))
    return pd.DataFrame(data, copy=False)


def _joined(files: Sequence[FileRows], name: str) -> Coded:
    return joined([entry.columns.get(name) or empty_column(len(entry.lines)) for entry in files])


def _by_date(dates: Coded, column: Column) -> Rows:
    moments = np.asarray(_typed(dates.values, _dtype(column)))[dates.codes]
    return np.argsort(moments, kind="stable")


def _spread(column: Coded, dtype: str) -> Any:
    """The array of a column, from the array of its distinct values."""
    return _typed(column.values, dtype).take(column.codes)


def _typed(values: Sequence[Any], dtype: str) -> Any:
    if dtype == "object":
        held = np.empty(len(values), dtype=object)
        held[:] = values
        return held
    if dtype == "float64":
        return np.array([np.nan if value is None else value for value in values], dtype=np.float64)
    if dtype == "int64":
        return np.array([0 if value is None else value for value in values], dtype=np.int64)
    return np.array(values, dtype="datetime64[us]")


def _categorical(column: Coded) -> "pd.Categorical":
    """A column of words; its categories are the words that occur, in alphabetical order."""
    import pandas as pd

    used = {value for value, is_used in zip(column.values, column.used(), strict=True) if is_used}
    words = sorted(used - {None})
    places = {word: place for place, word in enumerate(words)}
    codes = np.array([places.get(value, -1) for value in column.values], dtype=np.int32)
    return pd.Categorical.from_codes(codes[column.codes], categories=pd.Index(words, dtype="str"))


def _one_spelling(names: Coded) -> Coded:
    """`Mill Reach` and `mill reach` are one water: the spelling met first stands for both."""
    folded: dict[str, list[int]] = {}
    for code, name in enumerate(names.values):
        if name is not None:
            folded.setdefault(name.casefold(), []).append(code)
    several = [codes for codes in folded.values() if len(codes) > 1]
    if not several:
        return names
    met = np.full(len(names.values), len(names.codes), dtype=np.int64)
    met[names.codes[::-1]] = np.arange(len(names.codes))[::-1]
    spelt = list(names.values)
    for codes in several:
        first = min(codes, key=lambda code: int(met[code]))
        for code in codes:
            spelt[code] = names.values[first]
    return Coded(names.codes, spelt)


def _dtype(column: Column) -> str:
    if column.kind == "date":
        return "datetime64[us]"
    if column.kind == "count":
        return "int64" if column.default is not None or column.needed else "float64"
    if column.kind in _NUMBERS:
        return "float64"
    return "object" if column.kind == "tags" else "category"
