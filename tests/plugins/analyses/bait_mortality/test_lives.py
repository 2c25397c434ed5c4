"""What a bait's life is made of: tags, trips, late entry, gaps."""

import pytest

from benchwater.plugin import Section
from benchwater.testing import finding, records
from fished_seasons import ANALYSIS, fished, number, of_all, whole


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
    assert "More than half" in median.text
    assert "2.5 h" in median.text
    assert mean.more["horizon_h"] == 2.5
    assert mean.value == pytest.approx(1 + 5 / 6 * 1.5)


def test_a_median_that_rests_on_few_baits_says_so() -> None:
    section = whole("2026-05-01,plain,1,kept,8,,,,,", "2026-05-01,plain,3,lost,2,,snag,,,")
    assert finding(section, "median_life").value == 3
    assert finding(section, "median_life").text.endswith("; only 2 were followed so far.")


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
    single = whole(*(f"2026-05-{day:02d},{row.format(1)}" for row in rows for day in range(1, 7)))
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
