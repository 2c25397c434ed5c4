"""Advice of the demo's eight months about the bench: none that what was built into the season contradicts."""

from datetime import date, timedelta

import pytest

MONTHS = [f"2026-{month:02}" for month in range(3, 11)]
pytestmark = pytest.mark.slow


def recent(day: str, month: str) -> bool:
    """Whether a day lies in a month or in the one before it."""
    last = (date.fromisoformat(f"{month}-01") - timedelta(days=1)).isoformat()
    return day[:7] in {month, last[:7]}


@pytest.mark.parametrize("month", MONTHS)
def test_stock_is_looked_for_from_the_month_that_it_left_in(month: str, demo, truth) -> None:
    made, gone, came = demo(month), truth["missing_alloy"], truth["unlogged_purchase"]
    found = {each.id: each.holds for each in made.section("material_balance", made.whole).actions}
    expected = {"look-for-alloy": not recent(gone["date"], month)} if month >= gone["month"] else {}
    if month >= came["month"]:
        expected[f"log-{came['item']}"] = not recent(f"{came['month']}-01", month)
    assert found == expected


@pytest.mark.parametrize("month", MONTHS)
def test_castings_are_blamed_on_what_was_built_in(month: str, demo, truth) -> None:
    made = demo(month)
    found = {each.id: each.holds for each in made.section("defect_rate", made.whole).actions}
    assert found.pop("warm:round-jig") in {True, False}, "begun cold in March"
    worst = truth["mold_temperature"]["worst_cavity"]
    worst_id = f"cavity:{worst['mold']} {worst['cavity']}"
    assert set(found) <= {"warm:guard-jig", "rest:round-jig", worst_id}
    hot = [day for day in truth["hot_sessions"] if day[:7] <= month]
    assert ("rest:round-jig" in found) == bool(hot)
    assert found.get("rest:round-jig", True) or any(recent(day, month) for day in hot)


@pytest.mark.parametrize("month", MONTHS)
def test_the_oven_is_to_be_watched_after_a_batch_outside_its_window(month: str, demo, truth) -> None:
    made, built_in = demo(month), truth["finishing"]
    found = {each.id: each.holds for each in made.section("finishing", made.whole).actions}
    outside = [built_in[name]["date"] for name in ("undercured", "over_hot")]
    assert found["cure-window"] == (not any(recent(day, month) for day in outside))
    assert set(found) == {"cure-window", "clear-guard-holes", "cure-melts-heads"}
