"""Ticks: round numbers and round days within the limits, never more than asked for."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchwater.drawing.axes import round_days, round_numbers

LIMITS = st.tuples(st.floats(-1e6, 1e6), st.floats(1e-3, 1e9))


@given(LIMITS, st.integers(1, 9))
def test_numbers_lie_within_the_limits_evenly_and_read_as_they_are(pair: tuple[float, float], most: int):
    low, high = pair[0], pair[0] + pair[1]
    places, names = round_numbers(low, high, most)
    assert len(places) <= most + 1
    slack = 1e-6 * (high - low)
    assert all(low - slack <= place <= high + slack for place in places)
    assert places == sorted(set(places))
    assert len(set(names)) == len(names)
    for place, name in zip(places, names, strict=True):
        assert float(name.replace("\u2212", "-")) == pytest.approx(place, abs=slack)


@pytest.mark.parametrize(
    ("limits", "names"),
    [
        ((0, 1), "0.0 0.2 0.4 0.6 0.8 1.0"),
        ((0, 104), "0 20 40 60 80 100"),
        ((-1.2, 1.2), "\u22121.0 \u22120.5 0.0 0.5 1.0"),
        ((182, 438), "200 250 300 350 400"),
        ((0, 0.013), "0.0000 0.0025 0.0050 0.0075 0.0100 0.0125"),
        ((0, 9.9e6), "0 2000000 4000000 6000000 8000000"),
    ],
)
def test_numbers_are_written_with_as_many_decimals_as_the_step_has(limits: tuple[float, float], names: str):
    assert round_numbers(*limits, 6)[1] == names.split()


@pytest.mark.parametrize(
    ("first", "last", "most", "names"),
    [
        (date(2026, 5, 1), date(2026, 5, 6), 8, "1 May, 2 May, 3 May, 4 May, 5 May, 6 May"),
        (date(2026, 5, 1), date(2026, 5, 31), 5, "1 May, 8 May, 15 May, 22 May"),
        (date(2026, 3, 1), date(2026, 8, 1), 8, "1 Mar, 1 Apr, 1 May, 1 Jun, 1 Jul, 1 Aug"),
        (date(2026, 3, 1), date(2026, 11, 1), 5, "1 Mar, 1 May, 1 Jul, 1 Sep, 1 Nov"),
        (date(2017, 3, 1), date(2026, 10, 20), 5, "Jan 2018, Jan 2020, Jan 2022, Jan 2024, Jan 2026"),
        (date(2025, 11, 20), date(2027, 2, 3), 4, "Jan 2026, Jul 2026, Jan 2027"),
    ],
)
def test_days_are_those_a_calendar_would_mark(first: date, last: date, most: int, names: str):
    places, told = round_days(first.toordinal(), last.toordinal(), most)
    assert ", ".join(told) == names
    assert all(first.toordinal() <= place <= last.toordinal() for place in places)


@given(st.integers(1, 3_000_000), st.integers(0, 40_000), st.integers(1, 9))
def test_days_are_never_more_than_fit(first: int, days: int, most: int):
    places, names = round_days(first, first + days, most)
    assert len(places) == len(names) <= most
