"""`benchwater.words`: phrases, findings and tables."""

import math
from datetime import date

import pandas as pd

from benchwater.statistics.interval import Interval
from benchwater.words import (
    counted,
    day_words,
    in_brackets,
    known,
    limits,
    listed,
    make_columns,
    make_finding,
    make_table,
    times,
)


def test_counts_and_lists() -> None:
    assert (counted(1, "bait"), counted(0, "bait")) == ("1 bait", "0 baits")
    assert [listed("abc"[:n]) for n in range(4)] == ["", "a", "a and b", "a, b and c"]
    assert [listed("abcd", most=n) for n in (3, 4)] == ["a, b and 2 more", "a, b, c and d"]


def test_day_words_name_the_year_when_it_differs() -> None:
    end = date(2027, 1, 1)
    assert day_words(date(2026, 5, 3), end) == "3 May"
    assert [day_words(date(year, 12, 31), end) for year in (2025, 2027)] == [
        "31 December 2025",
        "31 December 2027",
    ]


def hours(value: float) -> str:
    return f"{value:g} h"


def test_open_limits_have_their_own_phrase() -> None:
    assert limits(hours, 2, 3) == "2 to 3 h"
    assert limits(hours, 2, math.inf) == "2 h or more"
    assert limits(hours, None, 3) == "up to 3 h"
    assert in_brackets(hours, math.nan, None) == ""
    assert in_brackets(hours, 0, 3) == " (0 to 3 h)"


def test_times_without_an_estimate_gives_the_limit() -> None:
    assert times(4.66, 1.7, 15.88) == "4.7 times (1.7 to 16)"
    assert times(math.inf, 3.21, math.inf) == "at least 3.2 times"
    assert times(0, 0, 0.42) == "at most 0.42 times"
    assert times(math.inf, None, None) == "far more times"


def test_numbers_that_are_not_finite_become_none() -> None:
    assert known(1.5, math.nan, math.inf, None) == (1.5, None, None, None)
    found = make_finding("a", "A.", Interval(estimate=0.2, low=math.nan, high=math.inf, level=0.95), "1", n=3)
    assert (found.value, found.low, found.high, found.unit, found.n) == (0.2, None, None, "1", 3)
    assert make_finding("a", "A.", (7,)).value == 7
    assert make_finding("a", "A.").value is None


def test_limits_in_a_table_take_the_unit_of_their_estimate() -> None:
    columns = make_columns(("item", "Item"), ("rate", "Rate", "1/h", 3))
    table = make_table(
        "rates", "Rates", "item rate low high", [("a", 1.0, math.nan, 2.0)], columns, limits_of="rate"
    )
    assert table.rows == (("a", 1.0, None, 2.0),)
    assert [(c.label, c.unit, c.digits) for c in table.columns] == [
        *(("Item", None, None), ("Rate", "1/h", 3), ("low", "1/h", 3), ("high", "1/h", 3)),
    ]


def test_a_table_takes_its_columns_from_a_frame() -> None:
    frame = pd.DataFrame(
        {
            "unit": ["g", "pieces"],
            "day": [pd.Timestamp("2026-05-03"), pd.NaT],
            "received": [1.5, math.nan],
            "item": ["lead", None],
            "made": [3, 4],
            "other": [0, 0],
        }
    )
    named = (("item", "Item"), ("received", "Received"), ("unit", "Unit"))
    columns = make_columns(*named, hidden="unit", unit_from={"received": "unit"})
    table = make_table("in", "In", "item received day made unit", frame, columns, print_units=["lb", None])
    assert table.rows == (
        ("lead", 1.5, pd.Timestamp("2026-05-03"), 3, "g"),
        (None, None, None, 4, "pieces"),
    )
    assert [type(cell) for cell in table.rows[1]] == [type(None)] * 3 + [int, str]
    assert [(c.unit_from, c.hidden) for c in table.columns][1:] == [
        *(("unit", False), (None, False), (None, False), (None, True)),
    ]
    assert table.print_units == ("lb", None)
