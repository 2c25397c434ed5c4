"""Words, findings and tables as the shipped analyses write them: for plugin authors.

    from benchwater.words import counted, in_brackets, make_finding

    text = f"{counted(ends, 'bait')} ended, one in {show(4.57)}{in_brackets(show, 3.57, 5.95)}."
    make_finding("loss_rate", text, (0.219, 0.168, 0.28), "1/h", n=ends)

Findings and tables made here hold None for every number that is not finite, such as an open limit.
"""

import math
import unicodedata
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any, Protocol, cast

from benchwater.plugin import Cell, Finding, Table, TableColumn
from benchwater.units import figures

if TYPE_CHECKING:
    import pandas as pd

Show = Callable[[float], str]
MONTHS = (
    "January", "February", "March", "April", "May", "June",
    "July", "August", "September", "October", "November", "December",
)  # fmt: skip
_JOINERS = frozenset("\u200c\u200d\u00ad")
_BREAKS = frozenset("\t\n\r\v\f\x85\u2028\u2029")
_HIDDEN_CATEGORIES = frozenset(("Cc", "Cf", "Cs", "Cn"))


class WithLimits(Protocol):
    """An estimate with its limits, such as `statistics.interval.Interval`."""

    @property
    def estimate(self) -> float: ...

    @property
    def low(self) -> float: ...

    @property
    def high(self) -> float: ...


def counted(number: int, noun: str, many: str = "") -> str:
    """Return `1 bait` or `3 baits`; `many` is the plural where an s does not do, as in `2 batches`."""
    return f"{number} {noun if number == 1 else many or noun + 's'}"


def listed(words: Iterable[str], most: int | None = None, last: str = "and") -> str:
    """Return `a, b and c` (`last` may be `or`); of more than `most` words the first, and how many more."""
    words = list(words)
    if most is not None and len(words) > most:
        words = [*words[: most - 1], f"{len(words) - most + 1} more"]
    return f" {last} ".join([", ".join(words[:-1]), words[-1]]) if len(words) > 1 else "".join(words)


def visible(text: str) -> str:
    """Return the text with line breaks as spaces, and control, bidi and other invisible characters escaped.

    An escape character becomes the four letters `\\x1b`, so that it deceives neither terminal nor reader.
    """
    if text.isprintable():
        return text
    return "".join(_seen(character) for character in text)


def shorten(text: str, limit: int) -> str:
    """Return at most `limit` characters, the last an ellipsis where the text was cut."""
    return text if len(text) <= limit else text[: limit - 1].rstrip() + "…"


def known(*values: float | None) -> tuple[float | None, ...]:
    """Return the values, None for each that is missing or not finite."""
    return tuple(v if v is not None and math.isfinite(v) else None for v in values)


def day_words(day: date, end: date) -> str:
    """Return `5 May`, with the year where it is not that of the last day before `end` (a span's end)."""
    year = "" if day.year == (end - timedelta(days=1)).year else f" {day.year}"
    return f"{day.day} {MONTHS[day.month - 1]}{year}"


def one_to_other(low: str, high: str) -> str:
    """Return `340 to 367 °F` for `340 °F` and `367 °F`, or `CHF 3 to 5`: a shared unit is written once."""
    coin, _, amount = high.partition(" ")
    if amount and coin.isalpha() and low.startswith(f"{coin} "):
        return f"{low} to {amount}"
    number, _, unit = low.partition(" ")
    shared = unit and not unit[0].isdigit() and high.endswith(f" {unit}")
    return f"{number if shared else low} to {high}"


def limits(show: Show, low: float | None, high: float | None) -> str:
    """Return `2 to 3 h`, `2 h or more` or `up to 3 h`; empty where both are open. `show` prints a number."""
    low, high = known(low, high)
    if low is None:
        return "" if high is None else f"up to {show(high)}"
    return f"{show(low)} or more" if high is None else one_to_other(show(low), show(high))


def in_brackets(show: Show, low: float | None, high: float | None) -> str:
    """Return the same as ` (2 to 3 h)`, to follow a number; empty where both are open."""
    shown = limits(show, low, high)
    return f" ({shown})" if shown else ""


def times(ratio: float | None, low: float | None, high: float | None) -> str:
    """Return `4.7 times (1.7 to 16)`; the limit alone where the ratio is 0 or infinite."""
    ratio, low, high = known(ratio, low, high)
    if ratio is None:
        return f"at least {_two(low)} times" if low else "far more times"
    if ratio == 0:
        return f"at most {_two(high)} times" if high else "far fewer times"
    return f"{_two(ratio)} times{in_brackets(_two, low, high)}"


def _two(value: float) -> str:
    return figures(value, significant=2)


def make_finding(
    id: str,
    text: str,
    value: WithLimits | Sequence[float | None] | None = None,
    unit: str | None = None,
    *,
    n: int | None = None,
    group: str | None = None,
    more: Mapping[str, Cell] | None = None,
    quiet: bool = False,
) -> Finding:
    """Return a finding; `value` is an estimate with limits, or a number and its limits as far as known."""
    parts: Sequence[float | None] = ()
    if value is not None:
        parts = value if isinstance(value, Sequence) else (value.estimate, value.low, value.high)
    number, low, high = (*known(*parts), None, None, None)[:3]
    return Finding(
        id=id,
        text=text,
        value=number,
        low=low,
        high=high,
        unit=unit,
        n=n,
        group=group,
        more=more or {},
        quiet=quiet,
    )


def make_columns(
    *columns: tuple[str, str] | tuple[str, str, str | None] | tuple[str, str, str | None, int | None],
    hidden: str = "",
    unit_from: Mapping[str, str] | None = None,
) -> dict[str, TableColumn]:
    """Return columns by name for `make_table`, each from (name, label), (…, unit) or (…, unit, decimals).

    `hidden` names the columns for the JSON twin only, separated by spaces; `unit_from` maps a column to the
    column that holds the unit of each row.
    """
    padded = ((*column, None, None)[:4] for column in columns)
    return {
        name: TableColumn(
            name=name,
            label=label,
            unit=unit,
            digits=digits,
            hidden=name in hidden.split(),
            unit_from=(unit_from or {}).get(name),
        )
        for name, label, unit, digits in padded
    }


def make_table(
    id: str,
    title: str,
    names: str,
    rows: "Iterable[tuple[Cell, ...]] | pd.DataFrame",
    columns: Mapping[str, TableColumn],
    *,
    limits_of: str = "",
    note: str = "",
    print_units: Sequence[str | None] | None = None,
    print_rows: int = 20,
    paper_rows: int | None = None,
) -> Table:
    """Return a table of the columns in `names`, separated by spaces; `rows` may be a frame that has them.

    Columns `low` and `high` take unit and digits of the column `limits_of`. Missing values and numbers that
    are not finite become None. A name without a column is its own label.
    """
    found = {name: columns.get(name, TableColumn(name=name, label=name)) for name in names.split()}
    if limits_of:
        like = found[limits_of]
        for name in ("low", "high"):
            found[name] = TableColumn(name=name, label=found[name].label, unit=like.unit, digits=like.digits)
    body = tuple(map(tuple, _frame_rows(rows, list(found)) if hasattr(rows, "itertuples") else rows))
    given = list(zip(*body, strict=True))
    of_column = list(map(_finite, given))
    if any(new is not old for new, old in zip(of_column, given, strict=True)):
        body = tuple(zip(*of_column, strict=True))
    return Table(
        id=id,
        title=title,
        columns=tuple(found.values()),
        rows=body,
        note=note,
        print_units=None if print_units is None else tuple(print_units),
        print_rows=print_rows,
        paper_rows=paper_rows,
    )


def runs(lines: Sequence[int]) -> str:
    """Return line numbers as ranges: `2-14, 17`."""
    parts: list[list[int]] = []
    for line in lines:
        if parts and line == parts[-1][-1] + 1:
            parts[-1][1:] = [line]
        else:
            parts.append([line])
    return ", ".join("-".join(str(end) for end in part) for part in parts)


def _frame_rows(frame: Any, names: list[str]) -> Iterable[tuple[Cell, ...]]:
    cells = frame[names].astype(object)
    rows = cells.where(frame[names].notna(), None).itertuples(index=False, name=None)
    return cast("Iterable[tuple[Cell, ...]]", rows)


def _finite(cells: Sequence[Cell]) -> Sequence[Cell]:
    """Return a column's cells, None for numbers that are not finite."""
    kinds = set(map(type, cells))
    if not any(issubclass(kind, float) for kind in kinds) or (
        kinds == {float} and all(map(math.isfinite, cast("Sequence[float]", cells)))
    ):
        return cells
    return [None if isinstance(cell, float) and not math.isfinite(cell) else cell for cell in cells]


def _seen(character: str) -> str:
    if character in _BREAKS:
        return " "
    if character in _JOINERS or unicodedata.category(character) not in _HIDDEN_CATEGORIES:
        return character
    code = ord(character)
    if code < 0x100:
        return f"\\x{code:02x}"
    return f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}"
