"""Values of every kind an analysis may hold become numbers, days their ordinals."""

import math
from datetime import date, datetime

import numpy as np
import pandas as pd
import pytest

from benchwater.drawing.axes import are_days, numbers

NOON = date(2026, 5, 3).toordinal() + 0.5


@pytest.mark.parametrize(
    "moment",
    [
        datetime(2026, 5, 3, 12),
        pd.Timestamp("2026-05-03 12:00"),
        np.datetime64("2026-05-03T12:00"),
        np.datetime64("2026-05-03T12:00:00.000000000"),
    ],
)
def test_a_moment_is_a_part_of_its_day(moment: object):
    assert numbers([moment]) == [NOON]
    assert are_days([moment])


def test_what_is_missing_is_no_number():
    told = numbers([1, None, math.nan, pd.NaT, np.datetime64("NaT", "s"), np.float64(2.5), True])
    assert [each for each in told if not math.isnan(each)] == [1.0, 2.5, 1.0]
    assert len(told) == 7


def test_columns_and_arrays_are_read_as_lists_are():
    days = pd.Series([pd.Timestamp("2026-05-03 12:00"), pd.NaT])
    assert numbers(days)[0] == numbers(days.to_numpy())[0] == NOON
    assert numbers(np.array([1, 2])) == [1.0, 2.0]
    assert not are_days(np.array([1, 2]))
