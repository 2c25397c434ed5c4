from datetime import datetime

import pytest

from benchwater.plugin import Bench, Column, Item
from benchwater.read.cells import CellContext, read_amount, read_cell
from benchwater.read.dates import DateHints, read_date
from benchwater.read.outcome import CellError, Reason


@pytest.mark.parametrize(
    ("text", "order", "expected"),
    [
        ("2026-05-17", "iso", datetime(2026, 5, 17)),
        ("2026-05-17 09:40", "iso", datetime(2026, 5, 17, 9, 40)),
        ("2026-05-17T09:40:30", "iso", datetime(2026, 5, 17, 9, 40, 30)),
        ("2026/5/7", "iso", datetime(2026, 5, 7)),
        ("03/04/2026", "day first", datetime(2026, 4, 3)),
        ("03/04/2026", "month first", datetime(2026, 3, 4)),
        ("3.4.2026 6:05", "day first", datetime(2026, 4, 3, 6, 5)),
    ],
)
def test_dates_are_read_in_the_order_stated(text, order, expected):
    assert read_date(text, DateHints(order=order)) == expected


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("03/04/2026", Reason.DATE_ORDER),
        ("2026-02-30", Reason.DATE),
        ("26-05-17", Reason.DATE),
        ("May 17", Reason.DATE),
        ("May-17", Reason.DATE),
        ("17/05", Reason.DATE),
        ("May 2026", Reason.DATE),
        ("2026-05-17 25:00", Reason.DATE),
        ("0026-05-17", Reason.DATE),
    ],
)
def test_a_date_is_never_guessed(text, reason):
    with pytest.raises(CellError) as refusal:
        read_date(text, DateHints())
    assert refusal.value.reason == reason


def test_a_volume_of_something_kept_by_mass_needs_its_density():
    context = CellContext(bench=Bench(name="b"), decimal_comma=False, bare_unit=None)
    plastic = Item(name="plastic", kind="plastic", unit="g", print_unit="g", density_g_per_ml=1.08)
    assert read_amount("1 fl oz", plastic, context) == pytest.approx(31.94, abs=0.005)
    alloy = Item(name="alloy", kind="metal", unit="g", print_unit="lb")
    with pytest.raises(CellError, match="density"):
        read_amount("3 fl oz", alloy, context)
    assert read_amount("2", alloy, context) == pytest.approx(907.18474)


@pytest.mark.parametrize("text", ["9223372036854775808", "100001", "20260502", "5e18", "9" * 30])
def test_a_count_that_cannot_be_meant_is_set_aside_with_a_question(text):
    count, context = count_column(), CellContext(bench=Bench(name="b"), decimal_comma=False, bare_unit=None)
    assert read_cell("100000", count, context) == 100_000
    with pytest.raises(CellError) as refusal:
        read_cell(text, count, context)
    assert refusal.value.reason == Reason.NUMBER
    if "e" not in text:
        assert refusal.value.why == "is too large for `count`: is it a count? (at most 100000)"


@pytest.mark.parametrize(
    ("kind", "text", "most"),
    [
        ("temperature", "20260502 F", "2000 °C"),
        ("mass", "9000000000000000000 g", "10,000 kg"),
        ("mass", "20260502 g", "10,000 kg"),
        ("volume", "20260502 ml", "10,000 L"),
        ("length", "20260502 mm", "10 m"),
        ("duration", "20260502 h", "1000 h"),
        ("money", "20260502001", "1,000,000,000"),
    ],
)
def test_a_quantity_that_no_bench_can_hold_is_set_aside_with_a_question(kind, text, most):
    context = CellContext(bench=Bench(name="b"), decimal_comma=False, bare_unit=None)
    with pytest.raises(CellError, match=rf"^is more than {most}: "):
        read_cell(text, Column(name="x", meaning="x", kind=kind), context)


def test_more_pieces_than_a_bench_can_hold_are_set_aside_with_a_question():
    context = CellContext(bench=Bench(name="b"), decimal_comma=False, bare_unit=None)
    hook = Item(name="hook", kind="insert", unit="pieces", print_unit="pieces")
    assert read_amount("100000", hook, context) == 100_000
    with pytest.raises(CellError, match=r"^is more than 100,000 pieces: what was meant"):
        read_amount("20260502", hook, context)


def test_a_log_kind_may_state_another_largest_count():
    context = CellContext(bench=Bench(name="b"), decimal_comma=False, bare_unit=None)
    assert read_cell("100001", count_column(most=10**6), context) == 100_001
    with pytest.raises(CellError, match="at most 12"):
        read_cell("13", count_column(most=12), context)


def count_column(**options):
    return Column(name="count", meaning="castings", kind="count", **options)
