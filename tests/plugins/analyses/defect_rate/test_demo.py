"""Bad castings of the demo season, against what was built into it."""

import re
from collections import Counter

import numpy as np
import pytest

from benchwater.ledger import recent
from benchwater.ledger.costs import season_facts
from benchwater.plugin import Action, Finding, Season, Section
from benchwater.testing import finding, records
from poured_seasons import ANALYSIS, check


@pytest.fixture(scope="module")
def section(demo) -> Section:
    return ANALYSIS.analyse(demo().season, demo().whole)


def covers(entry: Finding, truth: float) -> bool:
    return (entry.low is None or entry.low <= truth) and (entry.high is None or truth <= entry.high)


def test_demo_the_window_covers_the_truth(truth, section) -> None:
    check(section)
    built = truth["mold_temperature"]
    target, top = (finding(section, name, "round-jig") for name in ("target_temp", "window_high"))
    assert covers(target, built["window_all"]["low_c"])
    assert target.value == pytest.approx(built["window_all"]["low_c"], abs=6)
    assert top.value is not None
    assert top.value == pytest.approx(built["window_all"]["high_c"], abs=12)
    guard = built["window_by_cavity"]
    low, high = (guard[name]["low_c"] for name in ("guard-jig 1/4", "guard-jig 1/8"))
    assert covers(finding(section, "target_temp", "guard-jig"), (low + high) / 2)


def test_demo_the_worse_cavity_and_no_other_is_named(truth, section) -> None:
    worst = truth["mold_temperature"]["worst_cavity"]
    named = [action.id for action in section.actions if action.id.startswith("cavity:")]
    assert named == [f"cavity:{worst['mold']} {worst['cavity']}"]


def test_demo_cold_sessions_are_beyond_the_limits(truth, section) -> None:
    flagged = {str(row["session"])[:10] for row in records(section, "sessions") if row["signal"]}
    assert flagged == set(truth["cold_sessions"])


def test_demo_heat_balance_follows_the_thermometer(section) -> None:
    off = [
        float(str(row["measured_c"])) - float(str(row["estimated_c"]))
        for row in records(section, "mold_heat")
        if row["measured_c"] is not None
    ]
    assert float(np.sqrt(np.mean(np.square(off)))) < 4


def advice_of(demo, month: str) -> dict[str, Action]:
    made = demo(month)
    return {each.id: each for each in ANALYSIS.analyse(made.season, made.whole).actions}


def test_demo_what_march_taught_holds_in_july_and_hot_castings_of_august_are_to_do(demo) -> None:
    assert not advice_of(demo, "2026-03")["warm:round-jig"].holds
    july, august = advice_of(demo, "2026-07"), advice_of(demo, "2026-08")
    assert july["warm:round-jig"].holds
    assert "In June and July, at any heat: 4 of 135" in july["warm:round-jig"].because
    assert not august["rest:round-jig"].holds
    assert (august["rest:round-jig"].worth or 0) > 0
    assert "In July and August" in august["rest:round-jig"].because


def test_demo_a_mold_has_one_upper_end_wherever_it_stands(demo, section) -> None:
    end = re.search(r"to about (\d+ °F)", finding(section, "target_temp", "round-jig").text)
    assert end is not None
    card = next(each for each in section.cards if each.id == "mold:round-jig")
    stop = next(line.text for line in card.lines if line.label == "Stop at")
    assert stop.startswith(end[1])
    rest = next(each for each in section.actions if each.id == "rest:round-jig")
    assert rest.text == f"Rest round-jig when it reads more than {end[1]}"


def test_demo_the_card_of_a_mold_says_what_is_done_at_the_bench(section) -> None:
    card = next(each for each in section.cards if each.id == "mold:round-jig")
    labels = [line.label for line in card.lines]
    assert labels == ["Start at", "Best", "Stop at", "Blank fills", "Worst cavity", "Yield"]
    assert "warm a cold mold dry first" in card.lines[3].text
    assert all(line.findings for line in card.lines)


def test_demo_a_month_is_as_sure_as_the_season_knows_its_sessions(demo) -> None:
    """August has one or two sessions a mold, which alone would say next to nothing of how they differ."""
    made = demo("2026-08")
    month, whole = (ANALYSIS.analyse(made.season, span) for span in (made.period, made.whole))
    total, known = (
        next(each for each in part.findings if (each.id, each.group) == ("reject_rate", None))
        for part in (month, whole)
    )
    assert total.more["design_effect"] == known.more["design_effect"]
    assert total.high is not None
    assert total.high < 0.6, "its own four sessions of three molds would say 0.85"


def test_demo_counts_are_the_logs(demo, section) -> None:
    rows = demo().season.rows("pour", demo().whole)
    castings = rows[rows["outcome"] != "blank"]["count"].sum()
    whole = next(entry for entry in section.findings if entry.group is None)
    assert whole.n == castings
    assert sum(int(str(row["castings"])) for row in records(section, "sessions")) == castings


def test_the_same_season_gives_the_same_section(demo, section) -> None:
    assert ANALYSIS.analyse(demo().season, demo().whole) == section


def cold_rejects(season: Season, mold: str, below: float) -> Counter[str]:
    """By cavity, the short fills and cold shuts of recent fills that a thermometer found colder."""
    pour = season.rows("pour", recent(season, "pour"))
    pour = pour[pour["mold"] == mold].assign(day=pour["date"].dt.date)
    temps = pour.groupby(["day", "fill"])["mold_temp_c"].first()
    cold = pour[(pour["outcome"] == "reject") & pour["flaw"].isin(["short fill", "cold shut"])]
    found: Counter[str] = Counter()
    for row in cold.to_dict("records"):
        found[row["cavity"]] += row["count"] if temps[row["day"], row["fill"]] < below else 0
    return found


def test_demo_bad_castings_are_worth_what_each_bait_cost_takes_for_their_inserts_in_every_month(demo) -> None:
    mold = demo().season.bench.molds["round-jig"]
    for month in range(3, 11):
        made = demo(f"2026-{month:02}")
        section, facts, cost = ANALYSIS.analyse(made.season, made.whole), season_facts(made.season), 0.0
        target = finding(section, "target_temp", mold.name).more["start_at_c"]
        assert isinstance(target, float)
        for cavity, count in cold_rejects(made.season, mold.name, target).items():
            insert = mold.cavities[cavity].insert
            assert insert is not None
            price = facts.prices[insert]
            assert price is not None
            cost += count * price * facts.spoilt[insert]
        told = next(action for action in section.actions if action.id == f"warm:{mold.name}")
        assert (told.worth or 0.0) == pytest.approx(cost), month
        assert told.worth_unit == ("money" if cost else None)


def test_what_would_tell_the_warmth_of_a_mold_is_said_in_fills_and_evenings(demo) -> None:
    made = demo("2026-10")
    section = ANALYSIS.analyse(made.season, made.whole)
    (settled,) = [each for each in section.findings if each.id == "settled_by"]
    assert settled.group == "pea-jig"
    assert settled.text in section.unsaid
    poured = section.findings  # no reading of pea-jig is logged: 30 castings, or what 5 flaws take
    rate = next(each for each in poured if each.id == "reject_rate" and each.group == "pea-jig")
    assert rate.value is not None
    assert settled.value == pytest.approx(max(30, 5 / rate.value))
