"""Format canonical values in the bench's units and currency, with a sensible number of figures."""

import math
from collections.abc import Mapping
from typing import Literal, NamedTuple

from benchwater.units.quantities import QUANTITIES, Quantity, canonical_unit_name, conversion

System = Literal["us", "metric"]
DASH = "–"

_NO_MINOR_UNIT = frozenset("BIF CLP DJF GNF ISK JPY KMF KRW PYG RWF UGX UYI VND VUV XAF XOF XPF".split())
_THREE_MINOR_DIGITS = frozenset("BHD IQD JOD KWD LYD OMR TND".split())
_SIGNS = {"USD": "$", "CAD": "$", "AUD": "$", "NZD": "$", "EUR": "€", "GBP": "£", "JPY": "¥"}


class _Printed(NamedTuple):
    unit: str
    label: str
    digits: int | None


_PRINTED: Mapping[tuple[str, System], _Printed] = {
    ("degC", "us"): _Printed("degF", "°F", 0),
    ("degC", "metric"): _Printed("degC", "°C", 0),
    ("delta_degC", "us"): _Printed("delta_degF", "°F", 0),
    ("delta_degC", "metric"): _Printed("delta_degC", "°C", 0),
    ("g", "us"): _Printed("ounce", "oz", None),
    ("g", "metric"): _Printed("gram", "g", None),
    ("h", "us"): _Printed("hour", "h", None),
    ("h", "metric"): _Printed("hour", "h", None),
    ("mL", "us"): _Printed("fluid_ounce", "fl oz", None),
    ("mL", "metric"): _Printed("milliliter", "mL", None),
    ("mm", "us"): _Printed("inch", "in", 1),
    ("mm", "metric"): _Printed("millimeter", "mm", 0),
}
_LARGER: Mapping[tuple[str, System], tuple[float, _Printed]] = {
    ("g", "us"): (453.59237, _Printed("pound", "lb", None)),
    ("g", "metric"): (1000.0, _Printed("kilogram", "kg", None)),
    ("mL", "metric"): (1000.0, _Printed("liter", "L", None)),
}
_BY_CANONICAL: Mapping[str, Quantity] = {units.canonical: kind for kind, units in QUANTITIES.items()}


def minor_digits(currency: str) -> int:
    """Return the decimals of a currency's minor unit (ISO 4217; from memory for the exceptions)."""
    if currency in _NO_MINOR_UNIT:
        return 0
    return 3 if currency in _THREE_MINOR_DIGITS else 2


def figures(value: float, digits: int | None = None, significant: int = 3) -> str:
    """Return a number with `digits` decimals, or else `significant` figures and no exponent."""
    if digits is None:
        size = 0 if value == 0 else math.floor(math.log10(abs(value)))
        digits = max(0, significant - 1 - size)
        text = f"{value:.{digits}f}"
        if "." in text:
            text = text.rstrip("0").rstrip(".")
    else:
        text = f"{value:.{digits}f}"
    if float(text) == 0:
        text = text.removeprefix("-")
    return text.replace("-", "−")


def show(
    value: float | None,
    unit: str | None,
    *,
    system: System,
    currency: str = "USD",
    digits: int | None = None,
    print_unit: str | None = None,
) -> str:
    """Return a canonical value with its printed unit: `350 °F`, `1.2 lb`, `19 min`, `15 %`, `$12.40`.

    `print_unit` (a spelling such as `lb`) overrides the unit chosen by size. None prints as a dash.
    """
    if value is None or not math.isfinite(value):
        return DASH
    if unit == "1":
        return f"{_share(value, digits)} %"
    if unit == "p":
        return _p_value(value)
    if unit == "money":
        return _amount(value, currency, minor_digits(currency) if digits is None else digits)
    if unit is not None and unit.startswith("money/"):
        return f"{show(value, 'money', system=system, currency=currency, digits=digits)} per {unit[6:]}"
    if unit is not None and unit.endswith("1/h"):
        return f"{figures(value, digits)} per hour"
    if unit is not None and unit.endswith("/h"):
        return f"{figures(value, digits)} {unit[:-2]} per hour"
    if unit == "h" and print_unit is None and 0 < abs(value) < 1:
        return f"{figures(value * 60, 0)} min"
    if unit is None or unit == "pieces":
        return figures(value, digits)
    printed = _printed(value, unit, system, print_unit)
    if printed is None:
        return f"{figures(value, digits)} {unit}"
    return f"{_number(value, unit, printed, digits)} {printed.label}"


def show_bare(
    value: float | None,
    unit: str | None,
    *,
    system: System,
    currency: str = "USD",
    digits: int | None = None,
) -> str:
    """Return the number alone, in the unit that `heading_unit` names for the column."""
    if value is None or not math.isfinite(value):
        return DASH
    if unit == "1":
        return _share(value, digits)
    if unit == "p":
        return _p_value(value)
    if unit is not None and unit.startswith("money"):
        return figures(value, minor_digits(currency) if digits is None else digits)
    printed = _PRINTED.get((unit or "", system))
    if printed is None or unit is None:
        return figures(value, digits)
    return _number(value, unit, printed, digits)


def heading_unit(unit: str | None, *, system: System, currency: str = "USD") -> str:
    """Return the unit that a column's heading names, empty where there is none to name."""
    if unit is None or unit in {"pieces", "p"}:
        return ""
    if unit == "1":
        return "%"
    if unit.startswith("money"):
        return unit.replace("money", _SIGNS.get(currency, currency), 1)
    printed = _PRINTED.get((unit, system))
    return printed.label if printed is not None else unit.replace("1/h", "per h")


def _amount(value: float, currency: str, digits: int) -> str:
    """Return money as its owner writes it: `$12.40`, `−$12.40`; `CHF 12.40` without a sign of its own."""
    number = figures(value, digits)
    if currency not in _SIGNS:
        return f"{currency} {number}"
    return f"−{_SIGNS[currency]}{number[1:]}" if number.startswith("−") else f"{_SIGNS[currency]}{number}"


def _p_value(value: float) -> str:
    return "< 0.001" if value < 0.001 else figures(value, 3 if value < 0.1 else 2)


def _share(value: float, digits: int | None) -> str:
    percent = 100 * value
    if digits is None:
        digits = 0 if round(abs(percent), 1) >= 10 or percent == 0 else 1
    return figures(percent, digits)


def _printed(value: float, unit: str, system: System, print_unit: str | None) -> _Printed | None:
    if print_unit is not None and unit in _BY_CANONICAL:
        return _Printed(canonical_unit_name(print_unit, _BY_CANONICAL[unit]), print_unit, None)
    larger = _LARGER.get((unit, system))
    if larger is not None and abs(value) >= larger[0]:
        return larger[1]
    return _PRINTED.get((unit, system))


def _number(value: float, unit: str, printed: _Printed, digits: int | None) -> str:
    if unit == "delta_degC":
        converted = value * (1.8 if printed.unit == "delta_degF" else 1.0)
    else:
        scale, offset = conversion(QUANTITIES[_BY_CANONICAL[unit]].pint_name, printed.unit)
        converted = scale * value + offset
    return figures(converted, printed.digits if digits is None else digits)
