"""Few rows, odd rows, none."""

import math
from collections.abc import Sequence

import pytest

from benchwater.testing import finding, table
from fished_seasons import ANALYSIS, CONTRACT, MIXED, bitten, fished, whole


def repeated(row: str, times: int) -> list[str]:
    """A row of its own for each of several baits; the day tells them apart."""
    return [f"2026-05-{day:02d},{row}" for day in range(1, times + 1)]


@pytest.mark.parametrize(
    "rows",
    [
        ["2026-05-01,plain,1,kept,,,,,,"],
        ["2026-05-01,plain,1,lost,,,snag,,,"],
        ["2026-05-01,plain,0,kept,,,,,,"],
        ["2026-05-01,plain,0,lost,,,snag,,,"],
        ["2026-05-01,plain,0,lost,7,,snag,,,", "2026-05-01,plain,0,kept,7,,,,,"],
        ["2026-05-01,plain,2,kept,50,,,pond,weeds,no"],
        ["2026-05-01,plain,2,lost,50,,bite off,pond,weeds,no"],
        ["2026-05-01,plain,2,lost,50,,bite off,pond,weeds,no", "2026-05-01,guarded,2,lost,50,,other,,,wire"],
        repeated("plain,1,lost,,A,snag,,,", 12),
        [*repeated("plain,1,kept,,A,,,,", 20), "2026-05-21,plain,1,lost,,A,torn,,,"],
        ["2026-05-01,plain,1 min,lost,9,,snag,,;,yes", "2026-05-01,plain,1 min,kept,9,,,,,no"],
    ],
    ids=[
        *(
            "one kept",
            "one lost",
            "none fished",
            "lost at once",
            "many lost at once",
            "none lost",
            "all lost",
        ),
        *("all lost of two builds", "one tag, many baits", "one bait, many trips", "minutes"),
    ],
)
def test_odd_logs_give_a_section_with_every_table(rows: Sequence[str]) -> None:
    section = whole(*rows)
    assert section.status in {"ok", "thin"}
    ids = {entry.id for entry in section.findings}
    assert {"loss_rate", "median_life", "mean_life"} <= ids
    for id, columns in CONTRACT.items():
        assert [column.name for column in table(section, id).columns][: len(columns)] == columns
    for entry in section.findings:
        for value in (entry.value, entry.low, entry.high):
            assert value is None or math.isfinite(value)
    for held in section.tables:
        cells = [cell for row in held.rows for cell in row]
        assert all(not isinstance(cell, float) or math.isfinite(cell) for cell in cells)
    assert all(figure.svg.startswith("<svg") and figure.alt for figure in section.figures)
    assert not section.actions


def test_few_baits_or_few_ends_are_thin_and_bring_no_advice() -> None:
    few_ends = whole(*bitten("no", 4, 30), *bitten("wire", 0, 40))
    few_baits = whole(*bitten("no", 5, 2), *bitten("wire", 0, 2))
    for section in (few_ends, few_baits):
        assert section.status == "thin"
        assert section.why.startswith("Only ")
        assert not section.actions
        assert finding(section, "loss_rate").low is not None
    assert "4 ends of use among 74 baits" in few_ends.why
    assert "5 ends of use among 9 baits" in few_baits.why


def test_without_losses_the_rate_has_an_upper_limit() -> None:
    rate = finding(whole("2026-05-01,plain,2,kept,5,,,,,"), "loss_rate")
    assert (rate.value, rate.low) == (0, 0)
    assert rate.high == pytest.approx(-math.log(0.025) / 10)
    assert "fewer than one in" in rate.text


def test_a_span_without_rows_is_empty() -> None:
    made = fished("2026-05-01,plain,1,lost,,,snag,,,", month="2026-06")
    assert ANALYSIS.analyse(made.season, made.period).status == "empty"
    assert ANALYSIS.analyse(made.season, made.whole).status == "thin"


def test_the_same_season_gives_the_same_section() -> None:
    assert whole(*MIXED) == whole(*MIXED)
