from datetime import date

import pytest

from benchwater.plugin import Span
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


def test_a_report_of_may_knows_may_and_what_came_before_and_nothing_of_june():
    made = make_season(SMALL_BENCH, {"pour.csv": LOG}, month="2026-05")
    assert made.season.log("pour")["count"].tolist() == [1, 2, 3, 4]
    assert made.season.rows("pour", made.period)["count"].tolist() == [3, 4]
    assert made.season.rows("pour", made.whole)["count"].tolist() == [2, 3, 4]
    assert made.season.before("pour", date(2026, 3, 1))["count"].tolist() == [1]


def test_what_one_analysis_does_to_its_tables_no_other_sees():
    made = make_season(SMALL_BENCH, {"pour.csv": LOG}, month="2026-05")
    for table in (made.season.log("pour"), made.season.rows("pour", made.whole)):
        table["count"] = 0
    assert made.season.log("pour")["count"].tolist() == [1, 2, 3, 4]


def test_a_season_is_known_by_a_span_of_days():
    span = Span(name="season", label="s", start=date(2026, 3, 1), end=date(2026, 6, 1))
    with pytest.raises(AttributeError):
        span.start = date(2026, 1, 1)  # type: ignore[misc]


def test_a_log_that_there_is_none_of_is_told_with_those_there_are():
    season = make_season(SMALL_BENCH, {"pour.csv": LOG}, month="2026-05").season
    with pytest.raises(KeyError, match=r"no log 'puor' \(there are: catch, finishing, .*pour\)"):
        season.log("puor")
    assert not season.holds("puor")
