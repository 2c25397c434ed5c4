"""Groups of baits held against each other, advice from that, and the card."""

import math
import re
from collections.abc import Sequence
from types import SimpleNamespace
from typing import Any

import pytest

from bait_mortality.findings import half_hours, how_much
from benchwater.testing import finding, make_season, records, table
from fished_seasons import ANALYSIS, BENCH, HEADER, bitten, fished, number, whole

LEADER = "leader, bite offs: no leader"


def test_a_leader_that_saves_baits_is_advised_by_the_rows_of_the_last_two_months() -> None:
    section = whole(*bitten("no", 30, 10), *bitten("wire", 5, 45))
    contrast = next(row for row in records(section, "contrasts") if row["factor"] == "leader, bite offs")
    assert (contrast["group"], contrast["against"]) == ("no leader", "leader")
    assert contrast["ratio"] == pytest.approx(30 / 40 * 50 / 5)
    assert number(contrast["p_adjusted"]) < 0.01
    (action,) = section.actions
    assert action.id == "tie_a_leader"
    assert (
        "in April and May, baits without a leader were bitten off 30 times in 40 hours of fishing"
        in action.text
    )
    assert (action.worth, action.worth_unit, action.holds) == (26, "baits", False)  # 30 - 40 h at 0.1 per h
    said = finding(section, "contrast", LEADER)
    assert (said.value, said.low) == (contrast["ratio"], contrast["adjusted_low"])
    assert said.level >= 0.95
    assert "against 5 in 50 hours with a leader" in said.text
    assert said.quiet, "the advice says the same"
    log_rank = finding(section, "logrank", "leader")
    assert (log_rank.more["df"], log_rank.quiet) == (1, True)
    assert number(log_rank.more["p_adjusted"]) >= number(log_rank.more["p"])


def test_advice_that_is_followed_is_kept_as_what_holds() -> None:
    june = [row.replace("2026-05", "2026-06") for row in bitten("wire", 1, 60)]
    july = [row.replace("2026-05", "2026-07") for row in bitten("wire", 1, 60)]
    section = whole(*bitten("no", 30, 10), *bitten("wire", 5, 45), *june, *july)
    (action,) = section.actions
    assert (action.id, action.worth, action.holds) == ("tie_a_leader", 0, True)
    assert action.text.startswith("Keep tying a leader")
    assert "in June and July, " in action.text
    assert section.cards[0].lines[2].text.startswith("keep tying a leader")


def test_a_month_alone_gives_no_advice() -> None:
    made = fished(*bitten("no", 30, 10), *bitten("wire", 5, 45), month="2026-05")
    assert not ANALYSIS.analyse(made.season, made.period).actions
    assert ANALYSIS.analyse(made.season, made.whole).actions


def test_the_same_losses_on_one_trip_bring_no_advice() -> None:
    section = whole(*bitten("no", 30, 10, trips=1), *bitten("wire", 5, 45, trips=1))
    assert section.status == "thin"
    assert "on 1 trip" in section.why
    assert not section.actions
    few = whole(*bitten("no", 30, 10, trips=4), *bitten("wire", 5, 45, trips=4))
    assert not few.actions
    assert finding(few, "contrast", LEADER).more["p"] == pytest.approx(1 / 8)


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
    assert contrast["confounded_by"] == "habitat"
    said = finding(section, "contrast", LEADER).text
    assert said.endswith(
        "But among baits of one habitat chance alone could make it, so it may be the habitat, "
        "and no advice is drawn from it."
    )
    assert not section.actions


def test_where_leaders_lost_nothing_the_ratio_is_open_and_the_words_say_at_least() -> None:
    section = whole(*bitten("no", 12, 20), *bitten("yes", 0, 60))
    contrast = next(row for row in records(section, "contrasts") if row["factor"] == "leader, bite offs")
    assert (contrast["ratio"], contrast["high"]) == (None, None)
    assert re.search(r"at least [\d.]+ times as often", finding(section, "contrast", LEADER).text)
    assert section.actions[0].worth == 12


def test_losses_without_a_cause_bound_the_difference_and_may_forbid_the_advice() -> None:
    rows = [*bitten("no", 30, 10), *bitten("wire", 5, 45)]
    assert finding(whole(*rows), "contrast", LEADER).more.get("bound_low") is None
    no_cause = [f"2026-05-{trip:02d},plain,1,lost,{{}},,,pond,weeds,wire" for trip in range(1, 13)]
    section = whole(*rows, *(row.format(3) for row in no_cause))
    said = finding(section, "contrast", LEADER)
    hours = 40, 50 + 36
    assert said.more["bound_low"] == pytest.approx(30 / hours[0] * hours[1] / (5 + 36))
    assert said.more["bound_high"] == pytest.approx(30 / hours[0] * hours[1] / 5)
    assert said.more["confounded_by"] == "cause"
    assert "losses without a cause written could make up the difference" in said.text
    assert not section.actions


def test_losses_count_whether_a_cause_is_written_or_not() -> None:
    rows = [*bitten("no", 30, 10), *bitten("wire", 5, 45)]
    half = [row.replace("bite off", "" if place % 2 else "bite off") for place, row in enumerate(rows)]
    one, other = whole(*rows), whole(*half)
    for id in ("loss_rate", "median_life"):
        pair = finding(one, id), finding(other, id)
        assert (pair[0].value, pair[0].low, pair[0].high) == (pair[1].value, pair[1].low, pair[1].high)
    assert "gone without a cause written" in finding(other, "main_cause").text
    assert "not written" in {row["cause"] for row in records(other, "cause_summary")}


def test_a_snaggy_habitat_is_named() -> None:
    section = whole(
        *(f"2026-05-{day:02d},plain,1,lost,2,,snag,reach,timber;current,no" for day in range(1, 11)),
        *(f"2026-05-{day:02d},plain,1,kept,3,,,reach,timber;current,no" for day in range(1, 11)),
        *(f"2026-05-{day:02d},plain,1,kept,6,,,reach,gravel;current,no" for day in range(1, 11)),
        "2026-05-01,plain,1,lost,1,,snag,reach,gravel;current,no",
    )
    assert [action.id for action in section.actions] == ["snags_timber"]
    assert section.actions[0].worth == 19  # 20 - 50 h at 1 in 61 h


def test_a_habitat_of_one_water_is_an_observation_with_its_reason() -> None:
    rows = [f"2026-05-{day:02d},plain,1,lost,3,,snag,reach,timber,no" for day in range(1, 13)]
    rows += [f"2026-05-{day:02d},plain,1,kept,3,,,reach,timber,no" for day in range(1, 13)]
    rows += [f"2026-05-{day:02d},plain,1,kept,6,,,pond,open,no" for day in range(13, 25)]
    section = whole(*rows, "2026-05-13,plain,1,lost,1,,snag,pond,open,no")
    said = finding(section, "contrast", "habitat, snags: open")
    assert said.text.endswith(
        "But baits in open were only fished at pond, so it may be the water, and no advice is drawn from it."
    )
    assert not section.actions


def test_only_what_has_hours_and_ends_enough_is_compared() -> None:
    section = whole(*bitten("no", 6, 30), *bitten("wire", 1, 3, "open"))
    assert {row["factor"] for row in records(section, "contrasts")} == set()
    assert {entry.group for entry in section.findings if entry.id == "logrank"} == set()
    note = table(section, "contrasts").note
    for factor in ("leader", "coat", "guard", "water", "habitat"):
        assert factor in note


def test_two_names_for_the_same_baits_are_one_comparison() -> None:
    section = whole(*bitten("no", 30, 10), *bitten("wire", 5, 45, "open"), *bitten("no", 3, 20, "open"))
    compared = records(section, "contrasts")
    # Weeds against elsewhere and open against elsewhere are the same baits turned round: one test, not two.
    assert len(compared) == 4
    by_p = sorted({(row["factor"], number(row["p"]), number(row["p_adjusted"])) for row in compared})
    assert len(by_p) == 3
    assert max(p for _, p, _ in by_p) == pytest.approx(max(adjusted for _, _, adjusted in by_p))


def test_a_ratio_that_is_hardly_known_is_never_printed() -> None:
    """15 times (2.5 to 599) says no more than `more often`."""
    section = whole(*bitten("no", 12, 40), *bitten("wire", 1, 60))
    said = finding(section, "contrast", LEADER)
    assert said.high is None or said.high / number(said.low) > 10
    assert not re.search(r"about [\d.]+ times", said.text)
    assert "somewhere between" not in said.text


@pytest.mark.parametrize(
    ("ratio", "limits", "said"),
    [
        (4.0, (1.3, 13.0), "4 times as often (somewhere between 1.3 and 13)"),
        (0.25, (0.08, 0.8), "4 times as often (somewhere between 1.2 and 12)"),
        (1.0, (0.5, 2.0), "1 times as often (somewhere between 0.5 and 2)"),
        (4.0, (1.2, 12.1), "at least 1.2 times as often"),
        (math.inf, (1.25, math.inf), "at least 1.2 times as often"),
        (4.0, (1.19, 12.1), ""),
        (0.0, (0.0, 0.5), "at least 2 times as often"),
        (0.5, (0.0, math.inf), ""),
    ],
)
def test_how_much_more_often_is_said_as_far_as_the_limits_go(ratio, limits, said) -> None:
    contrast: Any = SimpleNamespace(rates=SimpleNamespace(ratio=ratio), adjusted=limits)
    assert how_much(contrast, "times as often") == said


def test_hours_in_use_are_said_to_what_a_person_can_know() -> None:
    said = [half_hours(hours) for hours in (0.02, 0.34, 0.94, 0.95, 1.24, 1.26, 3.4, 12.0)]
    assert said == [
        "5 minutes",
        "20 minutes",
        "55 minutes",
        "1 hour",
        "1 hour",
        "1½ hours",
        "3½ hours",
        "12 hours",
    ]
    assert half_hours(3.4, unit=False) == "3½"


def test_an_unclear_comparison_is_kept_for_the_json() -> None:
    section = whole(*bitten("no", 30, 10), *bitten("wire", 10, 40))
    clear = finding(section, "contrast", "leader: no leader")
    assert not clear.quiet
    assert clear.text.startswith("With a leader, baits lasted ")
    assert "10 lost in 50 hours of fishing, against 30 in 40 hours without a leader" in clear.text
    quiet = finding(whole(*bitten("no", 12, 20), *bitten("wire", 10, 26)), "contrast", "leader: no leader")
    assert quiet.quiet
    assert quiet.text.startswith("No clear difference. With a leader, baits lasted")


def on(water: str, rows: Sequence[str]) -> list[str]:
    """The same rows fished elsewhere."""
    return [row.replace(",pond,", f",{water},") for row in rows]


def test_a_leader_only_ever_used_on_one_water_is_not_advised() -> None:
    made = (*bitten("no", 30, 10), *on("reach", bitten("wire", 5, 45)))
    section = whole(*made)
    said = finding(section, "contrast", LEADER)
    assert said.more["confounded_by"] == "water"
    assert "baits without a leader were only fished at pond, so it may be the water" in said.text
    assert section.actions == ()
    both_waters = whole(*made, *on("reach", bitten("no", 30, 10)), *bitten("wire", 5, 45))
    assert finding(both_waters, "contrast", LEADER).more["confounded_by"] is None
    assert [action.id for action in both_waters.actions] == ["tie_a_leader"]


def test_a_fitting_of_one_build_is_one_test_with_it() -> None:
    bench = BENCH.replace("[items.weed-guard]", '[items.rattle]\nkind = "fitting"\n[items.weed-guard]')
    bench += "[builds.noisy]\nhead = { mold = 'ball', cavity = '1/8' }\nfittings = { rattle = 1 }\n"
    rows = []
    for day in range(1, 11):
        rows += [f"2026-05-{day:02d},noisy,1,lost,2,,torn,,,", f"2026-05-{day:02d},noisy,1,kept,1,,,,,"]
        rows += [f"2026-05-{day:02d},plain,1,kept,2.6,,,,,".replace("2.6", "3")]
    rows += [f"2026-05-{day:02d},plain,1,lost,,,torn,,," for day in (2, 5, 8)]
    made = make_season(bench, {"baits.csv": HEADER + "\n".join(rows) + "\n"})
    section = ANALYSIS.analyse(made.season, made.whole)
    compared = {(row["factor"], row["group"]): row for row in records(section, "contrasts")}
    assert set(compared) == {("rattle", "no rattle"), ("build", "noisy")}
    assert all(row["p_adjusted"] == pytest.approx(row["p"]) for row in compared.values())
    assert all(row["confounded_by"] is None for row in compared.values()), "build and rattle are one"
    assert "Without rattle, baits lasted " in finding(section, "contrast", "rattle: no rattle").text


def test_untagged_rows_are_said_to_be_taken_as_new() -> None:
    section = whole("2026-05-01,plain,1,lost,3,,snag,,,", "2026-05-02,plain,2,kept,,A,,,,")
    loose = finding(section, "untagged")
    assert (loose.value, loose.n) == (3, 4)
    assert "3 of 4 baits bore no tag" in loose.text
    tagged = whole("2026-05-02,plain,2,kept,,A,,,,")
    assert not [entry for entry in tagged.findings if entry.id == "untagged"]


def test_the_card_says_what_takes_baits_how_long_they_last_and_what_would_keep_them() -> None:
    section = whole(*bitten("no", 30, 10), *bitten("wire", 5, 45))
    (card,) = section.cards
    assert (card.id, card.order) == ("baits", 40)
    assert [line.label for line in card.lines] == [
        "What takes them",
        "How long they last",
        "What would keep them",
    ]
    assert card.lines[0].text == "35 bitten off"
    assert card.lines[2].text == "tie a leader where pickerel or other teeth hunt"
    ids = {entry.id for entry in section.findings}
    assert all(set(line.findings) <= ids for line in card.lines)
    made = fished(*bitten("no", 30, 10), *bitten("wire", 5, 45), month="2026-05")
    assert not ANALYSIS.analyse(made.season, made.period).cards


def test_an_open_question_is_priced_in_hours_and_trips_leader_first() -> None:
    section = whole(*bitten("no", 4, 10), *bitten("wire", 3, 10))
    priced = finding(section, "settled_by", "leader, bite offs")
    assert priced.value is not None
    assert priced.quiet
    assert priced.value > (65.3 - 7) * 20 / 7 * 0.9, "so few losses tell next to nothing"
    assert section.unsaid.startswith("Leader or none: about ")
    assert "benchwater sheets --trial leader" in section.unsaid
    answered = whole(*bitten("no", 30, 10), *bitten("wire", 5, 45))
    assert "Leader or none" not in answered.unsaid
