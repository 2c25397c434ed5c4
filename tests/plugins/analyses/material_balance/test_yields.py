"""What castings weigh, what each mold gave, and dross."""

import math

import pytest

from benchwater.statistics.proportions import wilson_interval
from benchwater.testing import check_section, finding, make_season, records
from stocked_seasons import ANALYSIS, BENCH, POUR, STEP, STOCK, made

COUNTED = "2026-03-01,alloy,counted,3000 g,,,\n2026-03-31,alloy,counted,2000 g,,,\n"


def test_each_cavity_says_whether_its_mass_was_weighed() -> None:
    season = made(
        COUNTED,
        "2026-03-09,ball,1/4,good,2,15.4 g,,\n2026-03-09,ball,1/4,good,1,7.9 g,,\n"
        "2026-03-09,ball,bare,good,9,,,\n",
    )
    section = ANALYSIS.analyse(season.season, season.period)
    rows = {row["cavity"]: row for row in records(section, "casting_mass")}
    assert (rows["1/4"]["basis"], rows["1/4"]["mass_g"]) == ("mean of 3 weighed", pytest.approx(20.9 / 3))
    assert (rows["bare"]["basis"], rows["bare"]["mass_g"]) == ("nominal mass ±6.0 %", 10.0)
    assert rows["bare"]["std_uncertainty_g"] == pytest.approx(0.6 / math.sqrt(3))


def test_metal_yield_is_good_mass_over_all_that_was_poured() -> None:
    season = made(
        COUNTED,
        "2026-03-09,ball,1/4,blank,1,,,\n2026-03-09,ball,bare,blank,1,,,\n"
        "2026-03-09,ball,1/4,good,8,,,\n2026-03-09,ball,1/4,reject,2,,flash,\n"
        "2026-03-09,ball,bare,good,9,,,\n2026-03-09,ball,bare,reject,1,,flash,\n",
    )
    section = ANALYSIS.analyse(season.season, season.period)
    found = finding(section, "metal_yield", "ball")
    poured = 11 * 7 + 11 * 10
    assert found.value == pytest.approx((8 * 7 + 9 * 10) / poured)
    assert found.n == 22
    assert found.low is not None
    assert found.high is not None
    # Kish: castings of 7 and 10 g count as fewer than 22 alike.
    alike = poured**2 / (11 * 49 + 11 * 100)
    assert found.value is not None
    exact = wilson_interval(found.value * 22, 22, 22 / alike)
    assert (found.low, found.high) == (pytest.approx(exact.low), pytest.approx(exact.high))
    (row,) = records(section, "yields")
    assert (row["good"], row["rejects"], row["blanks"], row["poured_g"]) == (17, 3, 2, poured)
    assert row["first_pass_yield"] == pytest.approx(17 / 20)


def test_warm_up_fills_alone_have_no_first_pass_yield() -> None:
    season = made(COUNTED, "2026-03-09,ball,bare,blank,3,,,\n")
    section = ANALYSIS.analyse(season.season, season.period)
    (row,) = records(section, "yields")
    assert (row["first_pass_yield"], row["metal_yield"], row["poured_g"]) == (None, 0.0, 30.0)
    assert [each.id for each in section.findings if each.id.endswith("_yield")] == ["metal_yield"]


def test_fills_that_are_all_good_or_all_bad_widen_the_yield() -> None:
    header = "date,mold,cavity,outcome,count,fill,flaw\n"
    fills = "".join(
        f"2026-03-09,ball,bare,{'reject' if fill % 4 == 0 else 'good'},5,{fill},\n" for fill in range(1, 13)
    )
    stock = {"stock.csv": STOCK + COUNTED}
    alike = make_season(BENCH, {**stock, "pour.csv": header + fills})
    found = finding(ANALYSIS.analyse(alike.season, alike.period), "first_pass_yield", "ball")
    simple = wilson_interval(45, 60)
    assert found.value == 0.75
    assert found.low is not None
    assert found.low < simple.low - 0.1


def test_dross_is_what_was_discarded_over_what_was_melted() -> None:
    season = made(
        COUNTED + "2026-03-09,alloy,discarded,30 g,,,\n2026-03-19,alloy,discarded,20 g,,,\n",
        "2026-03-09,ball,bare,good,85,,,\n2026-03-09,ball,bare,reject,5,,flash,\n"
        "2026-03-09,ball,bare,blank,5,,,\n",
    )
    found = finding(ANALYSIS.analyse(season.season, season.period), "dross_rate", "alloy")
    assert (found.value, found.n) == (pytest.approx(50 / 1000), 2)
    u = math.hypot(950 * STEP * math.sqrt(2), 50 * 95 * 0.6 / math.sqrt(3)) / 1000**2
    assert (found.low, found.high) == (pytest.approx(0.05 - 2 * u), pytest.approx(0.05 + 2 * u))
    # Half of 950 g again in sprues: 50 / 1475. The bias is said with its direction.
    assert found.more["with_customary_sprues"] == pytest.approx(50 / 1475)
    assert found.text == (
        "alloy: 50 g was skimmed or thrown away, 5.0 % (4.5 to 5.5 %) of the metal that the log weighs. "
        "Nobody weighs the sprues, which are melted too: if they hold half as much as the castings, as is "
        "common, it was 3.4 % of the melt."
    )


def test_plastic_has_a_first_pass_yield_and_no_metal_yield() -> None:
    bench = BENCH.replace('[items.harder]\nkind = "metal"', '[items.harder]\nkind = "plastic"')
    pour = POUR + "2026-03-09,ball,bare,good,9,,,harder\n"
    season = make_season(bench, {"stock.csv": STOCK + COUNTED, "pour.csv": pour})
    section = ANALYSIS.analyse(season.season, season.period)
    ids = [entry.id for entry in section.findings]
    assert "first_pass_yield" in ids
    assert "metal_yield" not in ids
    assert "dross_rate" not in ids
    check_section(section)
