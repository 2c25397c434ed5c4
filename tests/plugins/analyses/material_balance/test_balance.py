import math
from collections.abc import Sequence
from datetime import date, datetime, timedelta
from random import Random

import pandas as pd
import pytest

from benchwater.ledger.stock import COLUMNS
from benchwater.plugin import Item
from material_balance.balance import (
    Book,
    Count,
    Movements,
    chain_counts,
    close_book,
    counts_of,
    lowest_book,
    movements_of,
)

ITEM = Item(name="alloy", kind="metal", unit="g", print_unit="g")
Row = tuple[str, datetime, str, float, float, str, float]


def day(number: int, hour: int = 0) -> datetime:
    return datetime(2026, 5, 1, hour) + timedelta(days=number - 1)


def moved(
    when: datetime, amount: float, kind: str = "used", u: float = 0.0, source: str = "", shared_u: float = 0.0
) -> Row:
    return (ITEM.name, when, kind, amount, u, source, shared_u)


def movements(*rows: Row) -> Movements:
    words, numbers = ("item", "kind", "source"), ("amount", "u", "shared_u")
    dtypes = dict.fromkeys(words, "category") | dict.fromkeys(numbers, "float64")
    return movements_of(pd.DataFrame(rows, columns=COLUMNS).astype(dtypes | {"date": "datetime64[us]"}))


def count(when: datetime, amount: float, u: float = 0.0, opens: bool = False) -> Count:
    """A count: without a time it stands for the end of its day, or where it opens for the start."""
    whole_day = when.hour == 0 and not opens
    return Count(day=when.date(), moment=when + timedelta(days=whole_day), amount=amount, u=u)


def book_of(*rows: Row, counts: Sequence[Count] = ()) -> Book:
    return Book(ITEM, movements(*rows), tuple(counts))


def test_shared_errors_add_before_they_are_squared() -> None:
    twice = movements(*[moved(day(1), -5.0, u=3.0, source="cavity", shared_u=2.0)] * 2)
    assert twice.net == -10.0
    # Own: 3 and 3; shared: 2 + 2; another: 1.
    assert twice.uncertainty(1.0) == pytest.approx(math.sqrt(9 + 9 + 16 + 1))


def test_shared_errors_of_opposite_movements_cancel() -> None:
    there = moved(day(1), -5.0, source="cavity", shared_u=2.0)
    back = moved(day(2), 5.0, "received", source="cavity", shared_u=2.0)
    assert movements(there, back).uncertainty() == 0.0


def test_movements_add_up_by_kind_without_sign_and_by_source_with_it() -> None:
    found = movements(
        moved(day(1), -3.0), moved(day(2), 5.0, "received"), moved(day(3), -4.0, source="x", shared_u=2.0)
    )
    assert found.by_kind() == {"used": 7.0, "received": 5.0}
    assert found.shared_by_source() == {"": 0.0, "x": -2.0}
    assert found.shared_by_source(signed=False) == {"": 0.0, "x": 2.0}
    assert len(found.of_kind("used")) == 2


def test_books_close_from_count_to_count() -> None:
    rows = [moved(day(1), -1.0), moved(day(2), 5.0, "received"), moved(day(3), -2.0)]
    book = book_of(*rows, counts=[count(day(1), 10.0, 0.3, opens=True), count(day(3), 11.0, 0.4)])
    found = close_book(book, day(1), day(32))
    assert (found.opening, found.book, found.counted, found.unaccounted) == (10.0, 12.0, 11.0, 1.0)
    assert found.flows == {"used": 3.0, "received": 5.0}
    assert found.u == pytest.approx(0.5)


def test_opening_rolls_forward_and_closing_too_and_neither_counts_twice() -> None:
    rows = [moved(day(2), -1.0, u=3.0), moved(day(12), -2.0, u=4.0), moved(day(22), -4.0, u=9.0)]
    book = book_of(*rows, counts=[count(day(1), 100.0, opens=True), count(day(20), 96.5)])
    found = close_book(book, day(10), day(30))
    assert (found.opening, found.book, found.counted, found.unaccounted) == (99.0, 93.0, 92.5, 0.5)
    assert found.u == pytest.approx(5.0)
    assert found.book_u == pytest.approx(math.sqrt(9 + 16 + 81))
    assert found.counted_u == pytest.approx(9.0)


def test_a_balance_begins_with_a_first_count_inside_the_stretch() -> None:
    rows = [moved(day(2), -1.0), moved(day(12), -2.0)]
    found = close_book(book_of(*rows, counts=[count(day(10), 50.0, opens=True)]), day(1), day(30))
    assert (found.opening, found.book) == (50.0, 48.0)
    assert found.flows == {"used": 2.0}
    assert found.last is None
    assert math.isnan(found.unaccounted)


def test_never_counted_leaves_only_the_flows() -> None:
    found = close_book(book_of(moved(day(2), -1.0)), day(1), day(30))
    assert found.first is None
    assert math.isnan(found.book)
    assert found.flows == {"used": 1.0}


def test_chain_takes_no_stretch_for_exact() -> None:
    counts = [count(day(1), 10.0, opens=True), count(day(9), 7.0, 0.7), count(day(19), 6.0)]
    book = book_of(moved(day(5), -3.0, u=2.0), counts=counts)
    chain = chain_counts(book, day(1), least_u=0.5, significance=0.01)
    assert chain is not None
    assert chain.flows == (-3.0, 0.0)
    assert chain.u == (0.5, 0.7, 0.5, 2.0, 0.5)
    assert [chain.gap(0), chain.gap(1)] == [0.0, 1.0]
    assert chain.result.agrees


def test_no_chain_of_two_counts_or_of_an_unknown_flow() -> None:
    counts = [count(day(1), 10.0, opens=True), count(day(9), 10.0), count(day(19), 10.0)]
    two, unknown = book_of(counts=counts[:2]), book_of(moved(day(5), math.nan), counts=counts)
    for book in (two, unknown):
        assert chain_counts(book, day(1), least_u=0.5, significance=0.01) is None


def test_a_recount_stands_with_the_count_it_replaced() -> None:
    table = pd.DataFrame(
        [(day(1), 10.0, day(1), False), (day(9), 9.0, day(10), True), (day(9), 8.0, day(10), False)],
        columns=["date", "amount", "moment", "replaced"],
    )
    counts, recounted = counts_of(table.assign(u=0.0))
    assert [each.amount for each in counts] == [10.0, 8.0]
    assert [(old.amount, new.amount) for old, new in recounted] == [(9.0, 8.0)]


def test_lowest_book_takes_days_whole_and_is_put_right_by_each_count() -> None:
    rows = [
        moved(day(3), -12.0, u=3.0),
        moved(day(3, 18), 5.0, "received", u=4.0),
        moved(day(5), -4.0),
        moved(day(12), -6.0),
    ]
    book = book_of(*rows, counts=[count(day(1), 10.0, opens=True), count(day(10), 4.0, 1.0)])
    found = lowest_book(book, day(1), day(30))
    assert found is not None
    assert (found.day, found.amount, found.u) == (day(12).date(), -2.0, 1.0)
    earlier = lowest_book(book, day(1), day(10))
    assert earlier is not None
    assert (earlier.day, earlier.amount, earlier.u) == (day(5).date(), -1.0, 5.0)
    assert lowest_book(book, day(20), day(30)) is None


def test_lowest_book_of_an_item_never_counted_is_what_it_needed_to_begin_with() -> None:
    found = lowest_book(book_of(moved(day(2), -7.0), moved(day(4), 9.0)), day(1), day(30))
    assert found is not None
    assert (found.day, found.amount) == (day(2).date(), -7.0)
    assert lowest_book(book_of(moved(day(2), math.nan)), day(1), day(30)) is None


@pytest.mark.parametrize("seed", range(20))
def test_a_long_book_agrees_with_adding_up_every_row(seed: int) -> None:
    dice = Random(seed)
    days = sorted({dice.randrange(1, 90) for _ in range(dice.choice([0, 1, 9]))})
    counts = [count(day(number, dice.choice([0, 0, 9])), dice.uniform(50, 90), u=1.0) for number in days]
    when = [day(dice.randrange(1, 90), dice.choice([0, 8, 20])) for _ in range(150)]
    rows = [moved(each, dice.uniform(-3, 2), u=0.1) for each in when]
    book = book_of(*rows, counts=counts)
    for _ in range(20):
        start, end = day(dice.randrange(1, 90)), day(dice.randrange(1, 90), 8)
        assert book.between(start, end).amount.tolist() == [row[3] for row in rows if start <= row[1] < end]
    start = day(dice.randrange(1, 60))
    found, wanted = lowest_book(book, start, day(91)), lowest_by_adding_up(book, start, day(91))
    assert found is not None
    assert (found.day, found.amount, found.u) == (wanted[0], *map(pytest.approx, wanted[1:]))


def lowest_by_adding_up(book: Book, start: datetime, end: datetime) -> tuple[date, float, float]:
    """Every day's stock added up anew from the count it rests on."""
    levels = []
    begins = [(count.moment, count.amount, count.u) for count in book.counts if count.day < end.date()]
    begins = begins or [(datetime.min, 0.0, 0.0)]
    columns = (book.movements.when, book.movements.amount, book.movements.u)
    rows = list(zip(*(column.tolist() for column in columns), strict=True))
    for (begin, amount, u), (stop, *_) in zip(begins, [*begins[1:], (end, 0.0, 0.0)], strict=True):
        inside = [row for row in rows if begin <= row[0] < stop]
        for when in sorted({row[0].date() for row in inside if row[0].date() >= start.date()}):
            moves = [row for row in inside if row[0].date() <= when]
            level = amount + sum(move[1] for move in moves)
            levels.append((level, when, math.hypot(u, *(move[2] for move in moves))))
    amount, when, u = min(levels, key=lambda level: level[0])
    return when, amount, u
