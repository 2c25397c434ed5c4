"""The baits of the demo season, against what was built into it."""

from functools import cache

import pytest

from benchwater.pipeline import Request, choose_spans, gather, read_workspace
from benchwater.plugin import Section
from benchwater.testing import MadeSeason, finding, records
from fished_seasons import ANALYSIS, ROOT, TRUTH, number, of_all


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
