"""Rows set aside are as often the bad ones: no share of bad castings is smaller for that in silence."""

from dataclasses import replace
from datetime import date

import pytest

from benchwater.plugin import Section
from benchwater.testing import MadeSeason, finding, make_season
from poured_seasons import ANALYSIS, BENCH, HEADER, check

GOOD = [
    f"2026-05-{day:02},ball,large,good,{count},{day},,,," for day, count in enumerate([20] * 10 + [18], 1)
]
"""218 good castings."""


def season_with(*refused: str, words: str = "") -> MadeSeason:
    bench = BENCH.replace("UNITS", "us").replace("PRICE", "").replace("MASS", "") + words
    logs = {"pour.csv": "\n".join([HEADER, *GOOD, *refused, ""])}
    return make_season(bench, logs, rows_may_be_set_aside=True)


def section_with(*refused: str, words: str = "") -> Section:
    made = season_with(*refused, words=words)
    section = ANALYSIS.analyse(made.season, made.whole)
    check(section)
    return section


def bad_rows(word: str) -> list[str]:
    """32 castings in 14 rows: 13 % of all 250."""
    return [f"2026-05-{day:02},ball,large,{word},{2 if day > 4 else 3},{day},,,," for day in range(1, 15)]


def test_rows_with_a_word_for_bad_that_nobody_knows_do_not_leave_0_of_218_as_the_reject_rate() -> None:
    section = section_with(*bad_rows("sploosh"))
    rate = finding(section, "reject_rate", "ball")
    assert (rate.value, rate.n) == (0.0, 218)
    assert rate.more["bound_low"] == 0.0
    assert rate.more["bound_high"] == pytest.approx(32 / 250)
    assert rate.low == 0.0
    assert rate.high is not None
    assert rate.high >= 32 / 250, "the limit of all of them bad"
    assert "32 more are set aside" in rate.text
    assert "13 %" in rate.text
    assert section.status == "thin"
    assert "[words.values]" in section.why
    assert "`sploosh`" in section.why
    assert "14 rows count" in section.why
    assert section.actions == ()
    assert section.cards == ()
    made = season_with(*bad_rows("sploosh"))
    assert ANALYSIS.vitals is not None
    assert [each.value for each in ANALYSIS.vitals(made.season, made.whole)] == [218, None]


def test_the_word_said_once_settles_it() -> None:
    section = section_with(*bad_rows("sploosh"), words='\n[words.values]\nsploosh = "reject"\n')
    rate = finding(section, "reject_rate", "ball")
    assert rate.value == pytest.approx(32 / 250)
    assert "bound_low" not in rate.more
    assert "set aside" not in section.why


def test_rows_whose_outcome_could_be_read_count_as_that_in_the_bounds() -> None:
    section = section_with(*(row.replace("large", "huge") for row in bad_rows("reject")))
    rate = finding(section, "reject_rate", "ball")
    assert rate.more["bound_low"] == rate.more["bound_high"] == pytest.approx(32 / 250)
    section = section_with(*(row.replace("large", "huge") for row in bad_rows("good")))
    assert "bound_low" not in finding(section, "reject_rate", "ball").more


def test_a_row_or_two_that_cannot_move_the_share_are_passed_over() -> None:
    section = section_with("2026-05-14,ball,large,sploosh,1,9,,,,", "2026-05-14,ball,large,blank,x,9,,,,")
    assert "bound_low" not in finding(section, "reject_rate", "ball").more
    assert "set aside" not in section.why


def test_a_span_of_refused_rows_alone_does_not_say_that_no_casting_was_logged() -> None:
    made = season_with("2026-06-01,wide,only,sploosh,3,1,,,,", "2026-07-01,wide,only,blank,3,1,,,,")
    june = replace(made.period, start=date(2026, 6, 1), end=date(2026, 7, 1))
    section = ANALYSIS.analyse(made.season, june)
    assert "set aside" in section.why
