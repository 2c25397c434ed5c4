"""Hours in use by bait; a bait given away or sold is off the bench, and is no loss."""

import pytest

from benchwater.ledger.bait_lives import rows_in_use
from benchwater.ledger.pieces import pieces_on_hand
from benchwater.testing import make_season
from small_bench import SMALL_BENCH, read_files


@pytest.mark.parametrize("month", ["2026-05", "2026-06"])
def test_hours_of_a_tagged_bait_before_the_span_count(month, demo):
    made = demo(month)
    season = made.season
    month_rows, whole = rows_in_use(season, made.period), rows_in_use(season, made.whole)
    of_month = whole[whole["date"] >= month_rows["date"].min()].reset_index(drop=True)
    assert (month_rows["entry"] > 0).any()
    for name in ("entry", "time", "life", "ended", "hours"):
        assert month_rows[name].tolist() == of_month[name].tolist()


def test_a_used_bait_with_no_time_fished_is_in_use_for_an_instant():
    logged = "date,build,fished,fate,count,bait\n2026-05-03,perch-grub,2 h,kept,1,A1\n"
    logged += "2026-06-01,perch-grub,0,lost,1,A1\n2026-06-01,perch-grub,0,lost,1,\n"
    made = make_season(SMALL_BENCH, {"fished.csv": logged}, "2026-06")
    rows = rows_in_use(made.season, made.period)
    # The first day of the month is in it.
    assert rows["entry"].tolist() == [2.0, 0.0]
    assert (rows["time"] - rows["entry"]).tolist() == pytest.approx([1e-6, 0])
    assert rows["first_day"].dt.month.tolist() == [5, 6]


POUR = "date,mold,cavity,outcome,count\n2026-05-01,round-jig,1/8,good,20\n"
COAT = "date,mold,cavity,coat,count\n2026-05-02,round-jig,1/8,black,20\n"
FISHED = (
    "date,build,fished,fate,count,price\n"
    "2026-05-03,perch-grub,2 h,lost,1,\n2026-05-03,perch-grub,2 h,kept,4,\n"
    "2026-05-04,perch-grub,0,gave away,3,\n2026-05-05,perch-grub,,sold,2,$10\n"
)


def test_given_and_sold_baits_leave_the_count_on_hand_and_are_no_losses():
    made = make_season(SMALL_BENCH, {"pour.csv": POUR, "coat.csv": COAT, "fished.csv": FISHED})
    assert pieces_on_hand(made.season).bodies["round-jig", "1/8", "black"] == 20 - 1 - 3 - 2
    rows = rows_in_use(made.season, made.period)
    assert rows["ended"].sum() == 1
    assert made.season.log("fishing")["price"].sum() == 10.0


def test_a_bait_given_or_sold_needs_no_time_fished_and_any_other_does(tmp_path):
    rows = (
        "2026-05-03,perch-grub,,sold,1,$4\n2026-05-03,perch-grub,,given,1,\n2026-05-03,perch-grub,,kept,1,\n"
    )
    reading = read_files(tmp_path, {"fished.csv": FISHED.splitlines()[0] + "\n" + rows})
    assert reading.tables["fishing"]["fished_h"].tolist() == [0.0, 0.0]
    assert [(each.line, each.column) for each in reading.set_aside] == [(4, "fished")]
