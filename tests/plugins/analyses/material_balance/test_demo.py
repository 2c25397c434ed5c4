"""The balance of the demo season, against what was built into it."""

from functools import cache

import pytest

from benchwater.pipeline import Request, Workspace, choose_spans, gather, read_workspace
from benchwater.plugin import Section
from benchwater.testing import finding, records
from stocked_seasons import ANALYSIS, ENTERS, LEAVES, MONTHS, ROOT, TRUTH, number


@cache
def demo() -> Workspace:
    return read_workspace(ROOT / "sample_logs", workspace_plugins=False)


@cache
def demo_parts(month: str) -> dict[str, Section]:
    spans = choose_spans(demo(), Request(month=month))
    season = gather(demo().reading, demo().bench, spans)
    return {span.name: ANALYSIS.analyse(season, span) for span in spans.parts}


@pytest.mark.parametrize("month", MONTHS)
def test_demo_closes_but_for_the_story(month: str) -> None:
    off = {row["item"]: row["verdict"] for row in records(demo_parts(month)["period"], "balance")}
    story = {
        TRUTH["missing_alloy"]["month"]: {"alloy": "missing"},
        TRUTH["unlogged_purchase"]["month"]: {TRUTH["unlogged_purchase"]["item"]: "surplus"},
    }
    assert {item: verdict for item, verdict in off.items() if verdict != "closes"} == story.get(month, {})


@pytest.mark.parametrize("month", MONTHS)
def test_demo_rows_add_up(month: str) -> None:
    for section in demo_parts(month).values():
        for row in records(section, "balance"):
            book = number(row["opening"]) + sum(number(row[name]) for name in ENTERS)
            book -= sum(number(row[name]) for name in LEAVES)
            assert row["book_closing"] == pytest.approx(book, abs=1e-9)
            off = number(row["book_closing"]) - number(row["counted_closing"])
            assert row["unaccounted"] == pytest.approx(off, abs=1e-9)


def test_demo_missing_alloy_is_found_with_an_interval_that_holds_it() -> None:
    grams = TRUTH["missing_alloy"]["grams"]
    for section in (
        demo_parts("2026-06")["period"],
        demo_parts("2026-06")["season"],
        demo_parts("2026-10")["season"],
    ):
        found = finding(section, "unaccounted", "alloy")
        assert found.low is not None
        assert found.high is not None
        assert found.low <= grams <= found.high
    text = finding(demo_parts("2026-10")["season"], "imbalance_chi2", "alloy").text
    assert "left without a row between 31 May and 30 June." in text


def test_demo_unlogged_hooks_are_found_to_the_piece() -> None:
    story = TRUTH["unlogged_purchase"]
    assert (
        finding(demo_parts(story["month"])["period"], "unaccounted", story["item"]).value
        == story["unaccounted"]
    )
    text = finding(demo_parts("2026-10")["season"], "imbalance_chi2", story["item"]).text
    assert "50 came in without a row between 31 August and 30 September." in text


def test_demo_first_sentence_says_what_is_off() -> None:
    assert demo_parts("2026-10")["season"].findings[0].text == (
        "The books of 13 of 15 items close. Not so: alloy (1.09 lb missing), hook-4 (50 more than the "
        "book says)."
    )


def test_demo_section_is_the_same_every_time() -> None:
    spans = choose_spans(demo(), Request(month="2026-10"))
    season = gather(demo().reading, demo().bench, spans)
    first = demo_parts("2026-10")
    again = {span.name: ANALYSIS.analyse(season, span) for span in spans.parts}
    assert again == first
