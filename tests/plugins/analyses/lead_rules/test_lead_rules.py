"""Baits that stay at home, by the maker's own notes on waters; no word where nothing was written."""

import pytest

from benchwater.ledger.castings import lead_by_build
from benchwater.pipeline import Request, make_report, read_workspace
from benchwater.read.bench_file import parse_bench
from benchwater.read.bench_table import BenchError
from benchwater.sheets.lists import NothingFishedError, trip_box
from benchwater.testing import MadeSeason, finding, make_season
from lead_rules import analyse, with_a_rule

BENCH = """
[bench]
name = "Lead bench"
[items."soft lead"]
kind = "metal"
[items.tin]
kind = "metal"
lead = false
[items.scrap]
kind = "metal"
[molds.round-jig]
material = "soft lead"
[[molds.round-jig.cavities]]
name = "1/8"
mass = "1/8 oz"
[[molds.round-jig.cavities]]
name = "2"
mass = "2 oz"
[molds.pea-jig]
material = "tin"
[[molds.pea-jig.cavities]]
name = "1/16"
mass = "1/16 oz"
[molds.old-jig]
material = "scrap"
[[molds.old-jig.cavities]]
name = "1/8"
mass = "1/8 oz"
[builds.perch-grub]
head = { mold = "round-jig", cavity = "1/8" }
[builds.deep-jig]
head = { mold = "round-jig", cavity = "2" }
[builds.pea-bare]
head = { mold = "pea-jig", cavity = "1/16" }
[builds.old-one]
head = { mold = "old-jig", cavity = "1/8" }
"""
NOTES = """
[waters."Mill reach"]
lead = "not allowed"
rule = "notice at the landing"
read_on = 2026-04-02
[waters.pond]
no_lead_up_to = "1 oz"
rule = "leaflet"
read_on = "2026-03-01"
"""
FISHED = """date,build,fished,fate,water
2026-05-01,perch-grub,2 h,lost,mill reach
2026-05-01,pea-bare,2 h,lost,mill reach
2026-05-02,perch-grub,2 h,kept,Pond
2026-05-02,deep-jig,2 h,kept,Pond
2026-05-03,old-one,2 h,kept,River
"""


def made(notes: str = NOTES) -> MadeSeason:
    return make_season(BENCH + notes, {"baits.csv": FISHED})


def test_an_item_called_lead_is_lead_and_an_unmarked_metal_is_not_known():
    assert lead_by_build(made().season) == {
        "perch-grub": True,
        "deep-jig": True,
        "pea-bare": False,
        "old-one": None,
    }


def test_each_note_is_applied_as_written_and_says_where_it_was_read():
    season = made()
    section = analyse(season.season, season.period)
    reach, pond = (finding(section, "leave_at_home", water) for water in ("Mill reach", "pond"))
    assert reach.text == (
        "Mill reach: leave at home perch-grub and deep-jig "
        "(notice at the landing, as you read it on 2 April 2026)."
    )
    assert "leave at home perch-grub (leaflet" in pond.text
    assert "old-one" in finding(section, "lead_not_known", "Mill reach").text
    assert finding(section, "carried", "Mill reach").value == 1
    assert [action.id for action in section.actions] == ["leave-at-home:Mill reach", "leave-at-home:pond"]
    assert all(action.urgent for action in section.actions)


def test_nothing_is_said_where_nothing_was_written():
    assert list(with_a_rule(made("").season)) == []


def test_a_note_without_its_source_is_refused_with_the_line_to_write():
    with pytest.raises(BenchError, match="read_on"):
        parse_bench(BENCH + '[waters.pond]\nlead = "not allowed"\nrule = "leaflet"\n')
    with pytest.raises(BenchError, match="no_lead_up_to"):
        parse_bench(BENCH + '[waters.pond]\nrule = "leaflet"\nread_on = 2026-03-01\n')


def test_the_trip_box_leaves_forbidden_baits_at_home_and_takes_one_more_than_may_be_lost():
    box = trip_box(made().season, "MILL REACH")
    assert [each.build for each in box.take] == ["pea-bare"]
    assert box.take[0].count >= 2
    assert box.stay == (
        "deep-jig: holds lead, which may not go there",
        "old-one: lead not known",
        "perch-grub: holds lead, which may not go there",
    )
    elsewhere = trip_box(made().season, "a new lake")
    assert not elsewhere.known
    assert {each.build for each in elsewhere.take} == {"perch-grub", "deep-jig", "pea-bare", "old-one"}
    empty = make_season(BENCH, {"pour.csv": "date,mold,cavity,outcome\n2026-05-01,pea-jig,1/16,good\n"})
    with pytest.raises(NothingFishedError):
        trip_box(empty.season, "pond")


def test_the_report_of_a_trip_says_what_it_carried_to_a_water_with_a_rule(tmp_path):
    trips = '[trips."Spring open"]\non = 2026-05-01\nto = 2026-05-02\n'
    (tmp_path / "bench.toml").write_text(BENCH + NOTES + trips)
    (tmp_path / "baits.csv").write_text(FISHED)
    workspace = read_workspace(tmp_path, workspace_plugins=False)
    report = make_report(workspace, Request(trip="Spring open"))
    (rules,) = [each for each in report.sections if each.id == "lead_rules"]
    carried = [each.text for each in rules.parts[0].section.findings if each.id == "carried"]
    assert carried == [
        "Mill reach: 1 day carried one of them, last on 1 May (perch-grub).",
        "pond: 1 day carried one of them, last on 2 May (perch-grub).",
    ]
