"""A trial from its sheet to its section: drawn, fished, read, tested."""

import csv
import io

import pytest

from benchwater.analyse.run import split_analyses
from benchwater.sheets.labels import trial_csv, trial_sheet_of
from benchwater.testing import finding, make_season, records
from trial import analyse, trials

BENCH = """
[bench]
name = "Trial bench"
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


def fished(lost_arms: set[str], blocks: int = 6, swap: int = 0) -> str:
    """The log of a trial in which every bait of some arms was lost; `swap` lines went against the lot."""
    sheet = trial_sheet_of("leader", ("yes", "no"), blocks, 1)
    rows = list(csv.DictReader(io.StringIO(trial_csv(sheet))))
    for number, row in enumerate(rows):
        lost = row["arm"] in lost_arms
        row |= {"date": f"2026-06-{1 + int(row['block']):02}", "build": "perch-grub", "fished": "1 h"}
        row |= {"fate": "lost" if lost else "kept", "cause": "bite off" if lost else ""}
        if number < swap:
            row["arm"] = {"yes": "no", "no": "yes"}[row["arm"]]
    text = io.StringIO()
    lines = csv.DictWriter(text, rows[0])
    lines.writeheader()
    lines.writerows(rows)
    return text.getvalue()


def test_a_trial_that_lost_every_bait_of_one_arm_has_the_exact_p_value():
    made = make_season(BENCH, {"fishing.csv": fished({"no"})})
    section = analyse("leader", made.season, made.period)
    difference = finding(section, "difference")
    assert section.status == "ok"
    assert difference.more["p"] == pytest.approx(2 / 2**6)
    assert difference.more["exact"]
    assert "With leader yes, baits ended at most" in difference.text
    assert [(row["events"], row["rate"]) for row in records(section, "arms")] == [(6, 1.0), (0, 0.0)]
    assert [action.id for action in section.actions] == ["do:leader"]


def test_a_trial_without_a_difference_says_how_much_more_would_settle_it():
    made = make_season(BENCH, {"fishing.csv": fished({"yes", "no"})})
    section = analyse("leader", made.season, made.period)
    assert finding(section, "difference").text.startswith("The trial cannot tell yet")
    assert [action.id for action in section.actions] == ["go_on:leader"]


def test_lines_that_went_against_the_lot_are_counted_and_compared_as_drawn():
    made = make_season(BENCH, {"fishing.csv": fished({"no"}, swap=2)})
    section = analyse("leader", made.season, made.period)
    assert finding(section, "against_lot").value == 2
    assert finding(section, "difference").more["p"] == pytest.approx(2 / 2**6)


def test_each_trial_that_the_logs_name_is_a_section_of_its_own_and_none_is_none():
    made = make_season(BENCH, {"fishing.csv": fished({"no"})})
    assert [each.id for each in trials(made.season)] == ["trial:leader"]
    plain = "date,build,fished,fate\n2026-06-01,perch-grub,1 h,kept\n"
    assert list(trials(make_season(BENCH, {"fishing.csv": plain}).season)) == []
    assert split_analyses([], made.season) == ([], ())
