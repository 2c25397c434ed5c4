"""Bait mortality: small seasons whose answer is known by hand, then the demo season against its truth."""

import json
import math
import re
from collections.abc import Sequence
from functools import cache
from pathlib import Path

import pytest
from scipy.stats import binomtest

from benchwater.gather.season import gather
from benchwater.pipeline import Request, choose_spans, read_workspace
from benchwater.plugin import Analysis, Section
from benchwater.testing import MadeSeason, finding, make_season, plugin_file, records, table

ROOT = Path(__file__).parents[3]
ANALYSIS: Analysis = next(iter(plugin_file(ROOT / "plugins/analyses/bait_mortality").analyses()))
TRUTH = json.loads((ROOT / "tests/demo_season/truth.json").read_text(encoding="utf-8"))
BENCH = """
[bench]
name = "Test bench"
season = { start = "03-01" }
[defaults]
fished = "h"
[items.alloy]
kind = "metal"
[items.pearl]
kind = "coat"
[items.weed-guard]
kind = "fitting"
[molds.ball]
material = "alloy"
[[molds.ball.cavities]]
name = "1/8"
mass = "1/8 oz"
[builds.plain]
head = { mold = "ball", cavity = "1/8" }
[builds.guarded]
head = { mold = "ball", cavity = "1/8" }
coat = { item = "pearl", mass = "0.1 g" }
fittings = { weed-guard = 1 }
"""
HEADER = "date,build,fished,fate,count,bait,cause,water,habitat,leader\n"
CONTRACT = {
    "survival": ["group", "time_h", "at_risk", "lost", "survival", "low", "high"],
    "causes": ["group", "cause", "time_h", "incidence", "low", "high"],
    "rates": ["factor", "group", "bait_hours", "lost", "rate", "low", "high"],
    "contrasts": ["factor", "group", "against", "ratio", "low", "high", "p", "p_adjusted"],
    "losses": ["fate", "cause", "baits"],
}


def fished(*rows: str, month: str | None = None) -> MadeSeason:
    return make_season(BENCH, {"baits.csv": HEADER + "\n".join(rows) + "\n"}, month)


def whole(*rows: str) -> Section:
    made = fished(*rows)
    return ANALYSIS.analyse(made.season, made.whole)


def of_all(section: Section, id: str = "survival") -> list[dict[str, object]]:
    return [row for row in records(section, id) if row["group"] == "all"]


def steps(section: Section) -> list[tuple[object, ...]]:
    return [(row["time_h"], row["at_risk"], row["lost"]) for row in of_all(section)]


def number(value: object) -> float:
    assert isinstance(value, int | float)
    return float(value)


def repeated(row: str, times: int) -> list[str]:
    """A row of its own for each of several baits; the day tells them apart."""
    return [f"2026-05-{day:02d},{row}" for day in range(1, times + 1)]


# --- what a bait's life is made of -------------------------------------------


def test_a_tagged_baits_hours_add_up_over_trips() -> None:
    section = whole(
        "2026-05-01,plain,1:15,kept,,A,,,,",
        "2026-05-08,plain,20 min,kept,,A,,,,",
        "2026-05-09,plain,20 min,kept,,A,,,,",
        "2026-05-10,plain,20 min,lost,,A,snag,,,",
        "2026-05-10,plain,2.25,lost,,B,snag,,,",
    )
    assert steps(section) == [(2.25, 2, 2)]
    rate = finding(section, "loss_rate")
    assert (rate.n, rate.more["baits"]) == (2, 2)
    assert rate.more["bait_hours"] == pytest.approx(4.5)


def test_the_same_tag_on_another_build_is_another_bait() -> None:
    section = whole("2026-05-01,plain,1,lost,,A,snag,,,", "2026-05-02,guarded,2,lost,,A,snag,,,")
    assert steps(section) == [(1.0, 2, 1), (2.0, 1, 1)]


def test_a_used_bait_enters_its_second_month_late() -> None:
    made = fished(
        "2026-05-01,plain,2,kept,,A,,,,",
        "2026-06-01,plain,45 min,lost,,A,torn,,,",
        "2026-06-02,plain,1,lost,,,torn,,,",
        "2026-06-02,plain,3,kept,,,,,,",
        month="2026-06",
    )
    june = ANALYSIS.analyse(made.season, made.period)
    assert steps(june) == [(1.0, 2, 1), (2.75, 2, 1)]
    assert [row["survival"] for row in of_all(june)] == [0.5, 0.25]
    assert finding(june, "loss_rate").more["bait_hours"] == pytest.approx(4.75)
    season = ANALYSIS.analyse(made.season, made.whole)
    assert steps(season) == [(1.0, 3, 1), (2.75, 2, 1)]


def test_hours_fished_before_the_season_count() -> None:
    made = fished("2026-02-01,plain,4,kept,,A,,,,", "2026-03-05,plain,1,lost,,A,snag,,,", month="2026-03")
    assert steps(ANALYSIS.analyse(made.season, made.whole)) == [(5.0, 1, 1)]


def test_a_kept_bait_is_followed_and_not_counted_as_lost() -> None:
    section = whole("2026-05-01,plain,1,lost,,,snag,,,", "2026-05-01,plain,2,kept,3,,,,,")
    assert steps(section) == [(1.0, 4, 1)]
    assert of_all(section)[0]["survival"] == 0.75
    median = finding(section, "median_life")
    assert (median.value, median.low, median.high) == (None, None, None)


def test_until_half_have_ended_the_median_says_how_many_are_left() -> None:
    section = whole("2026-05-01,plain,1,lost,,,snag,,,", "2026-05-01,plain,2.75,kept,5,,,,,")
    median, mean = finding(section, "median_life"), finding(section, "mean_life")
    assert median.value is None
    assert "More than half" in median.text
    assert "2.5 h" in median.text
    assert mean.more["horizon_h"] == 2.5
    assert mean.value == pytest.approx(1 + 5 / 6 * 1.5)


def test_a_median_that_rests_on_few_baits_says_so() -> None:
    section = whole("2026-05-01,plain,1,kept,8,,,,,", "2026-05-01,plain,3,lost,2,,snag,,,")
    assert finding(section, "median_life").value == 3
    assert finding(section, "median_life").text.endswith("; only 2 were followed so far.")


def test_a_curve_that_starts_among_too_few_gives_no_length_of_life() -> None:
    made = fished(
        *(f"2026-05-01,plain,1,kept,,{tag},,,," for tag in "ABCDEFGH"),
        *(f"2026-06-01,plain,1,kept,,{tag},,,," for tag in "ABCDEFGH"),
        "2026-06-01,plain,30 min,lost,,,snag,,,",
        "2026-06-01,plain,2,kept,,,,,,",
        month="2026-06",
    )
    june = ANALYSIS.analyse(made.season, made.period)
    assert [row["survival"] for row in of_all(june)] == [0.5]
    for id in ("median_life", "mean_life"):
        assert finding(june, id).value is None
        assert finding(june, id).text.startswith("Too few baits were followed from their first hours")


def test_a_row_of_several_baits_equals_as_many_rows() -> None:
    rows = ["plain,1,lost,{},,snag,pond,,no", "plain,2,kept,{},,,pond,,yes", "plain,3,worn,{},,torn,pond,,no"]
    counted = whole(*(f"2026-05-01,{row.format(6)}" for row in rows))
    single = whole(*(f"2026-05-{day:02d},{row.format(1)}" for row in rows for day in range(1, 7)))
    assert counted.findings == single.findings
    assert counted.tables == single.tables
    assert [figure.alt for figure in counted.figures] == [figure.alt for figure in single.figures]


def test_a_tag_that_goes_on_after_its_loss_is_a_new_bait() -> None:
    section = whole(
        "2026-05-01,plain,1,kept,,A,,,,",
        "2026-05-02,plain,2,lost,,A,snag,,,",
        "2026-05-03,plain,1.5,kept,,A,,,,",
        "2026-05-04,plain,30 min,worn,,A,torn,,,",
    )
    assert steps(section) == [(2.0, 2, 1), (3.0, 1, 1)]
    assert finding(section, "loss_rate").more["baits"] == 2
    reused = finding(section, "tags_used_again")
    assert reused.value == 1
    assert "1 tag went on" in reused.text


def test_a_used_bait_lost_without_time_fished_ends_where_it_stood() -> None:
    section = whole(
        "2026-05-01,plain,1,kept,,A,,,,",
        "2026-05-02,plain,0,lost,,A,snag,,,",
        "2026-05-02,plain,2,kept,2,,,,,",
        "2026-05-02,plain,0,lost,,,snag,,,",
        "2026-05-02,plain,0,kept,,A,,,,",
    )
    found = [(round(number(row["time_h"]), 4), row["at_risk"], row["lost"]) for row in of_all(section)]
    assert found == [(0.0, 5, 1), (1.0, 3, 1)]
    assert finding(section, "loss_rate").n == 2


def test_where_a_gap_parts_the_hours_the_curve_stops_before_it() -> None:
    made = fished(
        "2026-05-01,plain,9,kept,,A,,,,",
        "2026-06-01,plain,1,lost,,A,torn,,,",
        *(
            f"2026-06-{day:02d},plain,2,{'kept,,,,,,' if day > 3 else 'lost,,,snag,,,'}"
            for day in range(1, 11)
        ),
        month="2026-06",
    )
    section = ANALYSIS.analyse(made.season, made.period)
    assert steps(section) == [(2.0, 10, 3)]
    assert finding(section, "loss_rate").n == 4
    assert sum(number(row["baits"]) for row in records(section, "losses")) == 4


# --- causes, rates and losses ------------------------------------------------

MIXED = (
    "2026-05-01,plain,1,lost,2,,bite off,pond,weeds;shallow,no",
    "2026-05-01,plain,2,worn,1,,torn,pond,weeds;shallow,wire",
    "2026-05-02,guarded,2,lost,3,,snag,reach,timber,",
    "2026-05-02,guarded,3,kept,4,,,reach,,Yes",
    "2026-05-03,plain,4,lost,1,,bite off,reach,timber;shallow,no",
    "2026-05-03,plain,6,kept,2,,,pond,open,WIRE",
)


def test_causes_and_the_share_still_in_use_make_up_the_whole() -> None:
    section = whole(*MIXED)
    for row in records(section, "survival"):
        at_time = [
            number(cause["incidence"])
            for cause in records(section, "causes")
            if (cause["group"], cause["time_h"]) == (row["group"], row["time_h"])
        ]
        assert sum(at_time) == pytest.approx(1 - number(row["survival"]))
    summary = records(section, "cause_summary")
    assert sum(number(row["incidence"]) for row in summary) == pytest.approx(1)
    assert [row["cause"] for row in summary] == ["bite off", "snag", "torn", "still in use"]


def test_the_lead_says_what_ends_them() -> None:
    lead = whole(*MIXED).findings[0]
    assert (lead.id, lead.group, lead.n) == ("main_cause", "bite off", 3)
    assert lead.text.startswith("7 baits ended: bite off 3, snag 3, torn 1.")
    assert lead.more["horizon_h"] == 3


def test_losses_add_up_to_the_baits_that_ended() -> None:
    section = whole(*MIXED)
    assert table(section, "losses").rows == (
        ("lost", "bite off", 3),
        ("lost", "snag", 3),
        ("worn", "torn", 1),
    )
    assert finding(section, "loss_rate").n == 7


def test_rates_stand_by_group_with_exact_limits() -> None:
    section = whole(*MIXED)
    rows = {(row["factor"], row["group"]): row for row in records(section, "rates")}
    everything = rows["all", "all"]
    assert (everything["bait_hours"], everything["lost"]) == (38.0, 7)
    # Garwood 1936: 7 observed, limits 2.814 and 14.423.
    assert number(everything["low"]) == pytest.approx(2.814 / 38, rel=1e-3)
    assert number(everything["high"]) == pytest.approx(14.423 / 38, rel=1e-3)
    hours = {key: (row["bait_hours"], row["lost"]) for key, row in rows.items()}
    assert hours["leader", "no leader"] == (6.0, 3)
    assert hours["leader", "leader"] == (26.0, 1)
    assert hours["guard", "guard"] == hours["coat", "pearl"] == hours["build", "guarded"] == (18.0, 3)
    assert hours["guard", "no guard"] == hours["coat", "no coat"] == (20.0, 4)
    assert hours["habitat", "timber"] == (10.0, 4)
    assert hours["habitat", "weeds"] == (4.0, 3)
    assert hours["habitat", "shallow"] == (8.0, 4)
    assert ("leader material", "wire") not in hours, "one group is not shown against nothing"


def test_tags_that_always_go_together_are_compared_once() -> None:
    section = whole(*(row.replace("timber;shallow", "timber") for row in MIXED))
    habitats = {row["group"] for row in records(section, "rates") if row["factor"] == "habitat"}
    assert habitats == {"open", "shallow + weeds", "timber"}


# --- comparisons and advice --------------------------------------------------


def bitten(leader: str, lost: int, kept: int, habitat: str = "weeds") -> list[str]:
    """So many baits bitten off after an hour, and so many kept."""
    rows = {f"lost,{lost},,bite off": lost, f"kept,{kept},,": kept}
    return [f"2026-05-01,plain,1,{row},pond,{habitat},{leader}" for row, baits in rows.items() if baits]


def test_a_leader_that_saves_baits_is_advised() -> None:
    section = whole(*bitten("no", 30, 10), *bitten("wire", 5, 45))
    contrast = next(row for row in records(section, "contrasts") if row["factor"] == "leader, bite offs")
    assert (contrast["group"], contrast["against"]) == ("no leader", "leader")
    assert contrast["ratio"] == pytest.approx(30 / 40 * 50 / 5)
    assert number(contrast["p_adjusted"]) < 0.001
    assert contrast["within"] == pytest.approx(contrast["ratio"], rel=1e-6)
    (action,) = section.actions
    assert action.id == "tie_a_leader"
    assert "7.5 times (2.9 to 25)" in action.text
    assert (action.worth, action.worth_unit) == (26, "baits")  # 30 - 40 h at 0.1 per h
    said = finding(section, "contrast", "leader, bite offs: no leader")
    assert (said.value, said.low) == (contrast["ratio"], contrast["low"])
    assert "as those with a leader: 30 in 40 h against 5 in 50 h" in said.text
    log_rank = finding(section, "logrank", "leader")
    assert log_rank.more["df"] == 1
    assert number(log_rank.more["p_adjusted"]) >= number(log_rank.more["p"])


def test_no_advice_where_the_habitat_explains_the_difference() -> None:
    # In the weeds and in the open a leader makes no difference, but it was tied on in the open.
    rows = (
        *bitten("no", 30, 10),
        *bitten("wire", 3, 1),
        *bitten("no", 1, 19, "open"),
        *bitten("wire", 4, 76, "open"),
    )
    section = whole(*rows)
    contrast = next(row for row in records(section, "contrasts") if row["factor"] == "leader, bite offs")
    assert number(contrast["low"]) > 1
    assert number(contrast["p_adjusted"]) < 0.05
    assert contrast["within"] == pytest.approx(1, rel=1e-6)
    assert "tie_a_leader" not in {action.id for action in section.actions}


def test_where_leaders_lost_nothing_the_ratio_is_open_and_the_words_say_at_least() -> None:
    section = whole(*bitten("no", 12, 20), *bitten("yes", 0, 60))
    contrast = next(row for row in records(section, "contrasts") if row["factor"] == "leader, bite offs")
    assert (contrast["ratio"], contrast["high"]) == (None, None)
    (action,) = section.actions
    assert re.search(r"at least [\d.]+ times as often", action.text)
    assert action.worth == 12


def test_a_snaggy_habitat_is_named() -> None:
    section = whole(
        "2026-05-01,plain,1,lost,14,,snag,reach,timber;current,no",
        "2026-05-01,plain,1,kept,16,,,reach,timber;current,no",
        "2026-05-01,plain,1,kept,60,,,reach,gravel;current,no",
        "2026-05-01,plain,1,lost,1,,snag,reach,gravel;current,no",
    )
    assert [action.id for action in section.actions] == ["snags_timber"]
    assert section.actions[0].worth == 13  # 14 - 30 h at 1 in 61 h


def test_only_what_has_hours_and_ends_enough_is_compared() -> None:
    section = whole(*bitten("no", 6, 30), *bitten("wire", 1, 3, "open"))
    assert {row["factor"] for row in records(section, "contrasts")} == set()
    assert {entry.group for entry in section.findings if entry.id == "logrank"} == set()
    note = table(section, "contrasts").note
    for factor in ("leader", "coat", "guard", "water", "habitat"):
        assert factor in note


def test_adjusted_p_values_are_holms_over_everything_compared() -> None:
    section = whole(*bitten("no", 30, 10), *bitten("wire", 5, 45, "open"), *bitten("no", 3, 20, "open"))
    compared = records(section, "contrasts")
    # Weeds against elsewhere and open against elsewhere are the same baits turned round: one test, not two.
    assert len(compared) == 4
    ordered = sorted(
        {(row["factor"], round(number(row["p"]), 14)) for row in compared}, key=lambda each: each[1]
    )
    by_hand, largest = [], 0.0
    for rank, (_, p) in enumerate(ordered):
        largest = max(largest, min(1.0, p * (len(ordered) - rank)))
        by_hand.append(largest)
    assert sorted({number(row["p_adjusted"]) for row in compared}) == pytest.approx(sorted(set(by_hand)))


def on(water: str, rows: Sequence[str]) -> list[str]:
    """The same rows fished elsewhere."""
    return [row.replace(",pond,", f",{water},") for row in rows]


def test_a_clear_contrast_says_how_many_times_as_long_and_an_unclear_one_is_kept_for_the_twin() -> None:
    section = whole(*bitten("no", 30, 10), *bitten("wire", 10, 40))
    said = finding(section, "contrast", "leader: no leader")
    assert said.text.startswith(
        "With a leader, baits last about 3.8 times as long (1.8 to 8.6) as those without a leader: "
        "30 in 40 h against 10 in 50 h"
    )
    # Given 40 ends, the exact limits of the share without a leader are Clopper and Pearson's: outside check.
    share = binomtest(30, 40).proportion_ci()
    limits = [p / (1 - p) * 50 / 40 for p in (share.low, share.high)]
    assert (said.value, said.low, said.high) == pytest.approx((3.75, *limits))
    assert not said.quiet
    unclear = whole(*bitten("no", 12, 20), *bitten("wire", 10, 26))
    quiet = finding(unclear, "contrast", "leader: no leader")
    assert quiet.quiet
    assert quiet.text.startswith(
        "No clear difference: with a leader, baits last about 1.3 times as long (0.53 to 3.5)"
    )


def test_the_longer_lived_group_comes_first_whichever_it_is() -> None:
    section = whole(*bitten("no", 4, 46), *bitten("wire", 30, 10))
    said = finding(section, "contrast", "leader: no leader")
    assert said.text.startswith("Without a leader, baits last about 9.4 times as long (")
    assert said.value == pytest.approx(4 / 50 / (30 / 40))


def test_a_leader_only_ever_used_on_one_water_is_warned_of_and_not_advised() -> None:
    made = (*bitten("no", 30, 10), *on("reach", bitten("wire", 5, 45)))
    section = whole(*made)
    said = finding(section, "contrast", "leader, bite offs: no leader")
    assert said.more["confounded_by"] == "water"
    assert (
        "baits without a leader were only ever fished at pond. So this may be the water's doing" in said.text
    )
    assert section.actions == ()
    row = next(row for row in records(section, "contrasts") if row["factor"] == "leader, bite offs")
    assert row["confounded_by"] == "water"
    both_waters = whole(*made, *on("reach", bitten("no", 30, 10)), *bitten("wire", 5, 45))
    assert finding(both_waters, "contrast", "leader, bite offs: no leader").more["confounded_by"] is None
    assert [action.id for action in both_waters.actions] == ["tie_a_leader"]


def test_a_difference_that_goes_with_the_water_shrinks_and_is_not_advised() -> None:
    # Three in four go at the pond, one in twenty on the reach, leader or none, and it was tied on the reach.
    rows = [*bitten("no", 30, 10), *bitten("wire", 3, 1)]
    rows += on("reach", [*bitten("no", 1, 19), *bitten("wire", 4, 76)])
    section = whole(*rows)
    said = finding(section, "contrast", "leader, bite offs: no leader")
    assert said.more["confounded_by"] == "water"
    assert "under one water it is 1 times (" in said.text
    assert section.actions == ()


def test_other_fittings_and_builds_are_compared_and_a_fitting_of_one_build_is_one_test_with_it() -> None:
    bench = BENCH.replace("[items.weed-guard]", '[items.rattle]\nkind = "fitting"\n[items.weed-guard]')
    bench += "[builds.noisy]\nhead = { mold = 'ball', cavity = '1/8' }\nfittings = { rattle = 1 }\n"
    rows = ["2026-05-01,noisy,1,lost,20,,torn,,,", "2026-05-01,noisy,1,kept,10,,,,,"]
    rows += ["2026-05-01,plain,1,lost,4,,torn,,,", "2026-05-01,plain,1,kept,26,,,,,"]
    made = make_season(bench, {"baits.csv": HEADER + "\n".join(rows) + "\n"})
    section = ANALYSIS.analyse(made.season, made.whole)
    compared = {(row["factor"], row["group"]): row for row in records(section, "contrasts")}
    assert set(compared) == {("rattle", "no rattle"), ("build", "noisy")}
    assert all(row["p_adjusted"] == pytest.approx(row["p"]) for row in compared.values())
    assert all(row["confounded_by"] is None for row in compared.values()), (
        "build and rattle are one, not apart"
    )
    assert (
        "Without rattle, baits last about 5 times as long ("
        in finding(section, "contrast", "rattle: no rattle").text
    )


def test_untagged_rows_are_said_to_be_stretches() -> None:
    section = whole("2026-05-01,plain,1,lost,3,,snag,,,", "2026-05-02,plain,2,kept,,A,,,,")
    loose = finding(section, "untagged")
    assert (loose.value, loose.n) == (3, 4)
    assert "3 of 4 baits bore no tag: each row of those is a stretch by itself" in loose.text
    tagged = whole("2026-05-02,plain,2,kept,,A,,,,")
    assert not [entry for entry in tagged.findings if entry.id == "untagged"]


# --- few rows, odd rows ------------------------------------------------------


@pytest.mark.parametrize(
    "rows",
    [
        ["2026-05-01,plain,1,kept,,,,,,"],
        ["2026-05-01,plain,1,lost,,,snag,,,"],
        ["2026-05-01,plain,0,kept,,,,,,"],
        ["2026-05-01,plain,0,lost,,,snag,,,"],
        ["2026-05-01,plain,0,lost,7,,snag,,,", "2026-05-01,plain,0,kept,7,,,,,"],
        ["2026-05-01,plain,2,kept,50,,,pond,weeds,no"],
        ["2026-05-01,plain,2,lost,50,,bite off,pond,weeds,no"],
        ["2026-05-01,plain,2,lost,50,,bite off,pond,weeds,no", "2026-05-01,guarded,2,lost,50,,other,,,wire"],
        repeated("plain,1,lost,,A,snag,,,", 12),
        [*repeated("plain,1,kept,,A,,,,", 20), "2026-05-21,plain,1,lost,,A,torn,,,"],
        ["2026-05-01,plain,1 min,lost,9,,snag,,;,yes", "2026-05-01,plain,1 min,kept,9,,,,,no"],
    ],
    ids=[
        *(
            "one kept",
            "one lost",
            "none fished",
            "lost at once",
            "many lost at once",
            "none lost",
            "all lost",
        ),
        *("all lost of two builds", "one tag, many baits", "one bait, many trips", "minutes"),
    ],
)
def test_odd_logs_give_a_section_with_every_table(rows: Sequence[str]) -> None:
    section = whole(*rows)
    assert section.status in {"ok", "thin"}
    ids = {entry.id for entry in section.findings}
    assert {"loss_rate", "median_life", "mean_life"} <= ids
    for id, columns in CONTRACT.items():
        assert [column.name for column in table(section, id).columns][: len(columns)] == columns
    for entry in section.findings:
        for value in (entry.value, entry.low, entry.high):
            assert value is None or math.isfinite(value)
    for held in section.tables:
        cells = [cell for row in held.rows for cell in row]
        assert all(not isinstance(cell, float) or math.isfinite(cell) for cell in cells)
    assert all(figure.svg.startswith("<svg") and figure.alt for figure in section.figures)
    assert not section.actions


def test_few_baits_or_few_ends_are_thin_and_bring_no_advice() -> None:
    few_ends = whole(*bitten("no", 4, 30), *bitten("wire", 0, 40))
    few_baits = whole(*bitten("no", 5, 2), *bitten("wire", 0, 2))
    for section in (few_ends, few_baits):
        assert section.status == "thin"
        assert section.why.startswith("Only ")
        assert not section.actions
        assert finding(section, "loss_rate").low is not None
    assert "4 ends of use among 74 baits" in few_ends.why
    assert "5 ends of use among 9 baits" in few_baits.why


def test_without_losses_the_rate_has_an_upper_limit() -> None:
    rate = finding(whole("2026-05-01,plain,2,kept,5,,,,,"), "loss_rate")
    assert (rate.value, rate.low) == (0, 0)
    assert rate.high == pytest.approx(-math.log(0.025) / 10)
    assert "fewer than one in" in rate.text


def test_a_span_without_rows_is_empty() -> None:
    made = fished("2026-05-01,plain,1,lost,,,snag,,,", month="2026-06")
    assert ANALYSIS.analyse(made.season, made.period).status == "empty"
    assert ANALYSIS.analyse(made.season, made.whole).status == "thin"


def test_the_same_season_gives_the_same_section() -> None:
    assert whole(*MIXED) == whole(*MIXED)


# --- the demo season ---------------------------------------------------------


@cache
def demo(month: str | None = None) -> MadeSeason:
    workspace = read_workspace(ROOT / "sample_logs", workspace_plugins=False)
    spans = choose_spans(workspace, Request(month=month))
    season = gather(workspace.reading, workspace.bench, spans)
    return MadeSeason(season=season, period=spans.period, whole=spans.season)


@cache
def demo_section() -> Section:
    return ANALYSIS.analyse(demo().season, demo().whole)


def test_demo_every_end_of_use_in_the_log_is_counted() -> None:
    log = demo().season.rows("fishing", demo().whole)
    ended = int(log.loc[log["fate"].isin(["lost", "worn"]), "count"].sum())
    section = demo_section()
    assert sum(number(row["baits"]) for row in records(section, "losses")) == ended
    assert finding(section, "loss_rate").n == ended
    assert sum(number(row["lost"]) for row in of_all(section)) == ended


def test_demo_the_leader_contrast_covers_the_truth_and_is_advised() -> None:
    truth = TRUTH["bait_ends_per_hour"]["ratio_without_to_with_leader"]
    drawn = TRUTH["bite_offs_drawn"]
    contrast = next(
        row for row in records(demo_section(), "contrasts") if row["factor"] == "leader, bite offs"
    )
    assert number(contrast["low"]) < truth < number(contrast["high"])
    assert number(contrast["within_low"]) < truth < number(contrast["within_high"])
    rates = [drawn[group]["bite_offs"] / drawn[group]["hours"] for group in ("no leader", "leader")]
    assert contrast["ratio"] == pytest.approx(rates[0] / rates[1], rel=0.01)
    advice = next(action for action in demo_section().actions if action.id == "tie_a_leader")
    assert "leader" in advice.text
    assert number(advice.worth) > 5


def test_demo_timber_is_where_the_snags_are() -> None:
    rates = TRUTH["bait_ends_per_hour"]
    contrast = next(
        row
        for row in records(demo_section(), "contrasts")
        if (row["factor"], row["group"]) == ("habitat, snags", "timber")
    )
    assert number(contrast["low"]) < rates["snag_timber"] / rates["snag_elsewhere"] < number(contrast["high"])


@pytest.mark.parametrize("month", [f"2026-{month:02d}" for month in range(3, 11)])
def test_demo_every_month_stands(month: str) -> None:
    made = demo(month)
    section = ANALYSIS.analyse(made.season, made.period)
    assert section.status in {"ok", "thin"}
    assert all("nan" not in entry.text for entry in section.findings)
    log = made.season.rows("fishing", made.period)
    ended = int(log.loc[log["fate"] != "kept", "count"].sum())
    assert sum(number(row["baits"]) for row in records(section, "losses")) == ended
