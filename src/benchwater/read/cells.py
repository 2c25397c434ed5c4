"""Reads one cell as its column declares. No library guesses a type, a date or a unit."""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from typing import Literal

from benchwater.plugin.bench import Bench, Item
from benchwater.plugin.logs import Column, Value
from benchwater.read.headers import Header, everyday_key, singular
from benchwater.read.refusals import CellError, Reason
from benchwater.text import near_names, quoted
from benchwater.units import QUANTITIES, Dimension, QuantityError, is_quantity, read_number, read_quantity

DateOrder = Literal["iso", "day first", "month first"]

_MOST_NAMES = 8
_ISO = re.compile(r"([0-9]{4})[-/]([0-9]{1,2})[-/]([0-9]{1,2})")
_OTHER = re.compile(r"([0-9]{1,2})[-/.]([0-9]{1,2})[-/.]([0-9]{4})")
_TIME = re.compile(r"([01]?[0-9]|2[0-3]):([0-5][0-9])(?::([0-5][0-9]))?")
LIKE_A_DATE = re.compile(
    r"(?:[0-9]{1,2}[-. ])?(?:jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[a-z]*(?:[-. ][0-9]{1,4})?"
    r"|[0-9]{4}-[0-9]{2}-[0-9]{2}.*|[0-9]{1,2}-[0-9]{1,2}(?:-[0-9]{2,4})?",
    re.IGNORECASE,
)
_WORDS_OF_NAME = re.compile(r"[0-9]+(?:[./][0-9]+)*|[^\W\d_]+")
_YES = frozenset({"yes", "y", "true", "x"})
_NO = frozenset({"no", "n", "false", "none"})
_EVERYDAY_YES = frozenset({"✓", "✔", "☑", "yep", "yeah", "yup"})
_EVERYDAY_NO = frozenset({"✗", "✘", "nope", "nah", "without"})


@dataclass(frozen=True, slots=True, kw_only=True)
class CellContext:
    """What a cell is read against: the bench, the file's decimal mark, the column's bare unit."""

    bench: Bench
    decimal_comma: bool
    bare_unit: str | None


def documented_unit(column: Column, bench: Bench) -> str | None:
    """The unit of a bare number where neither cell, heading nor bench.toml names one."""
    if column.bare_unit or not is_quantity(column.kind):
        return column.bare_unit or None
    units = QUANTITIES[column.kind]
    return units.us if bench.system == "us" else units.metric


def read_cell(text: str, column: Column, context: CellContext) -> Value:
    """The value of one non-empty cell in the column's canonical unit; CellError says why there is none.

    `amount` cells are read by `read_amount`, since their item decides the unit; `cavity` names are
    checked by `check_cavity`, since their mold does.
    """
    kind = column.kind
    if kind == "date":
        return read_date(text, context.bench.date_order)
    if kind in {"text", "photo", "amount", "spread"}:
        return text
    if kind == "name":
        return _name(text, column, context.bench)
    if kind == "word":
        return _word(text, column)
    if kind == "tags":
        return tuple(tag for tag in (" ".join(part.split()).casefold() for part in text.split(";")) if tag)
    if kind == "yes_no":
        return _yes_no(text, column)
    if is_quantity(kind):
        return _amount(text, kind, context.bare_unit, context)
    return _plain_number(text, column, context)


def read_date(text: str, order: DateOrder) -> datetime:
    """A day, or a day and a time, in ISO 8601 or in the order that bench.toml names; never guessed."""
    day_text, _, time_text = text.strip().replace("T", " ").partition(" ")
    iso, other = _ISO.fullmatch(day_text), _OTHER.fullmatch(day_text)
    if not iso and not other:
        raise CellError(Reason.DATE, "is not a date (accepted: `2026-05-17`, `2026-05-17 09:40`)")
    hour, minute, second = _time_of_day(text, time_text.strip())
    if iso:
        year, month, day = (int(part) for part in iso.groups())
    elif other:
        first, middle, year = (int(part) for part in other.groups())
        if order == "iso":
            raise CellError(Reason.DATE_ORDER, _which_order(first, middle, year))
        day, month = (first, middle) if order == "day first" else (middle, first)
    if not 1950 <= year <= 2150:
        raise CellError(Reason.DATE, f"is not a date: the year {year} cannot be meant")
    try:
        return datetime(year, month, day, hour, minute, second)
    except ValueError:
        why = f"is not a day in the calendar: day {day} of month {month}"
        why += f", read {order} as bench.toml says" if other and order != "iso" else ""
        raise CellError(Reason.DATE, why) from None


def read_amount(text: str, item: Item, context: CellContext, *, whole: bool = True) -> float:
    """An amount of an item in its canonical unit: a bare number is in the unit the bench uses for it.

    Counted items come in whole pieces, unless `whole` is false.

    A volume of something kept by mass is converted by the item's `density`, if bench.toml has one.
    """
    if item.unit == "pieces":
        value = _amount(text, "pieces", None, context)
        if whole and value != int(value):
            raise CellError(Reason.QUANTITY, f"is not a whole number of pieces of `{item.name}`")
        return value
    dimension: Dimension = "mass" if item.unit == "g" else "volume"
    other: Dimension = "volume" if item.unit == "g" else "mass"
    try:
        return _amount(text, dimension, item.print_unit, context)
    except CellError as refusal:
        try:
            converted = _amount(text, other, None, context)
        except CellError:
            raise refusal from None
        if item.density_g_per_ml is None:
            raise CellError(
                Reason.QUANTITY,
                f"is a {other}, and `{item.name}` is kept by {dimension}: write a {dimension}, "
                f"or give its `density` under [items.{item.name}]",
            ) from None
        density = item.density_g_per_ml
        return converted * density if item.unit == "g" else converted / density


def check_cavity(text: str, mold: str, bench: Bench) -> str:
    """The name of a cavity of a known mold, as bench.toml writes it."""
    cavities = bench.molds[mold].cavities
    found = same_name(text, cavities)
    if found is not None:
        return found
    if LIKE_A_DATE.fullmatch(text.strip()):
        raise CellError(
            Reason.NAME,
            f"looks like a date that a spreadsheet made of a fraction such as `1/8` "
            f"(cavities of `{mold}`: {quoted(cavities, _MOST_NAMES)}): format the column as text",
        )
    raise CellError(Reason.NAME, f"is not a cavity of `{mold}` (it has {quoted(cavities, _MOST_NAMES)})")


def unknown_name(text: str, known: Iterable[str], what: str) -> str:
    """The sentence for a name that is not on the bench, with the nearest known ones."""
    names = list(known)
    near = near_names(text, names, most=3)
    if near:
        return f"is not {what} in bench.toml; nearest: {quoted(near, _MOST_NAMES)}"
    if not names:
        return f"is not {what} in bench.toml, which has none yet"
    return f"is not {what} in bench.toml (it has {quoted(names, _MOST_NAMES)})"


def same_name(text: str, known: Iterable[str]) -> str | None:
    """The known name that a text spells, or else the only known one of the same words in any order."""
    plain = same_spelling(text)
    names = list(known)
    exact = next((name for name in names if same_spelling(name) == plain), None)
    words = words_of_name(text)
    alike = [name for name in names if any(words) and words_of_name(name) == words] if exact is None else []
    return alike[0] if len(alike) == 1 else exact


def same_spelling(name: str) -> str:
    """A name as two spellings are compared: case and white space ignored."""
    return " ".join(name.split()).casefold()


@lru_cache(maxsize=5_000)
def words_of_name(name: str) -> tuple[str, list[str]]:
    """The whole number in front of a name, and its words and sizes, sorted.

    Hyphens, spaces, case and plural do not count. The number in front does: `2 hooks` counts hooks, and
    `hook-2` is a size.
    """
    words = [singular(word) for word in _WORDS_OF_NAME.findall(name.casefold())]
    in_front = words.pop(0) if words and words[0].isdigit() else ""
    return in_front, sorted(words)


def _name(text: str, column: Column, bench: Bench) -> str:
    if column.refers_to is None or column.refers_to == "cavity":
        return " ".join(text.split())
    known, what = {
        "mold": (list(bench.molds), "a mold"),
        "item": (list(bench.items), "an item"),
        "build": (list(bench.builds), "a build"),
    }[column.refers_to]
    found = same_name(text, known)
    if found is None:
        raise CellError(Reason.NAME, unknown_name(text, known, what))
    return found


def _word(text: str, column: Column) -> str:
    plain = " ".join(text.replace("-", " ").split()).casefold()
    for word in column.words:
        if plain == word.replace("-", " ").casefold():
            return word
    meant = _meanings(tuple(column.words), tuple(column.word_phrases)).get(everyday_key(text), frozenset())
    if len(meant) == 1:
        return next(iter(meant))
    raise CellError(
        Reason.WORD, f"is not a known {column.name} (accepted: {quoted(column.words, _MOST_NAMES)})"
    )


@lru_cache(maxsize=200)
def _meanings(
    words: tuple[str, ...], phrases: tuple[tuple[str, tuple[str, ...]], ...]
) -> Mapping[str, frozenset[str]]:
    """The words that each everyday phrase may stand for, by the key of the phrase."""
    found: dict[str, frozenset[str]] = {}
    for word, others in (*((word, ()) for word in words), *phrases):
        for phrase in (word, *others):
            key = everyday_key(phrase)
            found[key] = found.get(key, frozenset()) | {word}
    return found


def is_everyday(text: str, value: Value, column: Column) -> bool:
    """Whether a cell that was read as the value says it in other words."""
    plain = " ".join(text.replace("-", " ").split()).casefold()
    if column.kind == "word":
        return isinstance(value, str) and bool(text) and plain != value.replace("-", " ").casefold()
    if column.refers_to is not None:
        return isinstance(value, str) and bool(text) and same_spelling(text) != same_spelling(value)
    return column.kind == "yes_no" and plain in _EVERYDAY_YES | _EVERYDAY_NO


def _yes_no(text: str, column: Column) -> str:
    plain = text.strip().casefold()
    if plain in _YES | _EVERYDAY_YES:
        return "yes"
    if plain in _NO | _EVERYDAY_NO:
        return "no"
    if "*" in column.words:
        return " ".join(text.split())
    raise CellError(Reason.WORD, "is neither `yes` nor `no`")


def _plain_number(text: str, column: Column, context: CellContext) -> float | int:
    try:
        value = read_number(
            _without_currency(text, column, context.bench),
            decimal_comma=context.decimal_comma,
            whole=column.kind == "count",
        )
    except QuantityError as error:
        raise CellError(Reason.NUMBER, str(error)) from None
    if value < 0 and not column.signed:
        raise CellError(Reason.NUMBER, "is negative")
    if column.kind == "count":
        if abs(value) > column.most:
            why = f"is too large for `{column.name}`: is it a count? (at most {column.most})"
            raise CellError(Reason.NUMBER, why)
        if value != int(value):
            raise CellError(Reason.NUMBER, "is not a whole number")
        return int(value)
    return value


def _without_currency(text: str, column: Column, bench: Bench) -> str:
    if column.kind != "money":
        return text
    plain = text.strip()
    for mark in (bench.currency, "$", "€", "£", "¥"):
        plain = plain.removeprefix(mark).removesuffix(mark).strip()
    return plain


def _amount(text: str, dimension: Dimension, bare_unit: str | None, context: CellContext) -> float:
    try:
        return read_quantity(text, dimension, default_unit=bare_unit, decimal_comma=context.decimal_comma)
    except QuantityError as error:
        raise CellError(Reason.QUANTITY, str(error)) from None


def _time_of_day(text: str, time_text: str) -> tuple[int, int, int]:
    if not time_text:
        return 0, 0, 0
    match = _TIME.fullmatch(time_text)
    if match is None:
        raise CellError(Reason.DATE, f"has a time that cannot be read: `{time_text}` (accepted: `09:40`)")
    return int(match[1]), int(match[2]), int(match[3] or 0)


def _which_order(first: int, middle: int, year: int) -> str:
    accepted = 'write it as year-month-day, or set `dates = "day first"` or `"month first"` under [bench]'
    if first <= 12 and middle <= 12 and first != middle:
        return f"could be {year}-{middle:02}-{first:02} or {year}-{first:02}-{middle:02}: {accepted}"
    return f"is not in year-month-day order: {accepted}"


class BareUnits:
    """The units of bare numbers in one file: of the heading, else of bench.toml, else the documented ones.

    `stood_in` says in words which documented ones were needed.
    """

    def __init__(self, header: Header, bench: Bench) -> None:
        """Of a file with that header."""
        self.stood_in: set[str] = set()
        by_heading = {h.column.name: h.unit for h in header.headings if h.column is not None and h.unit}
        self._known: dict[str, tuple[CellContext, str]] = {}
        for column in header.kind.columns:
            stated = (
                by_heading.get(column.name)
                or bench.default_units.get(f"{header.kind.name}.{column.name}")
                or bench.default_units.get(column.name)
            )
            documented = documented_unit(column, bench) if stated is None else None
            context = CellContext(
                bench=bench, decimal_comma=header.separator == ";", bare_unit=stated or documented
            )
            note = (
                f"bare numbers in `{column.name}` of the {header.kind.name} log were read as {documented} "
                f"(say otherwise under [defaults])"
            )
            self._known[column.name] = context, note if documented is not None else ""

    def context(self, column: Column, text: str) -> CellContext:
        """The context in which to read a cell of the column; notes that a documented unit stood in."""
        context, note = self._known[column.name]
        if note and _is_bare(text):
            self.stood_in.add(note)
        return context


def _is_bare(text: str) -> bool:
    return bool(text) and text.lstrip("+-−").replace(".", "").replace(",", "").isdigit()
