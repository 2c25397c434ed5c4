"""Rows set aside are as often the lost baits: no loss rate is smaller for that in silence."""

import pytest

from benchwater.plugin import Section
from benchwater.testing import finding, make_season
from fished_seasons import ANALYSIS, BENCH, HEADER

KEPT = [f"2026-05-{day:02},plain,4,{'lost' if day % 5 == 3 else 'kept'},1,,,,," for day in range(1, 21)]
"""80 hours of fishing, 4 baits lost."""


def section_with(*refused: str, words: str = "") -> Section:
    logs = {"baits.csv": HEADER + "\n".join([*KEPT, *refused, ""])}
    made = make_season(BENCH + words, logs, rows_may_be_set_aside=True)
    return ANALYSIS.analyse(made.season, made.whole)


def gone(word: str) -> list[str]:
    """30 baits in 60 hours."""
    return [f"2026-05-{day:02},plain,2,{word},3,,,,," for day in range(1, 11)]


def test_rows_with_a_word_for_lost_that_nobody_knows_bound_the_loss_rate() -> None:
    section = section_with(*gone("glorped"))
    rate = finding(section, "loss_rate")
    assert rate.value == pytest.approx(4 / 80)
    assert rate.more["bound_low"] == pytest.approx(4 / 140)
    assert rate.more["bound_high"] == pytest.approx(34 / 140)
    assert rate.low is not None
    assert rate.high is not None
    assert rate.low <= 4 / 140
    assert rate.high >= 34 / 140
    assert not rate.quiet
    assert section.status == "thin"
    assert "`glorped`" in section.why
    assert "10 rows count" in section.why
    assert section.actions == ()
    assert section.cards == ()


def test_the_word_said_once_settles_it() -> None:
    section = section_with(*gone("glorped"), words='\n[words.values]\nglorped = "lost"\n')
    rate = finding(section, "loss_rate")
    assert rate.value == pytest.approx(34 / 140)
    assert "bound_low" not in rate.more
    assert "set aside" not in section.why


def test_a_row_that_cannot_move_the_rate_is_passed_over() -> None:
    section = section_with("2026-06-01,plain,2,glorped,1,,,,,")
    assert "bound_low" not in finding(section, "loss_rate").more
