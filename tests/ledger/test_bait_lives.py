"""Hours in use by bait."""

import pytest

from benchwater.ledger.bait_lives import rows_in_use


@pytest.mark.parametrize("month", ["2026-05", "2026-06"])
def test_hours_of_a_tagged_bait_before_the_span_count(month, demo):
    made = demo(month)
    season = made.season
    month_rows, whole = rows_in_use(season, made.period), rows_in_use(season, made.whole)
    of_month = whole[whole["date"] >= month_rows["date"].min()].reset_index(drop=True)
    assert (month_rows["entry"] > 0).any()
    for name in ("entry", "time", "life", "ended", "hours"):
        assert month_rows[name].tolist() == of_month[name].tolist()
