from datetime import date

import pytest

from benchwater.analyse.spans import SpanError, month_spans, read_month, season_spans, trip_spans
from benchwater.plugin import Bench, Trip

BENCH = Bench(name="b", season_start=(3, 1))


def test_a_month_is_its_days_and_the_season_runs_to_its_end():
    spans = month_spans(date(2026, 5, 1), BENCH)
    assert (spans.period.start, spans.period.end) == (date(2026, 5, 1), date(2026, 6, 1))
    assert (spans.season.start, spans.season.end) == (date(2026, 3, 1), date(2026, 6, 1))
    assert spans.label == "2026-05"


def test_a_month_before_the_seasons_first_day_belongs_to_the_season_before():
    assert month_spans(date(2026, 2, 1), BENCH).season.start == date(2025, 3, 1)
    assert month_spans(date(2026, 12, 1), BENCH).period.end == date(2027, 1, 1)


def test_a_season_report_ends_with_the_month_of_the_last_row():
    spans = season_spans(date(2026, 10, 18), BENCH)
    assert (spans.season.start, spans.season.end) == (date(2026, 3, 1), date(2026, 11, 1))
    assert spans.parts == (spans.season,)


@pytest.mark.parametrize("text", ["May", "2026-13", "2026-00", "05-2026", "2026-5", "9999-01"])
def test_text_that_is_no_month_is_refused(text):
    with pytest.raises(SpanError, match="2026-05"):
        read_month(text)


def test_a_named_trip_is_a_report_of_its_days_and_an_unknown_one_names_the_nearest():
    trip = Trip(name="Spring open!", first=date(2026, 5, 9), last=date(2026, 5, 10))
    bench = Bench(name="b", season_start=(3, 1), trips={trip.name: trip})
    spans = trip_spans("Spring open!", bench)
    assert spans.label == "trip-2026-05-09-spring-open"
    assert (spans.period.start, spans.period.end) == (date(2026, 5, 9), date(2026, 5, 11))
    assert (spans.season.start, spans.season.end) == (date(2026, 3, 1), date(2026, 5, 11))
    with pytest.raises(SpanError, match="did you mean `Spring open!`"):
        trip_spans("Spring opn", bench)
    with pytest.raises(SpanError, match="names none under"):
        trip_spans("Spring open!", Bench(name="b"))


def test_a_season_report_ends_with_its_season_within_a_month():
    spans = season_spans(date(2026, 3, 5), Bench(name="b", season_start=(3, 15)))
    assert (spans.season.start, spans.season.end) == (date(2025, 3, 15), date(2026, 3, 15))
