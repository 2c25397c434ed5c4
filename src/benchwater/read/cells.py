"""Read one cell as its column declares, and tell from cells which column of a log they belong to.

No library guesses a type, a date or a unit.
"""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from benchwater.plugin.bench import Bench, Item
from benchwater.plugin.logs import MOST_COUNTED, Column, Value
from benchwater.read.dates import DateHints, is_a_day, read_date
from benchwater.read.names import (
    find_cavity,
    find_name,
    find_place,
    same_spelling,
    why_no_cavity,
    why_unknown,
)
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
_MOST_PLAUSIBLE: Mapping[Dimension, tuple[float, str]] = {
    "temperature": (2_000, "2000 °C"),
    "mass": (1e7, "10,000 kg"),
    "volume": (1e7, "10,000 L"),
    "length": (1e4, "10 m"),
    "duration": (1_000, "1000 h"),
    "pieces": (MOST_COUNTED, f"{MOST_COUNTED:,} pieces"),
}
"""More than a bench can hold, in the canonical unit: a slip of the keys, or a number from another column."""
_MOST_MONEY = 1_000_000_000
MOST_SAMPLED = 60
_ENOUGH = 0.8
_PICTURE = re.compile(r"\.(?:jpe?g|png|heic|webp|gif)\b", re.IGNORECASE)
_SURE, _POSSIBLE, _IS_NOT = 2, 1, 0


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
    if column.kind == "money" and abs(value) > _MOST_MONEY:
        raise CellError(Reason.NUMBER, f"is more than {_MOST_MONEY:,}: is it money?")
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
        value = read_quantity(
            without_mark(text), dimension, default_unit=bare_unit, decimal_comma=context.decimal_comma
        )
    except QuantityError as error:
        raise CellError(Reason.QUANTITY, str(error)) from None
    most, said = _MOST_PLAUSIBLE[dimension]
    if value > most:
        raise CellError(Reason.QUANTITY, f"is more than {said}: what was meant?")
    return value


def columns_of(cells: Sequence[str], columns: Iterable[Column], bench: Bench) -> list[Column]:
    """The columns that nearly all of the cells are surely of; where there are none, those they may be of."""
    distinct, columns = _distinct(cells), list(columns)
    for least in (_SURE, _POSSIBLE) if distinct else ():
        found = [column for column in columns if _nearly_all(distinct, column, bench, least)]
        if found:
            return found
    return []


def could_be_of(cells: Sequence[str], columns: Sequence[Column], bench: Bench) -> bool:
    """Whether the cells could be of any of the columns, numbers without a unit of a mass too."""
    said = [cell for cell in cells if cell]
    numbers = sum(_is_number(without_mark(cell)) for cell in said)
    may_be_mass = any(column.kind == "mass" for column in columns)
    return bool(columns_of(said, columns, bench)) or (may_be_mass and 0 < numbers >= _ENOUGH * len(said))


def surely_of(cells: Sequence[str], columns: Iterable[Column], bench: Bench) -> list[Column]:
    """Return the columns that nearly all cells surely fit; none where fewer than two cells differ."""
    distinct = _distinct(cells)
    return [each for each in columns if len(distinct) > 1 and _nearly_all(distinct, each, bench, _SURE)]


def none_is_of(cells: Sequence[str], column: Column, bench: Bench) -> bool:
    """Whether there are cells, and not one can be read as of the column."""
    distinct = _distinct(cells)
    return bool(distinct) and all(_likeness(cell, column, bench) == _IS_NOT for cell in distinct)


def hold_places(cells: Sequence[str], bench: Bench) -> bool:
    """Whether most of the cells name a mold and its cavity together."""
    distinct = _distinct(cells)
    return sum(find_place(cell, bench) is not None for cell in distinct) > len(distinct) / 2


def _distinct(cells: Sequence[str]) -> list[str]:
    return list(dict.fromkeys(filter(None, cells)))


def _nearly_all(cells: Sequence[str], column: Column, bench: Bench, least: int) -> bool:
    return sum(_likeness(cell, column, bench) >= least for cell in cells) >= _ENOUGH * len(cells)


def _likeness(text: str, column: Column, bench: Bench) -> int:
    kind, number = column.kind, without_mark(text)
    if column.refers_to == "cavity":
        is_one = any(
            same_spelling(text) == same_spelling(name)
            for mold in bench.molds.values()
            for name in mold.cavities
        )
        return _SURE if is_one or find_place(text, bench) else _POSSIBLE if not bench.molds else _IS_NOT
    if column.refers_to is not None:
        known = {"mold": bench.molds, "item": bench.items, "build": bench.builds}[column.refers_to]
        found = find_name(text, column.refers_to, bench) or (
            (column.refers_to == "mold" and find_place(text, bench))
            or (column.name == "item" and find_name(text, "build", bench))
        )
        return _SURE if found else _IS_NOT if known or _is_number(text) else _POSSIBLE
    if kind == "date":
        return _SURE if is_a_day(text) else _IS_NOT
    if kind == "word":
        return _SURE if vocabulary(column).meanings(text, whole=column.decides_row) else _IS_NOT
    if kind == "name" and column.word_phrases and vocabulary(column).meanings(text, whole=True):
        return _SURE
    if kind == "photo":
        return _SURE if _PICTURE.search(text) else _IS_NOT
    if kind == "name" and not column.word_phrases:
        return _SURE if _is_number(text) else _POSSIBLE
    if kind in {"name", "text", "tags", "photo"}:
        return _IS_NOT if _is_number(text) else _POSSIBLE
    context = CellContext(bench=bench, decimal_comma=False, bare_unit=None)
    if is_quantity(kind):
        try:
            read_quantity(number, kind)
        except QuantityError:
            return _POSSIBLE if _is_number(number) and kind != "mass" else _IS_NOT
        return _SURE
    if kind in {"amount", "spread"}:
        return _POSSIBLE if any(_is_amount(text, item, context) for item in bench.items.values()) else _IS_NOT
    try:
        read_cell(text, column, context)
    except CellError:
        return _IS_NOT
    if kind == "money" and _is_number(text):
        return _POSSIBLE
    return _SURE if kind != "count" or _is_number(number) else _POSSIBLE


def _is_amount(text: str, item: Item, context: CellContext) -> bool:
    try:
        read_amount(text, item, context, whole=False)
    except CellError:
        return False
    return True


def _is_number(text: str) -> bool:
    try:
        read_number(text)
    except QuantityError:
        return False
    return True
