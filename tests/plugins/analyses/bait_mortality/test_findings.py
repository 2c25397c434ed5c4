"""Groups of baits held against each other, and advice from that."""

import re
from collections.abc import Sequence

import pytest
from scipy.stats import binomtest

from benchwater.testing import finding, make_season, records, table
from fished_seasons import ANALYSIS, BENCH, HEADER, bitten, number, whole


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
