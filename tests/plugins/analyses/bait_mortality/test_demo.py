"""The baits of the demo season, against what was built into it."""

import pytest

from benchwater.plugin import Section
from benchwater.testing import finding, records
from fished_seasons import ANALYSIS, number, of_all


@pytest.fixture(scope="module")
def section(demo) -> Section:
    return ANALYSIS.analyse(demo().season, demo().whole)


def test_demo_every_end_of_use_in_the_log_is_counted(demo, section) -> None:
    log = demo().season.rows("fishing", demo().whole)
    ended = int(log.loc[log["fate"].isin(["lost", "worn"]), "count"].sum())
    assert sum(number(row["baits"]) for row in records(section, "losses")) == ended
    assert finding(section, "loss_rate").n == ended
    assert sum(number(row["lost"]) for row in of_all(section)) == ended


def test_demo_the_leader_contrast_covers_the_truth_and_is_advised(truth, section) -> None:
    ratio = truth["bait_ends_per_hour"]["ratio_without_to_with_leader"]
    drawn = truth["bite_offs_drawn"]
    contrast = next(row for row in records(section, "contrasts") if row["factor"] == "leader, bite offs")
    assert number(contrast["low"]) < ratio
    assert contrast["high"] is None
    assert contrast["confounded_by"] is None
    rates = [drawn[group]["bite_offs"] / drawn[group]["hours"] for group in ("no leader", "leader")]
    assert contrast["ratio"] == pytest.approx(rates[0] / rates[1], rel=0.01)
    advice = next(action for action in section.actions if action.id == "tie_a_leader")
    assert "leader" in advice.text
    assert 0 < number(advice.worth) < 10, "of September and October, not of the season"


def test_demo_timber_is_where_the_snags_are(truth, section) -> None:
    rates = truth["bait_ends_per_hour"]
    contrast = next(
        row
        for row in records(section, "contrasts")
        if (row["factor"], row["group"]) == ("habitat, snags", "timber")
    )
    assert number(contrast["low"]) < rates["snag_timber"] / rates["snag_elsewhere"]
    assert contrast["confounded_by"] == "water", "timber is at Mill reach only"
    assert "snags_timber" not in {action.id for action in section.actions}


def test_demo_few_losses_of_july_show_no_leader_by_permutation(demo) -> None:
    """Ten losses, three of them with a leader: the chi-square test alone gave p = 0.036."""
    made = demo("2026-07")
    found = finding(ANALYSIS.analyse(made.season, made.period), "logrank", "leader")
    assert number(found.more["p"]) > 0.1


@pytest.mark.parametrize("month", [f"2026-{month:02d}" for month in range(3, 11)])
def test_demo_every_month_stands(month: str, demo) -> None:
    made = demo(month)
    section = ANALYSIS.analyse(made.season, made.period)
    assert section.status in {"ok", "thin"}
    assert all("nan" not in entry.text for entry in section.findings)
    log = made.season.rows("fishing", made.period)
    ended = int(log.loc[log["fate"] != "kept", "count"].sum())
    assert sum(number(row["baits"]) for row in records(section, "losses")) == ended
