"""The balance of the demo season, against what was built into it."""

from functools import cache

import pytest

from benchwater.plugin import Section
from benchwater.testing import finding, records
from stocked_seasons import ANALYSIS, ENTERS, LEAVES, MONTHS, number


@pytest.fixture(scope="module")
def parts(demo):
    """Return a function that gives the sections of a month by span."""

    @cache
    def of(month: str) -> dict[str, Section]:
        made = demo(month)
        return {span.name: ANALYSIS.analyse(made.season, span) for span in (made.period, made.whole)}

    return of


@pytest.mark.parametrize("month", MONTHS)
def test_demo_closes_but_for_the_story(month: str, truth, parts) -> None:
    off = {row["item"]: row["verdict"] for row in records(parts(month)["period"], "balance")}
    story = {
        truth["missing_alloy"]["month"]: {"alloy": "missing"},
        truth["unlogged_purchase"]["month"]: {truth["unlogged_purchase"]["item"]: "surplus"},
    }
    assert {item: verdict for item, verdict in off.items() if verdict != "closes"} == story.get(month, {})


@pytest.mark.parametrize("month", MONTHS)
def test_demo_rows_add_up(month: str, parts) -> None:
    for section in parts(month).values():
        for row in records(section, "balance"):
            book = number(row["opening"]) + sum(number(row[name]) for name in ENTERS)
            book -= sum(number(row[name]) for name in LEAVES)
            assert row["book_closing"] == pytest.approx(book, abs=1e-9)
            off = number(row["book_closing"]) - number(row["counted_closing"])
            assert row["unaccounted"] == pytest.approx(off, abs=1e-9)


def test_demo_missing_alloy_is_found_with_an_interval_that_holds_it(truth, parts) -> None:
    grams = truth["missing_alloy"]["grams"]
    for section in (
        parts("2026-06")["period"],
        parts("2026-06")["season"],
        parts("2026-10")["season"],
    ):
        found = finding(section, "unaccounted", "alloy")
        assert found.low is not None
        assert found.high is not None
        assert found.low <= grams <= found.high
    text = finding(parts("2026-10")["season"], "imbalance_chi2", "alloy").text
    assert "left without a row between 31 May and 30 June." in text


def test_demo_unlogged_hooks_are_found_to_the_piece(truth, parts) -> None:
    story = truth["unlogged_purchase"]
    assert (
        finding(parts(story["month"])["period"], "unaccounted", story["item"]).value == story["unaccounted"]
    )
    text = finding(parts("2026-10")["season"], "imbalance_chi2", story["item"]).text
    assert "50 came in without a row between 31 August and 30 September." in text


def test_demo_first_sentence_says_what_is_off(parts) -> None:
    first = parts("2026-10")["season"].findings[0]
    assert first.headline
    assert first.text.startswith(
        "From 1 March to 31 October 2 of 15 books do not close: alloy (1.09 lb missing)"
    )
    assert parts("2026-07")["period"].findings[0].text.startswith("In July the books of all 15 items close")


def test_demo_section_is_the_same_every_time(parts) -> None:
    assert parts.__wrapped__("2026-10") == parts("2026-10")
