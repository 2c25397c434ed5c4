"""Numbers and quantities as people write them: `3/8 oz`, `1 1/2 lb`, `350°F`, `1:30`, `10,6 g`.

A small grammar with a closed list of unit spellings a dimension, because general unit parsers read
`350 F` as farads and `1 1/2 oz` as half an ounce. This module splits number and unit; only the unit's
name reaches pint. Factors: NIST SP 811 Appendix B, through pint.
"""

import json
import math
import re
from collections.abc import Mapping
from functools import cache, lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Literal, NamedTuple, TypeGuard

if TYPE_CHECKING:
    import pint

FILE = Path(__file__).with_name("conversions.json")

Quantity = Literal["temperature", "mass", "duration", "length", "volume"]
Dimension = Quantity | Literal["pieces"]


class QuantityUnits(NamedTuple):
    """The units of a quantity: the canonical one, its name in pint, and the suffix of columns in it.

    `us` and `metric` are the units of bare numbers on benches of that system where nothing names one.
    """

    canonical: str
    pint_name: str
    suffix: str
    us: str
    metric: str


QUANTITIES: Mapping[Quantity, QuantityUnits] = {
    "temperature": QuantityUnits("degC", "degC", "_c", us="degF", metric="degC"),
    "mass": QuantityUnits("g", "gram", "_g", us="g", metric="g"),
    "duration": QuantityUnits("h", "hour", "_h", us="h", metric="h"),
    "length": QuantityUnits("mm", "millimeter", "_mm", us="in", metric="mm"),
    "volume": QuantityUnits("mL", "milliliter", "_ml", us="fl oz", metric="mL"),
}

UNITS: Mapping[Dimension, Mapping[str, tuple[str, ...]]] = {
    "temperature": {
        "degC": ("c", "°c", "degc", "deg c", "degrees c", "celsius", "degrees celsius", "℃"),
        "degF": ("f", "°f", "degf", "deg f", "degrees f", "fahrenheit", "degrees fahrenheit", "℉"),
        "kelvin": ("k", "kelvin"),
    },
    "mass": {
        "gram": ("g", "gm", "gram", "grams", "gramme", "grammes"),
        "milligram": ("mg", "milligram", "milligrams"),
        "kilogram": ("kg", "kgs", "kilo", "kilos", "kilogram", "kilograms"),
        "ounce": ("oz", "ozs", "ounce", "ounces"),
        "pound": ("lb", "lbs", "pound", "pounds", "#"),
        "grain": ("gr", "grain", "grains"),
    },
    "duration": {
        "hour": ("h", "hr", "hrs", "hour", "hours"),
        "minute": ("min", "mins", "minute", "minutes", "m"),
        "second": ("s", "sec", "secs", "second", "seconds"),
        "day": ("d", "day", "days"),
        "week": ("wk", "week", "weeks"),
    },
    "length": {
        "millimeter": ("mm", "millimeter", "millimeters", "millimetre", "millimetres"),
        "centimeter": ("cm", "centimeter", "centimeters", "centimetre", "centimetres"),
        "meter": ("m", "meter", "meters", "metre", "metres"),
        "inch": ("in", "inch", "inches", '"', "″", "”", "''"),
        "foot": ("ft", "foot", "feet", "'", "′", "’"),
    },
    "volume": {
        "milliliter": ("ml", "milliliter", "milliliters", "millilitre", "millilitres", "cc"),
        "liter": ("l", "liter", "liters", "litre", "litres"),
        "fluid_ounce": ("fl oz", "floz", "fluid ounce", "fluid ounces"),
        "cup": ("cup", "cups"),
        "pint": ("pt", "pint", "pints"),
        "quart": ("qt", "quart", "quarts"),
        "gallon": ("gal", "gallon", "gallons"),
    },
    "pieces": {"dimensionless": ("pieces", "piece", "pcs", "pc", "each", "ea", "ct", "count")},
}
"""Every unit that is read, by pint's name, with its spellings."""

_BY_SPELLING: Mapping[Dimension, Mapping[str, str]] = {
    dimension: {spelling: unit for unit, spellings in units.items() for spelling in spellings}
    for dimension, units in UNITS.items()
}

_EXAMPLES: Mapping[Dimension, str] = {
    "temperature": "`350 F`, `176 C`",
    "mass": "`3/8 oz`, `10.6 g`, `1 1/2 lb`",
    "duration": "`1:30`, `90 min`, `1.5 h`",
    "length": "`9 1/2 in`, `24 cm`",
    "volume": "`8 fl oz`, `250 mL`, `1 pint`",
    "pieces": "`50`, `50 pcs`",
}

_ARTICLE: Mapping[Dimension, str] = {"pieces": "a number of"}

_VULGAR = {
    "¼": "1/4", "½": "1/2", "¾": "3/4", "⅓": "1/3", "⅔": "2/3", "⅕": "1/5", "⅖": "2/5", "⅗": "3/5",
    "⅘": "4/5", "⅙": "1/6", "⅚": "5/6", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8", "⅐": "1/7",
    "⅑": "1/9", "⅒": "1/10",
}  # fmt: skip
_PLAIN = str.maketrans(
    {
        **{vulgar: f" {plain}" for vulgar, plain in _VULGAR.items()},
        "\u2044": "/", "\u00a0": " ", "\u2009": " ", "\u202f": " ", "\u2007": " ", "\t": " ",
        "\u2212": "-", "\u2013": "-", "\u2011": "-", "\u2010": "-",
    }
)  # fmt: skip

_NUMBER = re.compile(
    r"(?P<sign>[+-]?)\s?"
    r"(?:(?P<whole>[0-9]{1,9})(?:\s{1,3}|\s?-\s?)(?P<num2>[0-9]{1,6})/(?P<den2>[0-9]{1,6})"
    r"|(?P<num>[0-9]{1,6})/(?P<den>[0-9]{1,6})"
    r"|(?P<decimal>[0-9][0-9.,]{0,30}|[.,][0-9]{1,30}))"
)
_CLOCK = re.compile(r"([0-9]{1,4}):([0-5][0-9])(?::([0-5][0-9]))?\s?(h|hr|hrs|hours?)?", re.IGNORECASE)
_HOURS_AND_MINUTES = re.compile(r"([0-9]{1,4})\s?(?:h|hr|hrs)\s?([0-5][0-9])", re.IGNORECASE)
_DOZENS = re.compile(r"(.*?)\s?(?:dozens?|doz\.?|dz)", re.IGNORECASE)
_NO_DAYS = r"(?!d\b|days?\b|wk\b|weeks?\b)"  # half a day on the water is not 12 hours
_ONE = re.compile(rf"^an?\s+(?=[a-z]){_NO_DAYS}", re.IGNORECASE)
_HALF = re.compile(rf"^half\s+(?:an?\s+)?(?=[a-z]){_NO_DAYS}", re.IGNORECASE)
_NUMBER_WORDS = (
    "zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve"
)  # fmt: skip
_NUMBER_WORD = re.compile(
    rf"^(?:{'|'.join(_NUMBER_WORDS)}|a couple of|a couple|a pair of|a pair)\b", re.IGNORECASE
)
_AND_A_HALF = re.compile(r"^([0-9]+)\s+and\s+(?:a\s+half|1/2)\b", re.IGNORECASE)
_HOUR_AND_A_HALF = re.compile(
    r"^(?:an?\s+|1\s+)?(hour|hr|pound|lb|ounce|oz)\s+and\s+a\s+half$", re.IGNORECASE
)
_DEGREES = frozenset({"deg", "deg.", "°", "degree", "degrees"})
_GROUPED = re.compile(r"[0-9]{1,3}(?:[.,][0-9]{3})+")
_LONGEST = 60


class QuantityError(ValueError):
    """A cell that is no quantity of the dimension asked for; the message says what would be."""


def canonical_unit_name(spelling: str, dimension: Dimension) -> str:
    """Return pint's name of a unit as people spell it; QuantityError names the spellings accepted."""
    key = " ".join(spelling.replace(".", " ").split()).lower()
    known = _BY_SPELLING[dimension]
    if key in known:
        return known[key]
    found = f"is in `{spelling.strip()}`, "
    if dimension == "pieces":
        raise QuantityError(f"{found}and pieces are counted (accepted: {_EXAMPLES[dimension]})")
    accepted = ", ".join(spellings[0] for spellings in UNITS[dimension].values())
    accepted = accepted.upper() if dimension == "temperature" else accepted
    raise QuantityError(f"{found}which is not a unit of {dimension} (accepted: {accepted})")


def is_unit(spelling: str, dimension: Dimension) -> bool:
    """Return whether a text spells a unit of that dimension."""
    return " ".join(spelling.replace(".", " ").split()).lower() in _BY_SPELLING[dimension]


def is_quantity(kind: str) -> TypeGuard[Quantity]:
    """Return whether a kind of column or option is a quantity with a unit."""
    return kind in QUANTITIES


def unit_spellings(dimension: Dimension) -> tuple[str, ...]:
    """Return every accepted spelling of that dimension's units, in lower case; any case is read."""
    return tuple(_BY_SPELLING[dimension])


def read_number(text: str, *, decimal_comma: bool = False, whole: bool = False) -> float:
    """Return a number without unit: whole, decimal, `3/8`, `1 1/2`, `1-1/2`, `1½`, `2 dozen`; signed.

    `decimal_comma` says that the file writes `10,6`. A single mark before exactly three digits is taken
    as that file's decimal mark. Where it is the other one (`1,234`) it groups digits if the number must be
    `whole`; else the number is refused, since it could be either.
    """
    plain = _plain(text)
    if dozens := _DOZENS.fullmatch(plain):
        return 12 * read_number(dozens[1] or "1", decimal_comma=decimal_comma)
    match = _NUMBER.fullmatch(plain)
    if match is None:
        raise QuantityError("is not a number (accepted: `12`, `0.5`, `3/8`, `1 1/2`)")
    return _value(match, decimal_comma, whole)


def read_quantity(
    text: str, dimension: Dimension, *, default_unit: str | None = None, decimal_comma: bool = False
) -> float:
    """Return a quantity in the canonical unit of its dimension (degC, g, h, mm, mL, pieces).

    `default_unit` is the spelling of the unit of a bare number. Several parts add up:
    `2 lb 4 oz`, `1 h 30 min`. Durations may be `1:30` or `1h30` (hours and minutes). `a pound` and `half an
    hour` are read too. Raises QuantityError for anything else, hook sizes such as `4/0` included.
    """
    return _read_quantity(text, dimension, default_unit, decimal_comma)


@lru_cache(maxsize=20_000)
def _read_quantity(text: str, dimension: Dimension, default_unit: str | None, decimal_comma: bool) -> float:
    plain = _plain(text)
    if dimension == "pieces" and _DOZENS.fullmatch(plain):
        return read_number(plain, decimal_comma=decimal_comma)
    if dimension == "duration" and (spoken := _HOURS_AND_MINUTES.fullmatch(plain)):
        return int(spoken[1]) + int(spoken[2]) / 60
    if dimension == "duration" and (clock := _CLOCK.fullmatch(plain)):
        hours, minutes, seconds = clock.group(1), clock.group(2), clock.group(3) or "0"
        return int(hours) + int(minutes) / 60 + int(seconds) / 3600
    if dimension == "duration" and ":" in plain:
        raise QuantityError("is not in hours and minutes, such as `1:30` (minutes from `:00` to `:59`)")
    total, parts, position = 0.0, 0, 0
    while position < len(plain):
        match = _NUMBER.match(plain, position)
        if match is None:
            raise QuantityError(
                f"is not {_ARTICLE.get(dimension, 'a')} {dimension} (accepted: {_EXAMPLES[dimension]})"
            )
        following = re.compile(r"[^0-9+]*?(?=\s?[0-9]|$)").match(plain, match.end())
        unit = "" if following is None else following.group().strip()
        position = match.end() if following is None else following.end()
        while position < len(plain) and plain[position] == " ":
            position += 1
        number = _value(match, decimal_comma, whole=dimension == "pieces")
        if not unit and position < len(plain):
            raise QuantityError(f"has a number without a unit in it (accepted: {_EXAMPLES[dimension]})")
        if parts and (number < 0 or dimension == "temperature"):
            raise QuantityError(f"is not one {dimension} (accepted: {_EXAMPLES[dimension]})")
        total += _canonical(number, unit.removeprefix("-").strip(), dimension, default_unit, whole=not parts)
        parts += 1
    if not parts:
        raise QuantityError(f"is empty (accepted: {_EXAMPLES[dimension]})")
    if dimension != "temperature" and total < 0:
        raise QuantityError("is negative")
    if dimension == "temperature" and total < -273.15:
        raise QuantityError("is below absolute zero")
    return total


def _canonical(
    number: float, unit: str, dimension: Dimension, default_unit: str | None, *, whole: bool
) -> float:
    if dimension == "temperature" and unit.lower() in _DEGREES:
        unit = ""
    if not unit and dimension == "pieces":
        return number
    if not unit and (default_unit is None or not whole):
        raise QuantityError(f"has no unit (accepted: {_EXAMPLES[dimension]})")
    name = canonical_unit_name(unit or str(default_unit), dimension)
    if dimension == "pieces":
        return number
    scale, offset = conversion(name, QUANTITIES[dimension].canonical)
    return scale * number + offset


def _plain(text: str) -> str:
    if len(text) > _LONGEST:
        raise QuantityError(f"is too long for a quantity ({len(text)} characters)")
    plain = _NUMBER_WORD.sub(_number_word, text.translate(_PLAIN).strip())
    plain = _AND_A_HALF.sub(r"\1 1/2 ", _HOUR_AND_A_HALF.sub(r"1 1/2 \1", plain)).strip()
    return _ONE.sub("1 ", _HALF.sub("1/2 ", plain))


def _number_word(match: re.Match[str]) -> str:
    word = match[0].lower()
    return str(_NUMBER_WORDS.index(word)) if word in _NUMBER_WORDS else "2"


def _value(match: re.Match[str], decimal_comma: bool, whole: bool = False) -> float:
    sign = -1.0 if match["sign"] == "-" else 1.0
    if match["decimal"] is not None:
        value = _decimal(match["decimal"], decimal_comma, must_be_whole=whole)
    else:
        numerator, denominator = match["num2"] or match["num"], match["den2"] or match["den"]
        if int(denominator) == 0:
            raise QuantityError(f"has `{numerator}/{denominator}` in it, a hook size and not a number")
        value = int(match["whole"] or 0) + int(numerator) / int(denominator)
    if not math.isfinite(value):
        raise QuantityError("is not a finite number")
    return sign * value


def _decimal(text: str, decimal_comma: bool, *, must_be_whole: bool = False) -> float:
    points, commas = text.count("."), text.count(",")
    if points and commas:
        mark = max(".", ",", key=text.rfind)
        whole, _, fraction = text.rpartition(mark)
        if text.count(mark) > 1 or not _GROUPED.fullmatch(whole):
            raise QuantityError("is not a number: its points and commas do not fit together")
        return float(f"{re.sub('[.,]', '', whole)}.{fraction or '0'}")
    if points + commas > 1:
        if not _GROUPED.fullmatch(text):
            raise QuantityError("is not a number: its points or commas do not fit together")
        return float(re.sub("[.,]", "", text))
    mark = "," if commas else "."
    whole, _, fraction = text.partition(mark)
    expected = "," if decimal_comma else "."
    if mark in text and len(fraction) == 3 and whole.strip("0") and mark != expected:
        if must_be_whole and _GROUPED.fullmatch(text):
            return float(whole + fraction)
        raise QuantityError(
            f"could mean {whole}{fraction} or {whole}.{fraction}: write it without the {mark!r}"
        )
    return float(f"{whole or '0'}.{fraction or '0'}")


class Linear(NamedTuple):
    """`to = scale * value + offset`."""

    scale: float
    offset: float


@cache
def conversion(unit: str, to: str) -> Linear:
    """Return the conversion from `unit` to `to`; both are pint's names, of the same dimension."""
    return known_conversions().get((unit, to)) or ask_pint(unit, to)


@cache
def known_conversions() -> dict[tuple[str, str], Linear]:
    """Return the conversions of all units that are read or printed (tests/units/write_conversions.py)."""
    rows = json.loads(FILE.read_text(encoding="utf-8"))
    return {(unit, to): Linear(scale, offset) for unit, to, scale, offset in rows}


def ask_pint(unit: str, to: str) -> Linear:
    """Return the conversion by pint, whose registry takes a third of a second to build."""
    quantity = _registry().Quantity
    at_zero = float(quantity(0.0, unit).to(to).magnitude)
    at_one = float(quantity(1.0, unit).to(to).magnitude)
    if at_zero == 0.0:
        return Linear(at_one, 0.0)
    at_hundred = float(quantity(100.0, unit).to(to).magnitude)
    return Linear((at_hundred - at_zero) / 100.0, at_zero)


@cache
def _registry() -> "pint.UnitRegistry[float]":
    import pint

    return pint.UnitRegistry(autoconvert_offset_to_baseunit=True, cache_folder=None)
