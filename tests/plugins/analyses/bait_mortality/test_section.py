"""The section of made seasons: lives of baits, few rows, odd rows, none."""

import math
from collections.abc import Sequence

import pytest

from benchwater.plugin import Section
from benchwater.testing import finding, records, table
from fished_seasons import ANALYSIS, CONTRACT, MIXED, bitten, fished, number, of_all, whole


def steps(section: Section) -> list[tuple[object, ...]]:
    return [(row["time_h"], row["at_risk"], row["lost"]) for row in of_all(section)]


def test_a_tagged_baits_hours_add_up_over_trips() -> None:
    section = whole(
        "2026-05-01,plain,1:15,kept,,A,,,,",
        "2026-05-08,plain,20 min,kept,,A,,,,",
        "2026-05-09,plain,20 min,kept,,A,,,,",
        "2026-05-10,plain,20 min,lost,,A,snag,,,",
        "2026-05-10,plain,2.25,lost,,B,snag,,,",
    )
    assert steps(section) == [(2.25, 2, 2)]
    rate = finding(section, "loss_rate")
    assert (rate.n, rate.more["baits"]) == (2, 2)
    assert rate.more["bait_hours"] == pytest.approx(4.5)


def test_the_same_tag_on_another_build_is_another_bait() -> None:
    section = whole("2026-05-01,plain,1,lost,,A,snag,,,", "2026-05-02,guarded,2,lost,,A,snag,,,")
    assert steps(section) == [(1.0, 2, 1), (2.0, 1, 1)]


def test_a_used_bait_enters_its_second_month_late() -> None:
    made = fished(
        "2026-05-01,plain,2,kept,,A,,,,",
        "2026-06-01,plain,45 min,lost,,A,torn,,,",
        "2026-06-02,plain,1,lost,,,torn,,,",
        "2026-06-02,plain,3,kept,,,,,,",
        month="2026-06",
    )
    june = ANALYSIS.analyse(made.season, made.period)
    assert steps(june) == [(1.0, 2, 1), (2.75, 2, 1)]
    assert [row["survival"] for row in of_all(june)] == [0.5, 0.25]
    assert finding(june, "loss_rate").more["bait_hours"] == pytest.approx(4.75)
    season = ANALYSIS.analyse(made.season, made.whole)
    assert steps(season) == [(1.0, 3, 1), (2.75, 2, 1)]


def test_hours_fished_before_the_season_count() -> None:
    made = fished("2026-02-01,plain,4,kept,,A,,,,", "2026-03-05,plain,1,lost,,A,snag,,,", month="2026-03")
    assert steps(ANALYSIS.analyse(made.season, made.whole)) == [(5.0, 1, 1)]


def test_a_kept_bait_is_followed_and_not_counted_as_lost() -> None:
    section = whole("2026-05-01,plain,1,lost,,,snag,,,", "2026-05-01,plain,2,kept,3,,,,,")
    assert steps(section) == [(1.0, 4, 1)]
    assert of_all(section)[0]["survival"] == 0.75
    median = finding(section, "median_life")
    assert (median.value, median.low, median.high) == (None, None, None)


def test_until_half_have_ended_the_median_says_how_many_are_left() -> None:
    section = whole("2026-05-01,plain,1,lost,,,snag,,,", "2026-05-01,plain,2.75,kept,5,,,,,")
    median, mean = finding(section, "median_life"), finding(section, "mean_life")
    assert median.value is None
    assert median.text == (
        "More than half of your baits were still in use after 2½ hours of fishing; too few were fished "
        "longer to say how long one lasts."
    )
    assert mean.more["horizon_h"] == 2.5
    assert mean.value == pytest.approx(1 + 5 / 6 * 1.5)


def test_a_median_that_rests_on_few_baits_is_not_said() -> None:
    section = whole("2026-05-01,plain,1,kept,8,,,,,", "2026-05-01,plain,3,lost,2,,snag,,,")
    assert finding(section, "median_life").value == 3
    assert "too few were fished longer" in finding(section, "median_life").text


def test_the_life_of_baits_is_said_once_in_hours_a_person_can_know() -> None:
    hours = ("1.7", "2.2", "2.6", "3.1", "3.4", "3.8", "4.4", "5.1", "6.2", "7.4")
    section = whole(
        *(f"2026-05-{day:02d},plain,{each},lost,,,snag,,," for day, each in enumerate(hours, start=1))
    )
    median = finding(section, "median_life")
    assert (median.value, median.quiet) == (3.4, False)
    assert median.text == "Half of your baits were gone after about 3½ hours of fishing (1½ to 5)."
    said = [entry for entry in section.findings if not entry.quiet]
    assert [entry.id for entry in said if entry.unit in {"h", "1/h"}] == ["median_life"]


def test_a_curve_that_starts_among_too_few_gives_no_length_of_life() -> None:
    made = fished(
        *(f"2026-05-01,plain,1,kept,,{tag},,,," for tag in "ABCDEFGH"),
        *(f"2026-06-01,plain,1,kept,,{tag},,,," for tag in "ABCDEFGH"),
        "2026-06-01,plain,30 min,lost,,,snag,,,",
        "2026-06-01,plain,2,kept,,,,,,",
        month="2026-06",
    )
    june = ANALYSIS.analyse(made.season, made.period)
    assert [row["survival"] for row in of_all(june)] == [0.5]
    for id in ("median_life", "mean_life"):
        assert finding(june, id).value is None
        assert finding(june, id).text.startswith("Too few baits were followed from their first hours")


def test_a_row_of_several_baits_equals_as_many_rows() -> None:
    rows = ["plain,1,lost,{},,snag,pond,,no", "plain,2,kept,{},,,pond,,yes", "plain,3,worn,{},,torn,pond,,no"]
    counted = whole(*(f"2026-05-01,{row.format(6)}" for row in rows))
    single = whole(*(f"2026-05-01 {hour:02d}:00,{row.format(1)}" for row in rows for hour in range(6, 12)))
    assert counted.findings == single.findings
    assert counted.tables == single.tables
    assert [figure.alt for figure in counted.figures] == [figure.alt for figure in single.figures]


def test_a_tag_that_goes_on_after_its_loss_is_a_new_bait() -> None:
    section = whole(
        "2026-05-01,plain,1,kept,,A,,,,",
        "2026-05-02,plain,2,lost,,A,snag,,,",
        "2026-05-03,plain,1.5,kept,,A,,,,",
        "2026-05-04,plain,30 min,worn,,A,torn,,,",
    )
    assert steps(section) == [(2.0, 2, 1), (3.0, 1, 1)]
    assert finding(section, "loss_rate").more["baits"] == 2
    reused = finding(section, "tags_used_again")
    assert reused.value == 1
    assert "1 tag went on" in reused.text


def test_a_used_bait_lost_without_time_fished_ends_where_it_stood() -> None:
    section = whole(
        "2026-05-01,plain,1,kept,,A,,,,",
        "2026-05-02,plain,0,lost,,A,snag,,,",
        "2026-05-02,plain,2,kept,2,,,,,",
        "2026-05-02,plain,0,lost,,,snag,,,",
        "2026-05-02,plain,0,kept,,A,,,,",
    )
    found = [(round(number(row["time_h"]), 4), row["at_risk"], row["lost"]) for row in of_all(section)]
    assert found == [(0.0, 5, 1), (1.0, 3, 1)]
    assert finding(section, "loss_rate").n == 2


def test_where_a_gap_parts_the_hours_the_curve_stops_before_it() -> None:
    made = fished(
        "2026-05-01,plain,9,kept,,A,,,,",
        "2026-06-01,plain,1,lost,,A,torn,,,",
        *(
            f"2026-06-{day:02d},plain,2,{'kept,,,,,,' if day > 3 else 'lost,,,snag,,,'}"
            for day in range(1, 11)
        ),
        month="2026-06",
    )
    section = ANALYSIS.analyse(made.season, made.period)
    assert steps(section) == [(2.0, 10, 3)]
    assert finding(section, "loss_rate").n == 4
    assert sum(number(row["baits"]) for row in records(section, "losses")) == 4


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
        assert "of 10 on 3 trips" in section.why
        assert not section.actions
        assert finding(section, "loss_rate").low is not None
    assert "4 lost baits of 74 on 12 trips" in few_ends.why
    assert whole(*bitten("no", 5, 5, trips=3)).status == "ok"
    assert "5 lost baits of 9" in few_baits.why


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
