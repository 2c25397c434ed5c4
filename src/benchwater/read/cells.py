"""Reads one cell as its column declares. No library guesses a type, a date or a unit."""

import re
from dataclasses import dataclass, field

from benchwater.plugin.bench import Bench, Item
from benchwater.plugin.logs import Column, Value
from benchwater.read.dates import DateHints, read_date
from benchwater.read.names import find_cavity, find_name, same_spelling, why_no_cavity, why_unknown
from benchwater.read.outcome import CellError, Reason
from benchwater.read.vocabulary import Vocabulary, cached_by_identity
from benchwater.text import quoted
from benchwater.units import QUANTITIES, Dimension, QuantityError, is_quantity, read_number, read_quantity
from benchwater.units.quantities import is_unit

_MOST_NAMES = 8
_YES = frozenset({"yes", "y", "true", "x"})
_NO = frozenset({"no", "n", "false", "none"})
_EVERYDAY_YES = frozenset({"✓", "✔", "☑", "yep", "yeah", "yup"})
_EVERYDAY_NO = frozenset({"✗", "✘", "nope", "nah", "without"})
_ABOUT = re.compile(
    r"^(?:~|≈|about|abt\.?|approx(?:imately)?\.?|around|roughly|circa|ca\.?|c\.|some)\s*(?=[0-9½¼¾.a])"
    r"|(?<=[0-9])\s?-?ish\b|\s+or so$|\s*\(?(?:approx\.?|roughly)\)?$|(?<=[0-9])\s?~$",
    re.IGNORECASE,
)
_DOLLARS = ("USD", "CAD", "AUD", "NZD")
_CURRENCIES = {
    "$": _DOLLARS, "dollar": _DOLLARS, "dollars": _DOLLARS, "bucks": _DOLLARS, "€": ("EUR",),
    "euro": ("EUR",), "euros": ("EUR",), "£": ("GBP",), "pounds": ("GBP",), "quid": ("GBP",),
    "¥": ("JPY", "CNY"),
}  # fmt: skip
_CURRENCY = re.compile(r"^(?P<before>[^\d\s.,+−-]*)\s*(?P<number>.*?\d[.,]?)\s*(?P<after>[^\d\s.,]*)$")
_COUNTED = re.compile(
    r"(?:x\s?)?(?P<number>.*?[0-9a-z])\s?(?:x|pcs\.?|pc\.?|pieces?|heads?|jigs?|castings?|baits?|lures?|fish|casts?|ea\.?|each)",
    re.IGNORECASE,
)
_DAYS = re.compile(r"[0-9]\s?d\b|(?:[0-9]\s?|[a-z]\s)(?:days?|wks?|weeks?)\b", re.IGNORECASE)


def is_approximate(text: str) -> bool:
    """Whether a cell marks its number as rough: `~350`, `350ish`, `about 12`."""
    return _ABOUT.search(text) is not None


def without_mark(text: str) -> str:
    """A number without what marks it as rough."""
    return _ABOUT.sub("", text)


@dataclass(frozen=True, slots=True, kw_only=True)
class CellContext:
    """What a cell is read against: the bench, the file's decimal mark and days, the bare unit."""

    bench: Bench
    decimal_comma: bool
    bare_unit: str | None
    dates: DateHints = field(default_factory=DateHints)


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
        return read_date(text, context.dates)
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
    if kind == "duration" and _DAYS.search(text):
        raise CellError(Reason.QUANTITY, "is in days, and nobody fishes or cures all day: write the hours")
    if is_quantity(kind):
        if column.exact and is_approximate(text):
            why = f"is a rough {column.name}, which says less than none: write what the scale showed"
            raise CellError(Reason.QUANTITY, why)
        return _amount(text, kind, context.bare_unit, context)
    return _plain_number(text, column, context)


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
    stated = context.bare_unit
    own = stated if stated is not None and is_unit(stated, dimension) else None
    try:
        bare = own or (None if stated is not None and is_unit(stated, other) else item.print_unit)
        return _amount(text, dimension, bare, context)
    except CellError as refusal:
        try:
            converted = _amount(text, other, None if own else stated, context)
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
    found = find_cavity(text, mold, bench)
    if found is None:
        raise CellError(Reason.NAME, why_no_cavity(text, mold, bench))
    return found


def _name(text: str, column: Column, bench: Bench) -> str:
    if column.refers_to is None or column.refers_to == "cavity":
        written = " ".join(text.split())
        meant = list(vocabulary(column).meanings(text, whole=True)) if column.word_phrases else []
        return meant[0] if len(meant) == 1 and same_spelling(written) != meant[0] else written
    found = find_name(text, column.refers_to, bench)
    if found is None:
        raise CellError(Reason.NAME, why_unknown(text, column.refers_to, bench))
    return found


def _word(text: str, column: Column) -> str:
    plain = " ".join(text.replace("-", " ").split()).casefold()
    for word in column.words:
        if plain == word.replace("-", " ").casefold():
            return word
    meant = vocabulary(column).meanings(text, whole=column.decides_row)
    if len(meant) == 1:
        return next(iter(meant))
    if meant:
        why = f"may be {' or '.join(f'`{word}`' for word in column.words if word in meant)}"
        raise CellError(Reason.WORD, f"{why}: write which")
    raise CellError(
        Reason.WORD, f"is not a known {column.name} (accepted: {quoted(column.words, _MOST_NAMES)})"
    )


@cached_by_identity
def vocabulary(column: Column) -> Vocabulary:
    """The everyday phrases for the words of a column."""
    pairs = [(word, word) for word in column.words]
    pairs += [(phrase, word) for word, others in column.word_phrases for phrase in others]
    return Vocabulary(pairs, column.ordinary)


def is_everyday(text: str, value: Value, column: Column) -> bool:
    """Whether a cell that was read as the value says it in other words."""
    plain = " ".join(text.replace("-", " ").split()).casefold()
    if not text or not isinstance(value, str):
        return False
    if column.kind == "word" or (column.kind == "name" and column.word_phrases):
        return plain != value.replace("-", " ").casefold()
    if column.refers_to is not None:
        return same_spelling(text) != same_spelling(value)
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
    plain = without_mark(text)
    if column.kind == "money":
        plain = _without_currency(plain, context.bench)
    elif column.kind == "count" and (counted := _COUNTED.fullmatch(plain)):
        plain = counted["number"]
    try:
        value = read_number(plain, decimal_comma=context.decimal_comma, whole=column.kind == "count")
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


def _without_currency(text: str, bench: Bench) -> str:
    match = _CURRENCY.fullmatch(text.strip())
    if match is None:
        return text
    for mark in filter(None, (match["before"], match["after"])):
        code = mark.upper()
        if code != bench.currency and bench.currency not in _CURRENCIES.get(mark.casefold(), ()):
            if code in {each for codes in _CURRENCIES.values() for each in codes} or mark in _CURRENCIES:
                why = f"is in `{mark}`, and this bench counts in {bench.currency}: write what it cost in that"
                raise CellError(Reason.NUMBER, why)
            return text
    return match["number"]


def _amount(text: str, dimension: Dimension, bare_unit: str | None, context: CellContext) -> float:
    try:
        return read_quantity(
            without_mark(text), dimension, default_unit=bare_unit, decimal_comma=context.decimal_comma
        )
    except QuantityError as error:
        raise CellError(Reason.QUANTITY, str(error)) from None
