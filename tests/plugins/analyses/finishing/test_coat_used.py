from datetime import date
from unittest.mock import Mock

import pandas as pd
import pytest

from benchwater.plugin import Span
from finishing.compute import coat_used

MAY, JUNE = date(2026, 5, 1), date(2026, 6, 1)


def used(stock, batches):
    span = Span(name="period", label="May", start=MAY, end=JUNE)
    jar = pd.DataFrame(stock, columns=["date", "move", "amount"]).assign(uncertainty=0.3)
    done = pd.DataFrame(batches, columns=["date", "count"]).assign(coat="pearl", mold="ball", cavity="1")
    for table in (jar, done):
        table["date"] = pd.to_datetime(table["date"])
    bench = Mock(builds={}, items={"pearl": Mock(unit="g")})
    return coat_used(jar, done, span, bench)


def day(number, month=5):
    return date(2026, month, number)


def test_what_came_and_went_between_the_counts_is_allowed_for():
    stock = [
        (day(30, 4), "counted", 100.0),
        (day(3), "received", 50.0),
        (day(4), "discarded", 7.0),
        (day(5), "recovered", 2.0),
        (day(6), "used", 1.0),
        (day(20), "counted", 120.0),
        (day(31), "counted", 135.0),
    ]
    found = used(stock, [(day(10), 4), (day(11), 16)])
    assert found.used == pytest.approx(100 + 50 - 7 + 2 - 135)
    assert found.each.estimate == pytest.approx(0.5)
    assert found.each.high - found.each.estimate == pytest.approx(2 * 0.3 * 5**0.5 / 20)
    assert (found.opened, found.closed, found.pieces) == (day(30, 4), day(31), 20)


def test_a_count_on_the_first_day_comes_before_its_work_and_any_other_after():
    batches = [(MAY, 3), (day(31), 5)]
    assert used([(MAY, "counted", 9.0), (day(31), "counted", 5.0)], batches).pieces == 8
    assert used([(day(30, 4), "counted", 9.0), (day(31), "counted", 5.0)], batches).pieces == 8
    late = used([(day(2), "counted", 9.0), (day(31), "counted", 5.0)], [(day(2), 3), (day(31), 5)])
    assert late.pieces == 5


@pytest.mark.parametrize(
    "stock",
    [
        [],
        [(MAY, "counted", 9.0)],
        [(day(1, 4), "counted", 9.0), (day(30, 4), "counted", 5.0)],
        [(day(1, 4), "counted", 9.0), (JUNE, "counted", 5.0)],
    ],
)
def test_without_two_counts_and_one_in_the_span_nothing_is_said(stock):
    assert used(stock, [(day(10), 4)]) is None


def test_without_a_piece_nothing_is_said():
    assert used([(MAY, "counted", 9.0), (day(31), "counted", 5.0)], []) is None


def test_a_stock_that_grew_shows_as_less_than_nothing_used():
    found = used([(MAY, "counted", 9.0), (day(31), "counted", 12.0)], [(day(10), 3)])
    assert found.each.estimate == pytest.approx(-1.0)
    assert found.each.low < found.each.high
