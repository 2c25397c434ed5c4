"""Words, findings and tables as the shipped analyses write them: for plugin authors, and nothing to install.

    from benchwater.words import counted, in_brackets, make_finding

    text = f"{counted(ends, 'bait')} ended, one in {show(4.57)}{in_brackets(show, 3.57, 5.95)}."
    make_finding("loss_rate", text, (0.219, 0.168, 0.28), "1/h", n=ends)

Numbers that are not finite (a limit that is open, a share that cannot be known) become None in what is made
here, as a section asks for.
"""

import math
import unicodedata
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import date, timedelta
from typing import Protocol, cast

from benchwater.plugin import Cell, Finding, Table, TableColumn
from benchwater.units import figures

Show = Callable[[float], str]
MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)
_JOINERS = frozenset("\u200c\u200d\u00ad")
_BREAKS = frozenset("\t\n\r\v\f\x85\u2028\u2029")
_HIDDEN_CATEGORIES = frozenset(("Cc", "Cf", "Cs", "Cn"))


class WithLimits(Protocol):
    """An estimate with its limits, such as `statistics.interval.Interval`."""

    @property
    def estimate(self) -> float:
        """The number itself."""

    @property
    def low(self) -> float:
        """Its lower limit."""

    @property
    def high(self) -> float:
        """Its upper limit."""


def counted(number: int, noun: str, many: str = "") -> str:
    """`1 bait`, `3 baits`; `many` where an s does not do, as in `2 batches`."""
    return f"{number} {noun if number == 1 else many or noun + 's'}"


def listed(words: Iterable[str], most: int | None = None) -> str:
    """`a`, `a and b`, `a, b and c`; of more than `most` words the first ones, and how many more."""
    words = list(words)
    if most is not None and len(words) > most:
        words = [*words[: most - 1], f"{len(words) - most + 1} more"]
    return " and ".join([", ".join(words[:-1]), words[-1]]) if len(words) > 1 else "".join(words)


def visible(text: str) -> str:
    """The text with line breaks as spaces and every control, bidi or other unseen character spelled out.

    An escape character becomes the four letters `\\x1b`, so that neither a terminal nor a reader is fooled.
    """
    if text.isprintable():
        return text
    return "".join(_seen(character) for character in text)


def shorten(text: str, limit: int) -> str:
    """At most `limit` characters, the last an ellipsis where something was cut."""
    return text if len(text) <= limit else text[: limit - 1].rstrip() + "…"


def known(*values: float | None) -> tuple[float | None, ...]:
    """The values, None for what is missing or not finite."""
    return tuple(v if v is not None and math.isfinite(v) else None for v in values)


def day_words(day: date, end: date) -> str:
    """`5 May`, with its year where that is not the year of the last day before `end` (a span's, say)."""
    year = "" if day.year == (end - timedelta(days=1)).year else f" {day.year}"
    return f"{day.day} {MONTHS[day.month - 1]}{year}"


def p_words(p: float) -> str:
    """`p = 0.026`, or `p < 0.001`."""
    return "p < 0.001" if p < 0.001 else f"p = {figures(p, significant=2)}"


def one_to_other(low: str, high: str) -> str:
    """`340 to 367 °F` of `340 °F` and `367 °F`, `USD 3 to 5`: a unit that both share is said once."""
    coin, _, amount = high.partition(" ")
    if amount and coin.isalpha() and low.startswith(f"{coin} "):
        return f"{low} to {amount}"
    number, _, unit = low.partition(" ")
    shared = unit and not unit[0].isdigit() and high.endswith(f" {unit}")
    return f"{number if shared else low} to {high}"


def limits(show: Show, low: float | None, high: float | None) -> str:
    """`2 to 3 h`, `2 h or more`, `up to 3 h`; empty where both are open. `show` prints a number."""
    low, high = known(low, high)
    if low is None:
        return "" if high is None else f"up to {show(high)}"
    return f"{show(low)} or more" if high is None else one_to_other(show(low), show(high))


def in_brackets(show: Show, low: float | None, high: float | None) -> str:
    """The same in brackets after a number, with a space before; empty where both are open."""
    shown = limits(show, low, high)
    return f" ({shown})" if shown else ""


def times(ratio: float | None, low: float | None, high: float | None) -> str:
    """`4.7 times (1.7 to 16)`; the limit alone where the ratio is 0 or beyond all bounds."""
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
    """A finding; `value` is an estimate with limits, or a number and its limits as far as it has them."""
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
) -> dict[str, TableColumn]:
    """Columns by name from (name, label), where need be with unit, and decimals, for `make_table`."""
    padded = ((*column, None, None)[:4] for column in columns)
    return {
        name: TableColumn(name=name, label=label, unit=unit, digits=digits)
        for name, label, unit, digits in padded
    }


def make_table(
    id: str,
    title: str,
    names: str,
    rows: Iterable[tuple[Cell, ...]],
    columns: Mapping[str, TableColumn],
    *,
    limits_of: str = "",
    note: str = "",
    print_rows: int = 20,
    paper_rows: int | None = None,
) -> Table:
    """A table of the columns in `names`, parted by spaces.

    Columns `low` and `high` take unit and digits of the column `limits_of`; numbers that are not finite
    become None. A name without a column is its own label.
    """
    found = {name: columns.get(name, TableColumn(name=name, label=name)) for name in names.split()}
    if limits_of:
        like = found[limits_of]
        for name in ("low", "high"):
            found[name] = TableColumn(name=name, label=found[name].label, unit=like.unit, digits=like.digits)
    body = tuple(map(tuple, rows))
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
        print_rows=print_rows,
        paper_rows=paper_rows,
    )


def runs(lines: Sequence[int]) -> str:
    """Line numbers as runs: `2-14, 17`."""
    parts: list[list[int]] = []
    for line in lines:
        if parts and line == parts[-1][-1] + 1:
            parts[-1][1:] = [line]
        else:
            parts.append([line])
    return ", ".join("-".join(str(end) for end in part) for part in parts)


def _finite(cells: Sequence[Cell]) -> Sequence[Cell]:
    """A column's cells, None for numbers that are not finite."""
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
