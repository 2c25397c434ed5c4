import math
from datetime import date

import pytest

from benchwater.ledger import midnight
from benchwater.ledger.stock import on_hand, stock_counts, stock_notes
from stocked_seasons import made


def test_first_count_stands_for_the_start_of_its_day_and_later_ones_for_the_end() -> None:
    rows = ("2026-05-01", "2026-05-03", "2026-05-04 15:00")
    found = stock_counts(made("".join(f"{when},alloy,counted,10 g,,,\n" for when in rows)).season)
    moments = ["2026-05-01 00:00:00", "2026-05-04 00:00:00", "2026-05-04 15:00:00"]
    assert found["moment"].astype(str).tolist() == moments


def test_a_recount_replaces_the_count_of_its_moment() -> None:
    rows = [("2026-05-01", 10), ("2026-05-09", 100), ("2026-05-09", 12), ("2026-05-09 12:00", 11)]
    found = stock_counts(made("".join(f"{when},alloy,counted,{g} g,,,\n" for when, g in rows)).season)
    assert found["amount"].tolist() == [10.0, 11.0, 100.0, 12.0]
    assert found["replaced"].tolist() == [False, False, True, False]


@pytest.mark.parametrize("start", [date(2026, 4, 1), date(2026, 6, 1)])
def test_stock_on_hand_is_the_last_count_rolled_forward(start: date) -> None:
    rows = "2026-04-01,alloy,counted,100 g,,,\n2026-05-09,alloy,used,10 g,,,\n"
    rows += "2026-05-20,alloy,counted,80 g,,,\n2026-06-09,alloy,used,5 g,,,\n"
    season = made(rows).season
    found = on_hand(season, midnight(start), midnight(season.end))
    assert found["alloy"] == 75.0
    assert math.isnan(found["pearl"])


def test_only_an_item_without_a_stated_scale_is_told_how_its_rows_read() -> None:
    rows = "2026-04-01,alloy,counted,100 g,,,\n2026-05-09,alloy,used,10 g,,,\n"
    assert stock_notes(made(rows).season) == ()
