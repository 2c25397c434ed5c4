"""Rows of the pour log by fill: their order and times, and remarks that name an infrared gun."""

import numpy as np
import pytest

from benchwater.ledger.fills import Runs, fills_of, pour_rows, read_with_a_gun, runs_of
from benchwater.testing import make_season

BENCH = """
[bench]
units = "metric"
[defaults]
mold_temp = "degC"
[items.alloy]
kind = "metal"
[molds.ball]
material = "alloy"
[[molds.ball.cavities]]
name = "1/8"
mass = "3.5 g"
"""
HEADER = "date,mold,cavity,outcome,count,fill,mold_temp,note,method\n"


def one_run(*rows: str) -> Runs:
    made = make_season(BENCH, {"pour.csv": HEADER + "\n".join(rows) + "\n"})
    fills = fills_of(pour_rows(made.season.rows("pour", made.whole)))
    runs = runs_of(fills, "ball")
    assert len(runs.sessions) == 1
    return runs


def test_waits_are_the_times_between_fills_even_over_those_without_a_time() -> None:
    run = one_run(
        "2026-05-01 09:01,ball,1/8,good,2,2,100,,",
        "2026-05-01,ball,1/8,good,2,3,,,",
        "2026-05-01 09:05,ball,1/8,good,2,4,120,,",
        "2026-05-01 09:06,ball,1/8,good,2,5,,,",
        "2026-05-01,ball,1/8,good,2,6,,,",
    )
    assert np.array_equal(run.readings, [[np.nan, 100, np.nan, 120, np.nan, np.nan]], equal_nan=True)
    assert run.waits == pytest.approx(np.array([[0, 100, 120, 120, 60, 100]]))


@pytest.mark.parametrize(
    "times",
    [("2026-05-01", "2026-05-01"), ("2026-05-01 09:00",) * 2, ("2026-05-01 09:05", "2026-05-01 09:00")],
    ids=["days alone", "one time for all", "against the order of fills"],
)
def test_without_two_times_in_order_the_log_does_not_tell_the_waits(times: tuple[str, str]) -> None:
    rows = [f"{time},ball,1/8,good,2,{fill},100,," for fill, time in enumerate(times, start=1)]
    assert np.isnan(one_run(*rows).waits).all()


def test_where_no_fill_is_numbered_their_times_number_them() -> None:
    run = one_run("2026-05-01 09:02,ball,1/8,good,2,,110,,", "2026-05-01 09:01,ball,1/8,good,2,,100,,")
    assert run.readings.tolist() == [[100, 110]]
    assert run.waits.tolist() == [[0, 60]]


@pytest.mark.parametrize(
    ("note", "method", "gun"),
    [
        ("IR gun", "", True),
        ("", "infra-red", True),
        ("laser thermometer on the block", "", True),
        ("infrared on the matt black spot", "", False),
        ("first stir; dirty", "probe", False),
        ("heat gun to warm it", "", False),
    ],
)
def test_a_gun_is_named_in_a_remark_or_in_a_column_of_ones_own(note: str, method: str, gun: bool) -> None:
    made = make_season(BENCH, {"pour.csv": f"{HEADER}2026-05-01,ball,1/8,good,2,1,30,{note},{method}\n"})
    found = read_with_a_gun(pour_rows(made.season.rows("pour", made.whole)))
    assert found == ({"2026-05-01 ball"} if gun else set())
