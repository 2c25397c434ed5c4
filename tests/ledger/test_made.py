"""How many baits were dressed, by hand and against what the demo's makers dressed; spoilt inserts."""

from datetime import datetime

import pytest

from benchwater.ledger import midnight
from benchwater.ledger.made import Dressed, baits_dressed, dressing_steps, spoilt_share
from benchwater.plugin import Season
from benchwater.statistics.proportions import unseen
from benchwater.testing import make_season

BENCH = """
[bench]
name = "Test bench"
units = "metric"
season = { start = "03-01" }
[items.alloy]
kind = "metal"
unit = "g"
scale = { resolution = "0.1 g" }
[items.hook]
kind = "insert"
mass = "1 g"
[items.pearl]
kind = "coat"
unit = "g"
[items.eye]
kind = "fitting"
[molds.ball]
material = "alloy"
[[molds.ball.cavities]]
name = "1/4"
mass = "10 g"
tolerance = "6 %"
insert = "hook"
[builds.bright]
head = { mold = "ball", cavity = "1/4" }
coat = { item = "pearl", mass = "0.2 g" }
[builds.bare]
head = { mold = "ball", cavity = "1/4" }
[builds.eyed]
head = { mold = "ball", cavity = "1/4" }
coat = { item = "pearl", mass = "0.2 g" }
fittings = { eye = 2 }
"""
POUR = "date,mold,cavity,outcome,count,mass\n2026-03-03,ball,1/4,good,12,\n2026-03-03,ball,1/4,reject,4,\n"
COAT = "date,mold,cavity,coat,count,rejects\n2026-03-05,ball,1/4,pearl,6,2\n"
FISHED = "date,build,fished,fate,count,bait,cause\n"
STOCK = "date,item,move,amount\n"


WITHOUT_EYES = BENCH[: BENCH.index("[builds.eyed]")]


def season(bench: str = BENCH, **logs: str) -> Season:
    return make_season(bench, {f"{name}.csv": text for name, text in logs.items()}).season


def dressed(build: str, day: str = "2026-04-01", **logs: str) -> Dressed:
    return baits_dressed(season(**logs), datetime.fromisoformat(day))[build]


def bounds(build: str, **logs: str) -> tuple[float, float, float]:
    found = dressed(build, **logs)
    return found.low, found.number, found.high


def test_castings_alone_may_have_become_any_bait_or_none() -> None:
    assert bounds("bright", pour=POUR) == bounds("bare", pour=POUR) == (0, 0, 12)


def test_a_bait_whose_last_step_is_its_coat_is_done_with_it() -> None:
    logs = {"bench": WITHOUT_EYES, "pour": POUR, "coat": COAT}
    assert bounds("bright", **logs) == (4, 4, 4)
    assert bounds("bare", **logs) == (0, 0, 8)
    assert bounds("bright", day="2026-03-05", **logs) == (0, 0, 0)


def test_a_coated_head_that_takes_a_fitting_is_a_bait_once_the_fitting_is_used() -> None:
    coat = COAT.replace("6,2", "9,0")
    assert bounds("eyed", pour=POUR, coat=coat) == (0, 0, 9)
    used = STOCK + "2026-03-06,eye,used,8\n"
    # The 9 coated are bright or eyed; 8 eyes make 4 eyed ones, so 5 may be bright.
    assert bounds("eyed", pour=POUR, coat=coat, stock=used) == (4, 4, 4)
    assert bounds("bright", pour=POUR, coat=coat, stock=used) == (0, 0, 5)
    assert bounds("eyed", day="2026-03-06", pour=POUR, coat=coat, stock=used) == (0, 0, 0)
    rows = FISHED + "2026-03-09,eyed,1 h,lost,6,,snag\n"
    assert bounds("eyed", pour=POUR, coat=coat, stock=used, fished=rows) == (6, 6, 9)


def test_a_bare_bait_counts_when_it_must_have_been_on_the_water() -> None:
    rows = (
        "2026-03-07,bare,1 h,kept,3,,\n"  # three at once
        "2026-03-08,bare,1 h,lost,2,,snag\n"  # may be two of the three
        "2026-03-09,bare,1 h,kept,2,,\n"  # at most one is left of those: one more
        "2026-03-09,bare,1 h,kept,1,B1,\n"  # a tag is another bait
        "2026-03-10,bare,1 h,worn,1,B1,torn\n2026-03-11,bare,1 h,kept,1,B1,\n"  # and a new one once it ended
    )
    found = dressed("bare", pour=POUR, coat=COAT, fished=FISHED + rows)
    assert (found.seen, found.low) == (6, 6)


def test_the_share_that_known_builds_show_on_the_water_tells_of_the_others() -> None:
    # 4 bright are known and 2 of them were fished; of 3 bare ones fished there are about 6, 8 at most.
    rows = FISHED + "2026-03-07,bright,1 h,kept,2,,\n2026-03-07,bare,1 h,kept,3,,\n"
    assert bounds("bare", bench=WITHOUT_EYES, pour=POUR, coat=COAT, fished=rows) == (3, 6, 8)
    # So too when all of it was a season earlier.
    logs = {"pour.csv": POUR, "coat.csv": COAT, "fished.csv": rows}
    logs = {name: text.replace("2026-", "2025-") for name, text in logs.items()}
    earlier = make_season(WITHOUT_EYES, logs, "2026-03").season
    found = baits_dressed(earlier, datetime(2026, 3, 1))["bare"]
    assert (found.low, found.number, found.high) == (3, 6, 8)
    unseen = rows.replace("2026-03-07,bare,1 h,kept,3,,\n", "")
    assert bounds("bare", bench=WITHOUT_EYES, pour=POUR, coat=COAT, fished=unseen) == (0, 0, 8)
    # Of 7 fished there are 7 or 8, and by that share more.
    rows = rows.replace("kept,3", "kept,7")
    assert dressed("bare", bench=WITHOUT_EYES, pour=POUR, coat=COAT, fished=rows).number == 8


def test_the_least_of_what_was_not_seen_is_added_to_what_was() -> None:
    # The same in tens: 30 bare ones were seen, 20 of 40 bright ones.
    rows = FISHED + "2026-03-07,bright,1 h,kept,20,,\n2026-03-07,bare,1 h,kept,30,,\n"
    logs = {"pour": POUR.replace("good,12", "good,120"), "coat": COAT.replace("6,2", "60,20")}
    low, number, high = bounds("bare", bench=WITHOUT_EYES, fished=rows, **logs)
    least, most = unseen(30, 20, 20)
    assert (low, number, high) == pytest.approx((30 + least, 60, min(80, 30 + most)))
    assert least > 10


def test_logs_that_hold_fewer_castings_than_were_fished_limit_nothing_and_tell_nothing_of_others() -> None:
    rows = FISHED + "2026-03-07,bright,1 h,kept,20,,\n2026-03-07,bare,1 h,kept,3,,\n"
    found = baits_dressed(season(bench=WITHOUT_EYES, pour=POUR, fished=rows), datetime(2026, 4, 1))
    assert {name: (each.low, each.high, each.known) for name, each in found.items()} == {
        "bright": (20, 20, False),
        "bare": (3, 3, False),
    }


def test_a_first_count_of_bare_baits_tells_of_no_more_than_the_good_castings() -> None:
    bench = (
        BENCH[: BENCH.index("[builds.bright]")] + '[builds.bare]\nhead = { mold = "ball", cavity = "1/4" }\n'
    )
    counted = STOCK + "2026-03-06,bare,counted,20\n"
    assert bounds("bare", bench=bench, pour=POUR, stock=counted)[0] == 12


def test_a_build_without_a_casting_is_told_by_its_fittings() -> None:
    bench = WITHOUT_EYES + "[builds.spinner]\nfittings = { eye = 2 }\n"
    bench += "[builds.twin]\nfittings = { eye = 2 }\n"
    used = STOCK + "2026-03-06,eye,used,8\n"
    rows = FISHED + "2026-03-09,twin,1 h,kept,1,,\n"
    assert bounds("spinner", bench=bench, pour=POUR, stock=used, fished=rows) == (0, 0, 3)
    assert bounds("twin", bench=bench, pour=POUR, stock=used, fished=rows) == (1, 1, 4)


def test_steps_are_those_of_the_coats_scaled_to_what_was_dressed() -> None:
    coat = COAT.replace("6,2", "6,0") + "2026-03-15,ball,1/4,pearl,2,0\n"
    steps = dressing_steps(season(pour=POUR, coat=coat, stock=STOCK + "2026-03-06,eye,used,8\n"))["eyed"]
    assert [(when.day, number) for when, number in steps] == [(5, 3.0), (15, 1.0)]
    (first, second) = (when for when, _ in steps)
    assert steps.between(first, second) == 3.0
    assert steps.total == 4.0


def test_spoilt_inserts_are_those_in_rejects_and_not_recovered_by_then() -> None:
    later = POUR + "2026-03-20,ball,1/4,reject,10,\n"
    recovered, discarded = STOCK + "2026-03-10,hook,recovered,{}\n", "2026-03-10,hook,discarded,3\n"
    assert spoilt_share(season(pour=POUR), "hook") == 1.0
    assert spoilt_share(season(pour=later, stock=STOCK + discarded), "hook") == 1.0
    assert spoilt_share(season(pour=later, stock=recovered.format(3) + discarded), "hook") == 0.25
    assert spoilt_share(season(pour=POUR, stock=recovered.format(30)), "hook") == 0.0
    assert spoilt_share(season(stock=recovered.format(3)), "hook") == 1.0


@pytest.mark.parametrize("month", ["2026-06", "2026-10"])
def test_the_demos_fittings_tell_what_was_dressed_and_limits_hold_the_rest(month: str, demo, truth) -> None:
    season = demo(month).season
    found = baits_dressed(season, midnight(season.end))
    before = baits_dressed(season, midnight(season.start))
    by_fittings = {"perch-grub", "pond-guard", "pickerel-guard", "reach-skirt"}
    assert {name for name, each in found.items() if each.known and each.number} == by_fittings
    if month == "2026-10":
        for name, number in truth["dressed"].items():
            ever = before[name].number + number
            assert found[name].low <= ever <= found[name].high
            assert name not in by_fittings or found[name].number == ever
