from datetime import date

import pandas as pd
import pytest

from benchwater.plugin import Season, Span
from benchwater.testing import make_season
from small_bench import SMALL_BENCH

LOG = """\
date,mold,cavity,outcome,count
2026-02-27,round-jig,1/8,good,1
2026-04-30,round-jig,1/8,good,2
2026-05-01,round-jig,1/8,good,3
2026-05-31 23:59,round-jig,1/8,good,4
2026-06-01,round-jig,1/8,good,5
"""
FISHED = """\
date,build,fished,fate,habitat
2026-05-01,perch-grub,2 h,kept,weeds; rock
"""


def test_a_season_holds_rows_before_the_reports_end_only():
    made = make_season(SMALL_BENCH, {"pour.csv": LOG}, month="2026-05")
    assert made.season.log("pour")["count"].tolist() == [1, 2, 3, 4]
    assert made.season.rows("pour", made.period)["count"].tolist() == [3, 4]
    assert made.season.rows("pour", made.whole)["count"].tolist() == [2, 3, 4]
    assert made.season.before("pour", date(2026, 3, 1))["count"].tolist() == [1]


def test_words_are_categories_in_alphabetical_order_without_those_of_later_rows():
    log = LOG.replace("good,1", "reject,1").replace("good,5", "blank,5")
    made = make_season(SMALL_BENCH, {"pour.csv": log}, month="2026-05")
    outcome = made.season.log("pour")["outcome"]
    assert outcome.cat.categories.tolist() == ["good", "reject"]
    assert (outcome == "good").tolist() == [False, True, True, True]
    assert made.season.rows("pour", made.period)["outcome"].astype("str").tolist() == ["good", "good"]


def write_over(table):
    table["count"] = 0


def write_cells(table):
    table.loc[:, "count"] = 0
    table.iloc[0, table.columns.get_loc("line")] = 999


def write_in_place(table):
    table["count"] += 1
    table.insert(0, "mine", 1)
    del table["date"]
    table.index.name = table.columns.name = "mine"


def write_to_the_array(table):
    with pytest.raises(ValueError, match="read-only"):
        table["count"].to_numpy()[:] = 0
    with pytest.raises(ValueError, match="read-only"):
        table["habitat"].to_numpy()[0] = ()


@pytest.mark.parametrize("write", [write_over, write_cells, write_in_place, write_to_the_array])
def test_an_analysis_cannot_change_the_tables_of_another(write):
    made = make_season(SMALL_BENCH, {"pour.csv": LOG, "fishing.csv": FISHED}, month="2026-05")
    ways = (
        lambda season, kind: season.log(kind),
        lambda season, kind: season.rows(kind, made.whole),
        lambda season, kind: season.before(kind, date(2026, 6, 1)),
    )
    kind = "fishing" if write is write_to_the_array else "pour"
    before = [way(made.season, kind).copy(deep=True) for way in ways]
    for way in ways:
        write(way(made.season, kind))
    for way, wanted in zip(ways, before, strict=True):
        found = way(made.season, kind)
        pd.testing.assert_frame_equal(found, wanted)
        assert found.index.name is found.columns.name is None


def test_unsorted_rows_are_selected_by_span():
    made = make_season(SMALL_BENCH, {"pour.csv": LOG}, month="2026-05")
    mixed = made.season.log("pour").iloc[[3, 0, 2, 1]]
    season = Season(made.season.bench, {"pour": mixed}, made.season.start, made.season.end)
    assert season.rows("pour", made.whole)["count"].tolist() == [4, 3, 2]
    assert season.before("pour", date(2026, 3, 1))["count"].tolist() == [1]


def test_a_season_has_a_span_of_days():
    span = Span(name="season", label="s", start=date(2026, 3, 1), end=date(2026, 6, 1))
    with pytest.raises(AttributeError):
        span.start = date(2026, 1, 1)  # type: ignore[misc]


def test_an_unknown_log_is_refused_with_those_there_are():
    season = make_season(SMALL_BENCH, {"pour.csv": LOG}, month="2026-05").season
    with pytest.raises(KeyError, match=r"no log 'puor' \(there are: builds, catch, finishing, .*pour\)"):
        season.log("puor")
    assert not season.holds("puor")
