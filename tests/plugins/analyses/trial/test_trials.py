"""A trial from its sheet to its section: drawn, fished, read, tested."""

import csv
import io
from collections.abc import Mapping
from dataclasses import replace

import pytest

from benchwater.analyse.run import split_analyses
from benchwater.plugin import Bench
from benchwater.sheets.labels import trial_csv, trial_sheet_of
from benchwater.testing import finding, make_season, records
from trial import analyse, trials
from trial.compute import compute
from trial.findings import actions, findings

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


def fished(lost_in: Mapping[str, int], blocks: int = 6, swap: int = 0, hours: float = 1) -> str:
    """The log of a trial: each arm lost its bait in so many blocks; `swap` lines went against the lot."""
    sheet = trial_sheet_of("leader", ("yes", "no"), blocks, 1, Bench(name="Trial bench"))
    rows = list(csv.DictReader(io.StringIO(trial_csv(sheet))))
    for number, row in enumerate(rows):
        lost = int(row["block"]) <= lost_in.get(row["arm"], 0)
        row |= {"date": f"2026-06-{1 + int(row['block']):02}", "build": "perch-grub", "fished": f"{hours} h"}
        row |= {"fate": "lost" if lost else "kept", "cause": "bite off" if lost else ""}
        if number < swap:
            row["arm"] = {"yes": "no", "no": "yes"}[row["arm"]]
    text = io.StringIO()
    lines = csv.DictWriter(text, rows[0])
    lines.writeheader()
    lines.writerows(rows)
    return text.getvalue()


def test_a_trial_that_lost_every_bait_of_one_arm_has_the_exact_p_value():
    made = make_season(BENCH, {"fishing.csv": fished({"no": 6})})
    section = analyse("leader", made.season, made.period)
    difference = finding(section, "difference")
    assert section.status == "ok"
    assert difference.more["p"] == pytest.approx(2 / 2**6)
    assert difference.more["exact"]
    assert "With no leader, baits ended; with a leader none did." in difference.text
    assert [(row["events"], row["rate"]) for row in records(section, "arms")] == [(6, 1.0), (0, 0.0)]
    assert [action.id for action in section.actions] == ["do:leader"]


@pytest.mark.parametrize(
    ("lost_in", "said", "advised"),
    [
        ({"no": 11, "yes": 3}, "With no leader, baits ended 3.7 times (", "a leader"),
        ({"no": 3, "yes": 11}, "With a leader, baits ended 3.7 times (", "no leader"),
    ],
)
def test_the_worse_arm_is_named_with_how_many_times_as_often_it_ended(lost_in, said, advised):
    """Of 12 blocks 3 lost both baits and 8 one: as unlike are 2 of the 2 to the 8th lots."""
    made = make_season(BENCH, {"fishing.csv": fished(lost_in, blocks=12)})
    section = analyse("leader", made.season, made.period)
    difference = finding(section, "difference")
    assert difference.more["p"] == pytest.approx(2 / 2**8)
    assert difference.value == pytest.approx(lost_in["yes"] / lost_in["no"])
    assert difference.text.startswith(said)
    assert f" as often as with {advised}. No: {lost_in['no']} ended in 12 h of fishing; " in difference.text
    least = difference.low or 1 / (difference.high or 0)
    assert f" times ({least:.2g} or more) as often" in difference.text
    (action,) = section.actions
    assert action.text.startswith(f"Choose {advised}: ")
    assert action.worth == 14 - 24 * 3 / 12


def test_what_was_spared_is_of_the_last_two_months_alone():
    rows = fished({"no": 6})
    later = rows.splitlines()[1].replace("2026-06-", "2026-08-").replace(",leader,", ",other,")
    made = make_season(BENCH, {"fishing.csv": f"{rows}{later}\n"}, month="2026-08")
    (action,) = analyse("leader", made.season, made.whole).actions
    assert (action.worth, action.worth_unit) == (None, None)


def test_a_trial_is_in_the_spans_that_hold_its_rows_and_needs_four_blocks():
    rows = fished({"no": 4}, blocks=4)
    made = make_season(BENCH, {"fishing.csv": rows}, month="2026-06")
    assert analyse("leader", made.season, made.period).status == "ok"
    assert analyse("leader", made.season, made.whole).status == "ok"
    three = make_season(BENCH, {"fishing.csv": fished({"no": 3}, blocks=3)})
    assert analyse("leader", three.season, three.period).status == "thin"
    none_lost = make_season(BENCH, {"fishing.csv": fished({})})
    assert analyse("leader", none_lost.season, none_lost.period).status == "thin"
    july = make_season(
        BENCH, {"fishing.csv": rows + "2026-07-01,,,,,perch-grub,,1 h,kept,,,,\n"}, month="2026-07"
    )
    assert analyse("leader", july.season, july.period).status == "empty"
    assert analyse("leader", july.season, july.whole).status == "ok"


@pytest.mark.parametrize(("days", "is_worth_it"), [(100, True), (101, False)])
def test_more_than_a_hundred_days_are_too_many_to_wait_for(days, is_worth_it):
    made = make_season(BENCH, {"fishing.csv": fished({"yes": 6, "no": 6})})
    trial = compute(made.season, made.period, "leader")
    assert trial is not None
    trial = replace(trial, days_needed=days)
    (settled,) = [each.text for each in findings(trial) if each.id == "settled_by"]
    assert ("too many to wait for" in settled) == (not is_worth_it)
    assert len(list(actions(trial))) == is_worth_it


def test_a_block_with_a_bait_missing_keeps_its_arms_as_written():
    """Five whole blocks, and a sixth of one line that went against the lot: it counts as it was fished."""
    lines = fished({"no": 5}).splitlines()
    other = {"yes": "no", "no": "yes"}
    cells = lines[11].split(",")
    place = lines[0].split(",").index("arm")
    cells[place] = other[cells[place]]
    made = make_season(BENCH, {"fishing.csv": "\n".join([*lines[:11], ",".join(cells), ""])})
    section = analyse("leader", made.season, made.period)
    assert not [each for each in section.findings if each.id == "against_lot"]
    assert {row["arm"]: row["units"] for row in records(section, "arms")} == {
        cells[place]: 6,
        other[cells[place]]: 5,
    }


def test_a_trial_without_a_difference_says_how_much_more_would_settle_it():
    made = make_season(BENCH, {"fishing.csv": fished({"yes": 6, "no": 6}, hours=2)})
    section = analyse("leader", made.season, made.period)
    assert finding(section, "difference").text.startswith("The trial cannot tell yet")
    (action,) = section.actions
    assert action.id == "go_on:leader"
    # Schoenfeld's 65.3 events less the 12 there are, of one in 2 h and two a day
    assert "About 110 more h of fishing (27 days like these)" in action.text


def test_lines_that_went_against_the_lot_are_counted_and_compared_as_drawn():
    made = make_season(BENCH, {"fishing.csv": fished({"no": 6}, swap=2)})
    section = analyse("leader", made.season, made.period)
    assert finding(section, "against_lot").value == 2
    assert finding(section, "difference").more["p"] == pytest.approx(2 / 2**6)


def test_a_line_without_its_block_is_left_out_and_counted():
    text = fished({"no": 6})
    without = text.splitlines()[1].replace(",leader,1,", ",leader,,")
    made = make_season(BENCH, {"fishing.csv": f"{text}{without}\n"})
    section = analyse("leader", made.season, made.period)
    assert finding(section, "left_out").value == 1
    assert finding(section, "difference").more["p"] == pytest.approx(2 / 2**6)


def test_each_trial_that_the_logs_name_is_a_section_of_its_own_and_none_is_none():
    made = make_season(BENCH, {"fishing.csv": fished({"no": 6})})
    assert [each.id for each in trials(made.season)] == ["trial:leader"]
    plain = "date,build,fished,fate\n2026-06-01,perch-grub,1 h,kept\n"
    assert list(trials(make_season(BENCH, {"fishing.csv": plain}).season)) == []
    assert split_analyses([], made.season) == ([], ())


def test_a_second_trial_of_one_thing_is_not_mixed_into_the_first():
    second = fished({"no": 6}).replace(",leader,", ",leader 2,").split("\n", 1)[1]
    made = make_season(BENCH, {"fishing.csv": fished({"no": 6}) + "\n" + second})
    assert [each.id for each in trials(made.season)] == ["trial:leader", "trial:leader_2"]


BENCH_OF_TWO = Bench(name="Trial bench", default_units={"mold_temp": "degF"})


@pytest.mark.parametrize(
    ("name", "arms", "meant"),
    [
        ("Leader ", ("Yes", "N"), ("leader", ("no", "yes"))),
        ("Leaders", ("y", "none"), ("leader", ("no", "yes"))),
        ("mold temp", ("300", "330 F", "360f"), ("mold_temp", ("300 F", "330 F", "360f"))),
        ("Mold-Temperature", ("150 C", "180 C"), ("mold_temp", ("150 C", "180 C"))),
        ("hook colour", ("red", "gold"), ("hook_colour", ("gold", "red"))),
    ],
)
def test_a_trial_is_named_however_it_is_spelt(name, arms, meant):
    sheet = trial_sheet_of(name, arms, 2, 1, BENCH_OF_TWO)
    assert (sheet.name, sheet.arms) == meant


@pytest.mark.parametrize(
    ("name", "arms", "why"),
    [
        ("leader", ("yes", "YES"), "at least two arms"),
        ("mold_temp", ("yes", "no"), "is no temperature of a mold"),
        ("build", ("perch-grub", "old-faithful"), "is no build of bench.toml"),
        (" ", ("yes", "no"), "say what is tried"),
        ("leadr", ("yes", "no"), "did you mean `--trial leader`"),
    ],
)
def test_a_trial_that_cannot_be_meant_is_refused_with_what_would_do(name, arms, why):
    bench = make_season(BENCH, {"fishing.csv": fished({"no": 6})}).season.bench
    with pytest.raises(ValueError, match=why):
        trial_sheet_of(name, arms, 2, 1, bench)


def test_rows_typed_by_ten_hands_are_one_trial_compared_as_drawn():
    spelt = fished({"no": 6}).replace(",leader,1,", ",Leader ,1,").replace(",leader,2,", ",LEADER,2,")
    spelt = (
        spelt.replace(",3,1,yes,", ",3,1,Yes,")
        .replace(",4,2,no,", ",4,2,N,")
        .replace(",5,1,no,", ",5,1, no ,")
    )
    made = make_season(BENCH, {"fishing.csv": spelt})
    assert [each.id for each in trials(made.season)] == ["trial:leader"]
    difference = finding(analyse("leader", made.season, made.period), "difference")
    assert difference.more["p"] == pytest.approx(2 / 2**6)


def test_doing_what_a_trial_showed_is_worth_the_baits_that_the_other_arm_took():
    made = make_season(BENCH, {"fishing.csv": fished({"no": 6})})
    (action,) = analyse("leader", made.season, made.period).actions
    assert (action.worth, action.worth_unit) == (6.0, "baits")
    assert action.text == "Choose a leader: the trial drawn by lot says so."


def test_fills_at_three_temperatures_are_a_trial_of_the_pour_log():
    sheet = trial_sheet_of("mold temp", ("300", "330", "360"), 6, 1, BENCH_OF_TWO)
    rows = list(csv.DictReader(io.StringIO(trial_csv(sheet))))
    bad = {"300 F": 4, "330 F": 2, "360 F": 0}
    lines = ["date,trial,block,slot,arm,mold,cavity,outcome,count,mold_temp"]
    for row in rows:
        of_lot = ",".join(row[name] for name in ("trial", "block", "slot", "arm"))
        fill = f"2026-06-{1 + int(row['block']):02},{of_lot},round-jig,1/8"
        for outcome, count in (("reject", bad[row["arm"]]), ("good", 5 - bad[row["arm"]])):
            lines += [f"{fill},{outcome},{count},{row['mold_temp']}"] if count else []
    made = make_season(BENCH, {"pour.csv": "\n".join(lines)}, month="2026-06")
    section = analyse("mold_temp", made.season, made.period)
    arms = [(row["units"], row["exposure"], row["events"]) for row in records(section, "arms")]
    assert arms == [(6, 30, 24), (6, 30, 12), (6, 30, 0)]
    difference = finding(section, "difference")
    assert isinstance(difference.more["p"], float)
    assert difference.more["p"] < 0.001
    assert difference.headline
    assert difference.text.startswith("The mold's warmth makes a difference, and a mold at 360 F does best.")
