"""Words on the page: nothing unseen, nothing endless, spans in plain English."""

from datetime import date

import pytest

from benchwater.plugin.season import Span
from benchwater.render.text import LONG_WORD, PIECE, pieces, span_title
from benchwater.words import shorten, visible


@pytest.mark.parametrize(
    ("text", "seen"),
    [
        ("3⁄8 oz, ½ mold, 日本, é", "3⁄8 oz, ½ mold, 日本, é"),
        ("one\r\n\ttwo", "one   two"),
        ("\x1b]0;title\x07", "\\x1b]0;title\\x07"),
        ("\u202egnp\u2066\u200b\ufeff", "\\u202egnp\\u2066\\u200b\\ufeff"),
        ("\ud800\U000e0041", "\\ud800\\U000e0041"),
        ("👨\u200d🔧", "👨\u200d🔧"),
    ],
)
def test_what_cannot_be_seen_is_spelled_out(text: str, seen: str) -> None:
    assert visible(text) == seen


@pytest.mark.parametrize(
    "text", ["", "a b", "pour-log_2026/may-final-version.csv", "W" * 500, "-" * 60, " x  y "]
)
def test_long_words_may_break_and_lose_nothing(text: str) -> None:
    parts = pieces(text)
    assert "".join(parts) == text
    assert all(len(word) <= max(PIECE + 1, LONG_WORD) for part in parts for word in part.split())
    assert len(shorten(text, 20)) <= 20


@pytest.mark.parametrize(
    ("name", "start", "end", "title"),
    [
        ("period", date(2026, 5, 1), date(2026, 6, 1), "May 2026"),
        ("period", date(2025, 12, 1), date(2026, 1, 1), "December 2025"),
        ("period", date(2026, 5, 4), date(2026, 5, 18), "4 May to 17 May 2026"),
        ("season", date(2026, 3, 1), date(2026, 6, 1), "Season to date: 1 March to 31 May 2026"),
        (
            "season",
            date(2025, 11, 1),
            date(2026, 3, 1),
            "Season to date: 1 November 2025 to 28 February 2026",
        ),
    ],
)
def test_a_span_is_named_in_words(name: str, start: date, end: date, title: str) -> None:
    span = Span(name="season" if name == "season" else "period", label="", start=start, end=end)
    assert span_title(span) == title
