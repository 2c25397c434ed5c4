"""Looks up which columns of a log a heading may name: outright, in everyday words, or misspelt."""

import re
from collections.abc import Mapping
from functools import lru_cache

from benchwater.plugin.logs import Column, LogKind
from benchwater.read.vocabulary import Spellings, cached_by_identity, everyday_key, unordered_key
from benchwater.text import near_names
from benchwater.units import is_quantity
from benchwater.units.quantities import is_unit

_CLOSE = 0.8
_ORDINARY = frozenset(
    "boat coast host most state later date data rate water weather wind cloud costs shots sight light height "
    "width depth months month year years start finish time".split()
)
_DEGREES = frozenset({"deg", "deg.", "degrees", "degree", "in"})
_UNIT = re.compile(r"(?P<name>[^\[(]+)[\[(](?P<unit>[^\])]{1,20})[\])]\s*")

Guess = dict[str, str | None]
"""The columns that a heading may name, each with the unit of its bare numbers."""


@lru_cache(maxsize=2_000)
def plain_heading(text: str) -> str:
    """A heading as it is compared: lower case, words joined by underscores."""
    return "_".join(re.sub(r"[\s_\-]+", " ", text).strip().casefold().split())


@lru_cache(maxsize=2_000)
def split_unit(text: str) -> tuple[str, str | None]:
    """`mold_temp [F]` is `mold_temp` in `F`."""
    match = _UNIT.fullmatch(text.strip())
    return (match["name"].strip(), match["unit"].strip()) if match else (text.strip(), None)


class ColumnNames:
    """The names of one log's columns."""

    def __init__(self, kind: LogKind) -> None:
        self.exact: dict[str, Column] = {}
        self._everyday: dict[str, dict[str, tuple[Column, str | None]]] = {}
        self._unordered: dict[str, dict[str, tuple[Column, str | None]]] = {}
        for column in kind.columns:
            for name in (column.name, *column.also):
                self.exact.setdefault(plain_heading(name), column)
            for phrase in (column.name, *column.also, *column.everyday):
                name, unit = split_unit(phrase)
                self._everyday.setdefault(everyday_key(name), {})[column.name] = column, unit
                self._unordered.setdefault(unordered_key(name), {})[column.name] = column, unit
        self._everyday.pop("", None)
        self._unordered.pop("", None)
        self._spellings = Spellings(self._everyday)
        self.implied = {everyday_key(each) for c in kind.columns for _, says in c.implied for each in says}

    def has_phrase(self, name: str) -> bool:
        """Whether a heading without its unit is an everyday heading, in whatever order of words."""
        return everyday_key(name) in self._everyday or unordered_key(name) in self._unordered

    def of_phrase(self, name: str) -> Mapping[str, tuple[Column, str | None]]:
        """The columns of an everyday heading, in whatever order of words, each with the unit it implies."""
        return self._everyday.get(everyday_key(name)) or self._unordered.get(unordered_key(name), {})

    def only_column(self, heading: str) -> Column | None:
        """The column that a heading names outright, or as its only everyday meaning."""
        name, _ = split_unit(heading)
        if (exact := self.exact.get(plain_heading(name))) is not None:
            return exact
        found = self._everyday.get(everyday_key(name), {})
        return next(iter(found.values()))[0] if len(found) == 1 else None

    def guesses(self, heading: str) -> Guess:
        """The columns that an everyday heading fits; the unit may be its last word."""
        name, unit = split_unit(heading)
        whole = self.of_phrase(name)
        words = name.replace("°", " ").replace(",", " ").split()
        if not whole and unit is None and len(words) > 1:
            before = words[:-2] if words[-2].casefold() in _DEGREES else words[:-1]
            whole = self.of_phrase(" ".join(before))
            return {found: words[-1] for found, (column, _) in whole.items() if _fits(column, words[-1])}
        return {
            found: unit or own
            for found, (column, own) in whole.items()
            if unit is None or not is_quantity(column.kind) or _fits(column, unit)
        }

    def misspelt(self, heading: str) -> Guess:
        """The columns that the heading may be a misspelling for."""
        name, unit = split_unit(heading)
        key = everyday_key(name)
        near = () if key in _ORDINARY else self._spellings.near(key)
        return {found: unit or own for each in near for found, (_, own) in self._everyday[each].items()}

    def near_phrases(self, name: str, absent: frozenset[str]) -> tuple[str, ...]:
        """The columns among those absent whose everyday headings are most like a heading."""
        near_to = {key: columns for key, columns in self._everyday.items() if columns.keys() & absent}
        keys = near_names(everyday_key(name), near_to, most=2, least=_CLOSE)
        return tuple(column for key in keys for column in near_to[key] if column in absent)


@cached_by_identity
def column_names(kind: LogKind) -> ColumnNames:
    """The names of a log's columns."""
    return ColumnNames(kind)


@lru_cache(maxsize=5_000)
def near_columns(names: ColumnNames, heading: str, absent: frozenset[str]) -> tuple[str, ...]:
    """The columns among those absent whose everyday headings are most like a heading."""
    return names.near_phrases(split_unit(heading)[0], absent)


@lru_cache(maxsize=20_000)
def may_name(names: ColumnNames, heading: str) -> bool:
    """Whether a heading may name any column of a log, or say what stands in every row of one."""
    name = split_unit(heading)[0]
    return bool(
        plain_heading(name) in names.exact
        or names.guesses(heading)
        or names.misspelt(heading)
        or everyday_key(heading) in names.implied
    )


def _fits(column: Column, unit: str) -> bool:
    return is_quantity(column.kind) and is_unit(unit, column.kind)
