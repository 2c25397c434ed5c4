"""Seasons beside each other, and a dated change, on logs whose truth is known."""

from datetime import date
from typing import Any

import numpy as np
import pytest

from benchwater.testing import MadeSeason, make_season, records
from seasons import analyse

BENCH = """
[bench]
name = "Two seasons"
season = { start = "03-01" }
[items.alloy]
kind = "metal"
[molds.round-jig]
material = "alloy"
[[molds.round-jig.cavities]]
name = "1/8"
mass = "1/8 oz"
[builds.perch-grub]
head = { mold = "round-jig", cavity = "1/8" }
"""


def made(bench: str = BENCH, after: int = 1) -> MadeSeason:
    """45 of 100 castings bad, then 15; 90 of 120 baits gone a trip, then 20 × `after`."""
    poured = ["date,mold,cavity,outcome,count"]
    fished = ["date,build,fished,fate,count"]
    for year, bad in ((2025, 4), (2026, 1)):
        for day in range(1, 11):
            poured += [f"{year}-03-{day:02},round-jig,1/8,reject,{bad + day % 2}"]
            poured += [f"{year}-03-{day:02},round-jig,1/8,good,{10 - bad - day % 2}"]
        for trip in range(1, 29):
            month = 4 + (trip > 14)
            lost = after if (year, month) == (2026, 5) else 4
            lost = 20 * lost + trip % 2
            fished += [f"{year}-{month:02}-{trip:02},perch-grub,1 h,lost,{lost}"]
            fished += [f"{year}-{month:02}-{trip:02},perch-grub,1 h,kept,{120 - lost}"]
    logs = {"pour.csv": "\n".join(poured), "baits.csv": "\n".join(fished)}
    return make_season(bench, logs, month="2026-05")


def test_this_season_is_compared_with_the_last_at_the_same_day_of_the_year():
    season = made()
    section = analyse(season.season, season.whole)
    rows = {(row["measure"], row["group"]): row for row in records(section, "seasons")}
    bad: dict[str, Any] = rows["bad castings", "all"]
    assert (bad["now"], bad["then"]) == (pytest.approx(0.15), pytest.approx(0.45))
    assert bad["ratio"] == pytest.approx(1 / 3)
    assert bad["high"] < 1
    assert bad["season"] == "2026"
    assert bad["against"] == "2025"
    assert (
        "15 % of castings went bad this season, against 45 % by the same day of 2025: 0.33 times"
        in section.findings[0].text
    )


def test_a_change_is_judged_against_the_trend_and_one_that_did_nothing_is_not_told_as_one():
    changed = BENCH + '\n[[changes]]\non = 2026-05-15\nwhat = "wire leader"\n'
    season = made(changed)
    effects: list[dict[str, Any]] = [
        row
        for row in records(analyse(season.season, season.whole), "changes")
        if "baits" in str(row["measure"])
    ]
    (effect,) = effects
    assert effect["on"] == date(2026, 5, 15)
    # 14 trips of 120 bait-hours each: 80 or 81 baits went on a trip, then 20 or 21.
    assert (effect["before"], effect["after"]) == pytest.approx((80.5 / 120, 20.5 / 120))
    assert effect["high"] < 1
    season = made(changed, after=4)
    texts = [each.text for each in analyse(season.season, season.whole).findings if each.id == "change_ratio"]
    assert "Since 15 May (wire leader): no clear change in how often baits ended." in texts


def test_one_season_without_a_change_is_no_section():
    season = make_season(BENCH, {"baits.csv": "date,build,fished,fate\n2026-05-01,perch-grub,1 h,kept\n"})
    assert analyse(season.season, season.whole).status == "empty"


def test_a_lost_bait_without_its_hours_counts_on_a_trip_that_has_some():
    """Each trip fishes 4 h; what is lost on it has no time, or 0, written."""
    rows = "date,build,fished,fate,count\n"
    for year, lost in ((2025, 4), (2026, 2)):
        for day in range(1, 11):
            rows += (
                f"{year}-05-{day:02},perch-grub,4 h,kept,1\n{year}-05-{day:02},perch-grub,0 h,lost,{lost}\n"
            )
    season = make_season(BENCH, {"baits.csv": rows}, month="2026-05")
    told = records(analyse(season.season, season.whole), "seasons")
    (ended,) = [row for row in told if row["measure"] == "baits ended" and row["group"] == "all"]
    assert (ended["now"], ended["then"]) == (pytest.approx(0.5), pytest.approx(1.0))


@pytest.mark.parametrize(("lost", "is_compared"), [(4, False), (5, True)])
def test_seasons_of_fewer_than_five_events_are_not_compared(lost: int, is_compared: bool):
    rows = "date,build,fished,fate,count\n"
    for year in (2025, 2026):
        for day in range(1, 11):
            rows += f"{year}-05-{day:02},perch-grub,4 h,{'lost' if day <= lost else 'kept'},1\n"
    season = make_season(BENCH, {"baits.csv": rows}, month="2026-05")
    told = records(analyse(season.season, season.whole), "seasons")
    assert [row["ratio"] is not None for row in told if row["measure"] == "baits ended"] == [is_compared]


@pytest.mark.parametrize(("trips", "is_known"), [(2, False), (3, True)])
def test_a_rate_of_fewer_than_three_trips_is_not_known(trips: int, is_known: bool):
    rows = "date,build,fished,fate,count\n"
    for year, days in ((2025, 9), (2026, trips)):
        rows += "".join(f"{year}-05-{day:02},perch-grub,9 min,lost,5\n" for day in range(1, days + 1))
    season = make_season(BENCH, {"baits.csv": rows}, month="2026-05")
    told = records(analyse(season.season, season.whole), "seasons")
    assert [row["now"] is not None for row in told if row["group"] == "all"] == [is_known]


def test_a_change_that_came_with_the_season_is_named_beside_the_season_before():
    season = made(BENCH + '\n[[changes]]\non = 2026-03-01\nwhat = "wire leader"\n')
    section = analyse(season.season, season.whole)
    (named,) = [each for each in section.findings if each.id == "change_with_season"]
    assert named.text.startswith("“wire leader” came with the season")


def test_a_cause_that_took_none_this_season_is_shown_beside_what_it_took_before():
    rows = "date,build,fished,fate,count,cause\n"
    for year, lost in ((2025, 3), (2026, 0)):
        for day in range(1, 11):
            rows += f"{year}-05-{day:02},perch-grub,4 h,kept,1,\n"
            rows += f"{year}-05-{day:02},perch-grub,0 h,lost,{lost},bite off\n" if lost else ""
    season = make_season(BENCH, {"baits.csv": rows}, month="2026-05")
    told = records(analyse(season.season, season.whole), "season_by_season")
    (bitten,) = [row for row in told if row["group"] == "bite off"]
    assert (bitten["2025"], bitten["2026"]) == (pytest.approx(0.75), 0.0)


@pytest.mark.slow
def test_costs_of_seasons_poured_alike_are_seldom_told_apart():
    """The band was set first: of 150 pairs of seasons whose evenings differ alike, 8 % at most are told."""
    draw, told = np.random.default_rng(19), 0
    bench = BENCH.replace(
        'kind = "metal"\n', 'kind = "metal"\n[items.hook]\nkind = "insert"\npack = 1\nprice = 0.2\n'
    )
    bench = bench.replace('"1/8 oz"\n[builds', '"1/8 oz"\ninsert = "hook"\n[builds')
    bench = bench.replace(
        '[items.alloy]\nkind = "metal"\n', '[items.alloy]\nkind = "metal"\npack = "1 lb"\nprice = 5\n'
    )
    for _ in range(150):
        poured, fished = ["date,mold,cavity,outcome,count"], ["date,build,fished,fate,count"]
        for year in (2025, 2026):
            for day in range(1, 11):
                bad = int(draw.binomial(20, draw.beta(3, 7)))
                poured += [
                    f"{year}-03-{day:02},round-jig,1/8,{what},{n}"
                    for what, n in (("reject", bad), ("good", 20 - bad))
                    if n
                ]
            fished += [f"{year}-05-01,perch-grub,1 h,lost,20"]
        logs = {"pour.csv": "\n".join(poured), "baits.csv": "\n".join(fished)}
        season = make_season(bench, logs, month="2026-05")
        (cost,) = [
            row
            for row in records(analyse(season.season, season.whole), "seasons")
            if row["measure"] == "cost of a bait"
        ]
        assert isinstance(cost["p_adjusted"], float)
        told += cost["p_adjusted"] < 0.05
    assert told / 150 <= 0.08
