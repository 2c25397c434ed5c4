"""The season ahead: losses from every season logged, the work in evenings, what to order and by when."""

from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.stats import nbinom

from benchwater.plugin import Analysis, Section
from benchwater.statistics.stock_level import GammaRate, predictive_quantile
from benchwater.testing import check_section, finding, make_season, plugin_file, records
from pour_plan.ahead import Seasons, _divided, _wider
from pour_plan.findings import how_long

PLUGIN = plugin_file(Path(__file__).parents[4] / "plugins/analyses/pour_plan")
AHEAD: Analysis = next(each for each in PLUGIN.analyses() if each.id == "season_ahead")
BENCH = """
[bench]
name = "Test bench"
units = "metric"
season = { start = "03-01" }
[items.alloy]
kind = "metal"
unit = "g"
scale = { resolution = "1 g" }
[items.hook]
kind = "insert"
pack = 20
price = 4.00
lead_time = "10 d"
[items.pearl]
kind = "coat"
unit = "g"
scale = { resolution = "1 g" }
[molds.jig]
material = "alloy"
[[molds.jig.cavities]]
name = "1/8"
mass = "3.5 g"
insert = "hook"
[builds.pond]
head = { mold = "jig", cavity = "1/8" }
coat = { item = "pearl", mass = "0.2 g" }
planned_hours = 40
"""
LOGS = {
    "pour": "date,mold,cavity,outcome,count\n2026-03-02,jig,1/8,good,28\n2026-03-02,jig,1/8,reject,7\n",
    "coat": "date,mold,cavity,coat,count,rejects\n2026-03-03,jig,1/8,pearl,28,0\n",
    "stock": "date,item,move,amount\n2026-03-01,alloy,counted,1000 g\n2026-03-01,hook,counted,40\n"
    "2026-03-01,pearl,counted,50 g\n",
}
WATER = "date,build,fished,fate,count,cause\n"
# 17 of 28 baits ended in 66 hours of March.
FISHED = (
    "2026-03-08,pond,2 h,lost,6,snag\n2026-03-08,pond,2 h,kept,16,\n2026-03-14,pond,2 h,lost,6,snag\n"
    "2026-03-21,pond,2 h,lost,5,snag\n"
)
YEAR_BEFORE = "2025-04-05,pond,20 h,lost,10,snag\n2025-03-06,pond,20 h,kept,2,\n"


def ahead(until: str = "2027-03-31", fished: str = FISHED, **logs: str) -> Section:
    plan = f'[plan]\nuntil = "{until}"\n' if until else ""
    texts = {f"{log}.csv": text for log, text in (LOGS | {"water": WATER + fished} | logs).items()}
    made = make_season(BENCH + plan, texts)
    section = AHEAD.analyse(made.season, made.whole)
    check_section(section)
    return section


def test_the_months_ahead_are_those_fished_and_the_hours_those_planned() -> None:
    """March alone was fished, so a plan to the end of March 2027 is for one month of 40 hours."""
    section = ahead()
    (row,) = records(section, "demand")
    assert (row["build"], row["hours"], row["until"]) == ("pond", 40, date(2027, 3, 31))
    assert row["expected_losses"] == pytest.approx(40 * 17 / 66)
    assert finding(section, "losses_ahead").more["seasons"] == 1
    later = records(ahead("2027-05-31"), "demand")
    assert later[0]["hours"] == 200, "the maker asks for April and May too, of both years"


def test_an_older_season_counts_less_and_shows_how_much_seasons_differ() -> None:
    """17 ended in 66 h this season, and 10 in 240 h the year before, which counts 0.7 of that."""
    section = ahead("2027-04-30", YEAR_BEFORE + FISHED)
    (row,) = records(section, "demand")
    assert row["hours"] == 120, "this April, and March and April of 2027"
    assert row["expected_losses"] == pytest.approx(120 * (17 + 0.7 * 10) / (66 + 0.7 * 240))
    more = finding(section, "losses_ahead").more
    assert more["seasons"] == 2
    assert isinstance(more["spread"], float)
    assert more["spread"] > 0.3, "the two seasons differ by more than the usual"


def test_the_rate_of_a_season_ahead_is_less_sure_by_trips_and_seasons() -> None:
    """Squared coefficients of variation by hand, and scipy's negative binomial of them."""
    rate, told = (
        GammaRate(shape=18, exposure=70),
        Seasons(number=2, months=10, hours={}, spread=0.4, scatter=1.5),
    )
    wider, mean = _wider(rate, 100.0, np.array([1.0, 1.0]), told), 100 * 18 / 70
    squared = 1.5 / 18 + 0.4**2 * (1 + 1 / 2) + 0.5 / mean
    assert 1 / wider.shape == pytest.approx(squared)
    assert wider.mean == pytest.approx(rate.mean)
    by_hand = nbinom.ppf(0.9, 1 / squared, 1 / (1 + mean * squared))
    assert predictive_quantile(wider, 100.0, 0.9) == by_hand


def test_fills_are_divided_into_evenings_and_what_is_left_shares_one() -> None:
    divided = _divided({"jig": 13, "pea": 2}, {"jig": 6, "pea": 6})
    assert divided == [{"jig": 6}, {"jig": 6}, {"pea": 2, "jig": 1}]
    thirds = _divided({"jig": 3, "pea": 3, "ball": 3}, dict.fromkeys(("jig", "pea", "ball"), 6))
    assert thirds == [{"jig": 3, "pea": 3}, {"ball": 3}]
    assert _divided({}, {}) == []


def test_work_ends_before_the_first_day_of_fishing_and_orders_come_before_work() -> None:
    section = ahead()
    evenings = records(section, "evenings")
    assert [row["work"] for row in evenings] == ["pour", "coat"]
    days = [row["by"] for row in evenings]
    assert days == [date(2027, 2, 27), date(2027, 2, 28)], "evenings were a day apart"
    hook: dict[str, Any] = next(row for row in records(section, "buy") if row["item"] == "hook")
    assert hook["order_by"] == date(2027, 2, 17)
    assert hook["packs"] == -(-(hook["needed"] - hook["on_hand"]) // 20)
    (action,) = section.actions
    assert "order hook by 17 February 2027" in action.text


def test_no_season_is_planned_that_nobody_asks_for() -> None:
    made = make_season(
        BENCH, {f"{log}.csv": text for log, text in (LOGS | {"water": WATER + FISHED}).items()}
    )
    assert AHEAD.split is not None
    assert AHEAD.split(made.season) == []


@pytest.mark.parametrize(
    ("until", "fished", "status", "why"),
    [
        ("", FISHED, "empty", "bench.toml does not say up to when to plan."),
        (
            "2027-03-31",
            "2026-03-08,pond,,sold,1,\n",
            "empty",
            "No month up to 2027-03-31 is one in which",
        ),
        ("2027-03-31", "2026-03-08,pond,2 h,lost,4,snag\n", "thin", "4 baits ended on 1 day so far"),
    ],
)
def test_what_cannot_be_planned_says_why(until: str, fished: str, status: str, why: str) -> None:
    section = ahead(until, fished)
    assert (section.status, section.findings, section.cards) == (status, (), ())
    assert section.why.startswith(why)


def test_what_is_bought_by_the_gram_and_what_was_never_counted_are_told_apart() -> None:
    stock = "date,item,move,amount\n2026-03-01,alloy,counted,100 g\n2026-03-01,pearl,counted,50 g\n"
    section = ahead(stock=stock)
    row = next(row for row in records(section, "buy") if row["item"] == "alloy")
    assert (row["on_hand"], row["packs"], row["cost"]) == (pytest.approx(2), None, None)
    spend = finding(section, "spend_ahead")
    assert (spend.value, spend.more["unpriced"]) == (None, 1)
    assert spend.text == "Not known is what to pay for 56.8 g of alloy: no receipt and no price on the bench."
    text = finding(ahead(stock=stock + "2026-03-01,hook,counted,36\n"), "spend_ahead").text
    assert text == "$4.00 and more for 56.8 g of alloy (no price known) and 1 pack of hook ($4.00)."
    assert finding(section, "not_known", "hook").text.startswith("How much hook to buy is not known")


def test_a_cavity_that_gives_next_to_nothing_must_work_first() -> None:
    pour = "date,mold,cavity,outcome,count\n2026-03-02,jig,1/8,reject,40\n"
    section = ahead(pour=pour, coat="date,mold,cavity,coat,count,rejects\n")
    assert finding(section, "mold_first", "jig 1/8").text == (
        "Get jig 1/8 to work first: no bait that needs it is in this plan."
    )
    assert finding(section, "evenings").text == "No evening of work."
    assert section.actions == ()


@pytest.mark.parametrize(
    ("months", "said"),
    [(23.9, "more than a year"), (24, "about 2 years"), (131, "about 10 years"), (132, "more than 10 years")],
)
def test_how_long_castings_last_is_said_in_years(months: float, said: str) -> None:
    assert how_long(months) == said
