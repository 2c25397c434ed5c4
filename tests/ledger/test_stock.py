import math
from datetime import date, datetime, timedelta
from random import Random

import pytest

from benchwater.ledger.movements import Movement, Movements, net_amount, net_uncertainty
from benchwater.ledger.stock import Ledger, chain_counts, close_books, lowest_book


def day(number: int, hour: int = 0) -> datetime:
    return datetime(2026, 5, 1, hour) + timedelta(days=number - 1)


def ledger_of(*movements: Movement) -> Ledger:
    return Ledger(movements=Movements.of(movements))


def moved(when: datetime, amount: float, kind: str = "used", **spread: float) -> Movement:
    return Movement(when=when, kind=kind, amount=amount, u=spread.get("u", 0.0))


def test_shared_errors_add_before_they_are_squared() -> None:
    twice = [Movement(when=day(1), kind="out", amount=-5.0, u=3.0, source="cavity", shared_u=2.0)] * 2
    alike = Movements.of(twice)
    assert net_amount(alike) == -10.0
    # Own: 3 and 3; shared: 2 + 2; another: 1.
    assert net_uncertainty(alike, [1.0]) == pytest.approx(math.sqrt(9 + 9 + 16 + 1))


def test_shared_errors_of_opposite_movements_cancel() -> None:
    there = Movement(when=day(1), kind="out", amount=-5.0, source="cavity", shared_u=2.0)
    back = Movement(when=day(2), kind="in", amount=5.0, source="cavity", shared_u=2.0)
    assert net_uncertainty(Movements.of([there, back])) == 0.0


def test_first_count_stands_for_the_start_of_its_day_and_later_ones_for_the_end() -> None:
    ledger = Ledger()
    ledger.add_count(day(1), 10.0)
    ledger.add_count(day(3), 9.0)
    ledger.add_count(day(4, 15), 8.0)
    assert [count.moment for count in ledger.counts] == [day(1), day(4), day(4, 15)]
    assert [count.day for count in ledger.counts] == [day(1).date(), day(3).date(), day(4).date()]


def test_books_close_from_count_to_count() -> None:
    ledger = ledger_of(moved(day(1), -1.0), moved(day(2), 5.0, "received"), moved(day(3), -2.0))
    ledger.add_count(day(1), 10.0, 0.3)
    ledger.add_count(day(3), 11.0, 0.4)
    found = close_books(ledger, day(1), day(32))
    assert (found.opening, found.book, found.counted, found.unaccounted) == (10.0, 12.0, 11.0, 1.0)
    assert found.flows == {"used": 3.0, "received": 5.0}
    assert found.u == pytest.approx(0.5)


def test_opening_rolls_forward_and_closing_too_and_neither_counts_twice() -> None:
    ledger = ledger_of(moved(day(2), -1.0, u=3.0), moved(day(12), -2.0, u=4.0), moved(day(22), -4.0, u=9.0))
    ledger.add_count(day(1), 100.0)
    ledger.add_count(day(20), 96.5)
    found = close_books(ledger, day(10), day(30))
    assert (found.opening, found.book, found.counted, found.unaccounted) == (99.0, 93.0, 92.5, 0.5)
    assert found.u == pytest.approx(5.0)
    assert found.book_u == pytest.approx(math.sqrt(9 + 16 + 81))
    assert found.counted_u == pytest.approx(9.0)


def test_a_balance_begins_with_a_first_count_inside_the_stretch() -> None:
    ledger = ledger_of(moved(day(2), -1.0), moved(day(12), -2.0))
    ledger.add_count(day(10), 50.0)
    found = close_books(ledger, day(1), day(30))
    assert (found.opening, found.book) == (50.0, 48.0)
    assert found.flows == {"used": 2.0}
    assert found.last is None
    assert math.isnan(found.unaccounted)


def test_never_counted_leaves_only_the_flows() -> None:
    found = close_books(ledger_of(moved(day(2), -1.0)), day(1), day(30))
    assert found.first is None
    assert math.isnan(found.book)
    assert found.flows == {"used": 1.0}


def test_a_recount_of_the_same_day_is_the_one_that_closes() -> None:
    ledger = Ledger()
    for when, amount in ((day(1), 10.0), (day(9), 100.0), (day(9), 10.0)):
        ledger.add_count(when, amount)
    assert close_books(ledger, day(1), day(30)).counted == 10.0


def test_chain_takes_no_stretch_for_exact() -> None:
    ledger = ledger_of(moved(day(5), -3.0, u=2.0))
    for when, amount, u in ((day(1), 10.0, 0.0), (day(9), 7.0, 0.7), (day(19), 6.0, 0.0)):
        ledger.add_count(when, amount, u)
    chain = chain_counts(ledger, day(1), least_u=0.5)
    assert chain is not None
    assert chain.flows == (-3.0, 0.0)
    assert chain.u == (0.5, 0.7, 0.5, 2.0, 0.5)
    assert [chain.gap(0), chain.gap(1)] == [0.0, 1.0]
    assert chain.result.agrees


def test_no_chain_of_two_counts_or_of_an_unknown_flow() -> None:
    ledger = ledger_of(moved(day(5), math.nan))
    ledger.add_count(day(1), 10.0)
    ledger.add_count(day(9), 10.0)
    assert chain_counts(ledger, day(1), least_u=0.5) is None
    ledger.add_count(day(19), 10.0)
    assert chain_counts(ledger, day(1), least_u=0.5) is None


def test_a_recount_replaces_the_count_of_its_moment() -> None:
    ledger = Ledger()
    for when, amount in ((day(1), 10.0), (day(9), 100.0), (day(9), 10.0), (day(9, 12), 11.0)):
        ledger.add_count(when, amount)
    assert [count.amount for count in ledger.counts] == [10.0, 11.0, 10.0]
    assert [(old.amount, new.amount) for old, new in ledger.recounted] == [(100.0, 10.0)]


def test_lowest_book_takes_days_whole_and_is_put_right_by_each_count() -> None:
    ledger = ledger_of(
        moved(day(3), -12.0, u=3.0),
        moved(day(3, 18), 5.0, "received", u=4.0),
        moved(day(5), -4.0),
        moved(day(12), -6.0),
    )
    ledger.add_count(day(1), 10.0)
    ledger.add_count(day(10), 4.0, 1.0)
    found = lowest_book(ledger, day(1), day(30))
    assert found is not None
    assert (found.day, found.amount, found.u) == (day(12).date(), -2.0, 1.0)
    earlier = lowest_book(ledger, day(1), day(10))
    assert earlier is not None
    assert (earlier.day, earlier.amount, earlier.u) == (day(5).date(), -1.0, 5.0)
    assert lowest_book(ledger, day(20), day(30)) is None


def test_lowest_book_of_an_item_never_counted_is_what_it_needed_to_begin_with() -> None:
    found = lowest_book(ledger_of(moved(day(2), -7.0), moved(day(4), 9.0)), day(1), day(30))
    assert found is not None
    assert (found.day, found.amount) == (day(2).date(), -7.0)
    assert lowest_book(ledger_of(moved(day(2), math.nan)), day(1), day(30)) is None


@pytest.mark.parametrize("seed", range(20))
def test_a_long_ledger_says_what_looking_at_every_row_says(seed: int) -> None:
    dice = Random(seed)
    ledger = Ledger()
    for number in sorted(dice.choices(range(1, 90), k=dice.choice([0, 1, 9]))):
        ledger.add_count(day(number, dice.choice([0, 0, 9])), dice.uniform(50, 90), u=1.0)
    rows = [day(dice.randrange(1, 90), dice.choice([0, 8, 20])) for _ in range(150)]
    rows_written = [Movement(when=when, kind="used", amount=dice.uniform(-3, 2), u=0.1) for when in rows]
    ledger.movements = Movements.of(rows_written)
    assert [count.moment for count in ledger.counts] == sorted({count.moment for count in ledger.counts})
    for _ in range(20):
        start, end = day(dice.randrange(1, 90)), day(dice.randrange(1, 90), 8)
        assert list(ledger.between(start, end)) == [m for m in rows_written if start <= m.when < end]
        earlier = [count for count in ledger.counts if count.moment <= end]
        assert ledger.last_count(up_to=end) == (earlier[-1] if earlier else None)
    start = day(dice.randrange(1, 60))
    found, wanted = lowest_book(ledger, start, day(91)), lowest_by_adding_up(ledger, start, day(91))
    assert found is not None
    assert (found.day, found.amount, found.u) == (wanted[0], *map(pytest.approx, wanted[1:]))


def lowest_by_adding_up(ledger: Ledger, start: datetime, end: datetime) -> tuple[date, float, float]:
    """Every day's book added up anew from the count it rests on."""
    books = []
    begins = [(count.moment, count.amount, count.u) for count in ledger.counts if count.day < end.date()]
    begins = begins or [(datetime.min, 0.0, 0.0)]
    for (begin, amount, u), (stop, *_) in zip(begins, [*begins[1:], (end, 0.0, 0.0)], strict=True):
        inside = [m for m in ledger.movements if begin <= m.when < stop]
        for when in sorted({m.when.date() for m in inside if m.when.date() >= start.date()}):
            moves = [m for m in inside if m.when.date() <= when]
            books.append((amount + sum(m.amount for m in moves), when, math.hypot(u, *(m.u for m in moves))))
    amount, when, u = min(books, key=lambda book: book[0])
    return when, amount, u
