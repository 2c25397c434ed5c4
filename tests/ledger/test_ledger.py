from datetime import date

import pytest

from benchwater.ledger import recent, sum_in_order
from benchwater.testing import make_season
from small_bench import SMALL_BENCH


def test_sums_are_added_one_by_one() -> None:
    values = [0.1] * 1000 + [1e9, -1e9]
    assert sum_in_order(values) == sum(values)
    assert sum_in_order([]) == 0.0


@pytest.mark.parametrize(
    ("pour", "month", "start", "end", "label"),
    [
        ("2026-07-03", "2026-07", date(2026, 6, 1), date(2026, 8, 1), "June and July"),
        ("2026-04-03 2026-05-02", "2026-08", date(2026, 4, 1), date(2026, 6, 1), "April and May"),
        ("2026-03-09", "2026-03", date(2026, 3, 1), date(2026, 4, 1), "March"),
        ("", "2026-07", date(2026, 6, 1), date(2026, 8, 1), "June and July"),
    ],
)
def test_recent_are_the_last_two_months_that_hold_rows(pour, month, start, end, label) -> None:
    rows = "".join(f"{day},round-jig,1/8,good\n" for day in pour.split())
    logs = {"pour.csv": f"date,mold,cavity,outcome\n{rows}"} if rows else {}
    found = recent(make_season(SMALL_BENCH, logs, month=month).season, "pour")
    assert (found.start, found.end, found.label) == (start, end, label)
