"""Rows of a log that no sum holds: those set aside, with what they leave open, and those with a picture."""

import math
from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from benchwater.plugin import Season, Span
from benchwater.plugin.section import MOST_PHOTOS, Photo
from benchwater.statistics.rates import RatioOfTotals
from benchwater.words import counted, shorten, visible

_LONGEST_VALUE = 24
_NOT_UNDERSTOOD = ("word", "name")


def rows_left_open(
    season: Season, kind: str, span: Span, numbers: Iterable[str] = ("count",)
) -> pd.DataFrame:
    """The rows of `Season.rows_set_aside`; a number that could not be read is the middle one of the log.

    That one is a stand-in: nobody knows what such a row stands for.
    """
    rows = season.rows_set_aside(kind, span)
    log = season.log(kind)
    middle = {name: math.ceil(log[name].median()) if len(log) else 1.0 for name in numbers}
    return rows.assign(**{name: rows[name].fillna(value) for name, value in middle.items()})


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftOpen:
    """What rows set aside, of so many pieces, leave of a rate: from `least` to `most`.

    `settles` says what to mend.
    """

    rows: int
    pieces: int
    least: float
    most: float
    settles: str


def left_open(refused: pd.DataFrame, rate: RatioOfTotals, least: float, most: float) -> LeftOpen | None:
    """What refused rows leave of a rate; None where they cannot move it out of its limits.

    Bounds without assumptions on what is missing: Horowitz & Manski 2000, J. Amer. Statist. Assoc. 95:77-84
    (from memory).
    """
    if rate.low <= least and most <= rate.high:
        return None
    pieces = int(refused["count"].sum())
    return LeftOpen(rows=len(refused), pieces=pieces, least=least, most=most, settles=what_settles(refused))


def what_settles(rows: pd.DataFrame) -> str:
    """Say what to mend first of some rows set aside: the cell that most of them share."""
    alike = Counter(zip(rows["column"], rows["value"], rows["reason"], strict=True))
    (column, value, reason), count = alike.most_common(1)[0]
    written = shorten(visible(value).replace("`", "").replace('"', ""), _LONGEST_VALUE)
    bring = f"{counted(count, 'row')} count{'s' if count == 1 else ''}"
    if reason in _NOT_UNDERSTOOD and written:
        table = "values" if reason == "word" else "names"
        return (
            f'say once what `{written}` means (`"{written}" = …` under [words.{table}] in bench.toml, or let '
            f"`check --mend` ask), and {bring}"
        )
    cell = f"`{written}`" if written else "the blank cell"
    where = f" under `{visible(column)}`" if column else ""
    return f"mend {cell}{where}, and {bring}"


def photos_of(
    rows: pd.DataFrame, caption: Callable[[Mapping[str, Any]], str], by: str = "date"
) -> tuple[Photo, ...]:
    """Return a picture for each row that has one, of the largest `by` first, `MOST_PHOTOS` at most.

    `caption` gets the row with missing words as empty texts.
    """
    pictured = rows[rows["photo"].notna()].sort_values(by, ascending=False, kind="stable", na_position="last")
    records = pictured.head(MOST_PHOTOS).to_dict("records")
    words = [{str(name): "" if cell != cell else cell for name, cell in record.items()} for record in records]
    return tuple(Photo(file=record["photo"], caption=caption(record)) for record in words)
