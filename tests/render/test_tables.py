"""Cells as printed: units in the heading where there is one, dashes, and a setting that fits the page."""

from dataclasses import replace
from datetime import date, datetime
from typing import Any

import pytest

from benchwater.plugin.bench import Bench
from benchwater.plugin.section import Table, TableColumn
from benchwater.render.tables import print_table

BENCH = Bench(name="b")


def _table(columns: tuple[TableColumn, ...], *rows: tuple[Any, ...], **more: Any) -> Table:
    return Table(id="t", title="T", columns=columns, rows=rows, **more)


@pytest.mark.parametrize(
    ("unit", "cells", "heading", "printed"),
    [
        ("degC", (176.7, None), "°F", ("350", "–")),
        ("1", (0.14, 0.031), "%", ("14", "3.1")),
        ("money", (12.4, 3.0), "$", ("12.40", "3.00")),
        ("pieces", (1204, 7), "", ("1204", "7")),
        (None, (1204, None), "", ("1204", "–")),
        (None, (19.0, 19.12), "", ("19.0", "19.1")),
        (None, (0.0004, 19.12), "", ("0.0004", "19.1")),
        (None, (True, False), "", ("yes", "no")),
        (None, (date(2026, 5, 3), datetime(2026, 5, 3, 7, 5)), "", ("2026-05-03", "2026-05-03 07:05")),
        (None, (float("nan"), -2.5), "", ("–", "−2.5")),
    ],
)
def test_one_unit_stands_in_the_heading(
    unit: str | None, cells: tuple[Any, ...], heading: str, printed: tuple[str, ...]
) -> None:
    table = _table((TableColumn(name="x", label="X", unit=unit),), *((cell,) for cell in cells))
    (column,) = print_table(table, BENCH).columns
    assert (column.unit, column.cells) == (heading, printed)


def test_mixed_units_stand_in_the_cells_and_one_moves_up() -> None:
    columns = (
        TableColumn(name="amount", label="Amount", unit_from="unit"),
        TableColumn(name="unit", label="Unit", hidden=True),
    )
    mixed = _table(columns, (907.18474, "g"), (12, "pieces"), (None, "mL"), print_units=("lb", None, None))
    assert print_table(mixed, BENCH).columns[0].cells == ("2 lb", "12", "–")
    pounds = _table(columns, (907.18474, "g"), (1000.0, "g"), print_units=("lb", "lb"))
    (column,) = print_table(pounds, BENCH).columns
    assert (column.unit, column.cells) == ("lb", ("2.0", "2.2"))
    grams = replace(pounds, print_units=None)
    (column,) = print_table(grams, Bench(name="m", system="metric")).columns
    assert (column.unit, column.cells) == ("g", ("907", "1000"))


def test_rows_are_cut_and_tables_set_to_fit() -> None:
    few = _table((TableColumn(name="x", label="X"),), *((n,) for n in range(41)), print_rows=40)
    printed = print_table(few, BENCH)
    assert len(printed.rows) == 40
    assert printed.more == "And 1 more row in season-report.json."
    assert printed.setting == "roomy"
    settings = []
    for count in (8, 11, 14, 20, 40):
        columns = tuple(TableColumn(name=f"c{n}", label="Unaccounted"[: 6 + n % 5]) for n in range(count))
        settings.append(print_table(_table(columns, (12.5,) * count), BENCH).setting)
    assert settings[0] == "roomy"
    assert settings[-1] == "crammed"
    assert sorted(settings, key=["roomy", "medium", "close", "dense", "crammed"].index) == settings


def test_cells_that_a_setting_keeps_in_one_line_need_nothing_to_hold_them() -> None:
    columns = (TableColumn(name="name", label="Name"), TableColumn(name="x", label="X", unit="g"))
    half = print_table(_table(columns, ("round-jig", 2.5)), BENCH)
    assert (half.half, [column.unbroken for column in half.columns]) == (True, [True, True])
    wide = print_table(
        _table(columns, ("round-jig, the one with the long handles, bought second hand", 2.5)), BENCH
    )
    assert (wide.half, [column.unbroken for column in wide.columns]) == (False, [False, True])
    many = columns[:1] + tuple(TableColumn(name=f"c{n}", label="Unaccounted", unit="g") for n in range(14))
    dense = print_table(_table(many, ("round-jig", *(2.5,) * 14)), BENCH)
    assert dense.setting in ("dense", "crammed")
    assert not any(column.unbroken for column in dense.columns)
