"""Bad castings of the demo season, against what was built into it."""

from collections import Counter

import numpy as np
import pytest

from benchwater.pipeline import Request, choose_spans, gather, read_workspace
from benchwater.plugin import Finding, Season
from benchwater.testing import finding, records
from cost.bait_costs import season_facts
from poured_seasons import ANALYSIS, ROOT, TRUTH, check, demo, demo_section


def covers(entry: Finding, truth: float) -> bool:
    return (entry.low is None or entry.low <= truth) and (entry.high is None or truth <= entry.high)


def test_demo_the_window_covers_the_truth() -> None:
    check(demo_section())
    built = TRUTH["mold_temperature"]
    target, top = (finding(demo_section(), name, "round-jig") for name in ("target_temp", "window_high"))
    assert covers(target, built["window_all"]["low_c"])
    assert target.value == pytest.approx(built["window_all"]["low_c"], abs=6)
    assert top.value is not None
    assert top.value == pytest.approx(built["window_all"]["high_c"], abs=12)
    guard = built["window_by_cavity"]
    low, high = (guard[name]["low_c"] for name in ("guard-jig 1/4", "guard-jig 1/8"))
    assert covers(finding(demo_section(), "target_temp", "guard-jig"), (low + high) / 2)


def test_demo_the_worse_cavity_and_no_other_is_named() -> None:
    worst = TRUTH["mold_temperature"]["worst_cavity"]
    named = [action.id for action in demo_section().actions if action.id.startswith("cavity:")]
    assert named == [f"cavity:{worst['mold']} {worst['cavity']}"]


def test_demo_cold_sessions_are_beyond_the_limits() -> None:
    flagged = {str(row["session"])[:10] for row in records(demo_section(), "sessions") if row["signal"]}
    assert flagged == set(TRUTH["cold_sessions"])


def test_demo_heat_balance_follows_the_thermometer() -> None:
    off = [
        float(str(row["measured_c"])) - float(str(row["estimated_c"]))
        for row in records(demo_section(), "mold_heat")
        if row["measured_c"] is not None
    ]
    assert float(np.sqrt(np.mean(np.square(off)))) < 4


def test_demo_counts_are_the_logs() -> None:
    rows = demo().season.rows("pour", demo().whole)
    castings = rows[rows["outcome"] != "blank"]["count"].sum()
    whole = next(entry for entry in demo_section().findings if entry.group is None)
    assert whole.n == castings
    assert sum(int(str(row["castings"])) for row in records(demo_section(), "sessions")) == castings


def test_the_same_season_gives_the_same_section() -> None:
    assert ANALYSIS.analyse(demo().season, demo().whole) == demo_section()


def cold_rejects(season: Season, mold: str, below: float) -> Counter[str]:
    """By cavity, the short fills and cold shuts of fills that a thermometer found colder."""
    pour = season.log("pour")
    pour = pour[pour["mold"] == mold].assign(day=pour["date"].dt.date)
    temps = pour.groupby(["day", "fill"])["mold_temp_c"].first()
    cold = pour[(pour["outcome"] == "reject") & pour["flaw"].isin(["short fill", "cold shut"])]
    found: Counter[str] = Counter()
    for row in cold.to_dict("records"):
        found[row["cavity"]] += row["count"] if temps[row["day"], row["fill"]] < below else 0
    return found


def test_demo_bad_castings_are_worth_what_each_bait_cost_takes_for_their_inserts_in_every_month() -> None:
    workspace = read_workspace(ROOT / "sample_logs", workspace_plugins=False)
    off_the_mean, mold = 0.0, workspace.bench.molds["round-jig"]
    for month in range(3, 11):
        spans = choose_spans(workspace, Request(month=f"2026-{month:02}"))
        season = gather(workspace.reading, workspace.bench, spans)
        section, facts, cost = ANALYSIS.analyse(season, spans.season), season_facts(season), 0.0
        target = finding(section, "target_temp", mold.name).value
        assert target is not None
        for cavity, count in cold_rejects(season, mold.name, target).items():
            insert = mold.cavities[cavity].insert
            assert insert is not None
            price = facts.prices[insert]
            assert price.per_unit is not None
            cost += count * price.per_unit * facts.spoilt[insert]
            mean = price.spent / price.received if price.received else price.per_unit
            off_the_mean = max(off_the_mean, abs(price.per_unit - mean))
        told = next(action for action in section.actions if action.id == f"warm:{mold.name}")
        assert (told.worth, told.worth_unit) == (pytest.approx(cost), "money"), month
    assert off_the_mean > 0.001, "so that a plain mean of what was paid would not do"
