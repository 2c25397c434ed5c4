import pytest

from benchwater.plugin import CureWindow
from finishing.compute import cure_verdict

WINDOW = CureWindow(min_temp_c=175.0, max_temp_c=210.0, min_time_h=0.25, max_time_h=0.5)


@pytest.mark.parametrize(
    ("temp", "time", "verdict"),
    [
        (190.0, 0.3, "in the window"),
        (175.0, 0.25, "in the window"),
        (210.0, 0.5, "in the window"),
        (174.9, 0.3, "too cool"),
        (210.1, 0.3, "too hot"),
        (190.0, 0.2, "too short"),
        (190.0, 0.6, "too long"),
        (230.0, 0.1, "too hot"),
        (None, 0.3, "not recorded"),
        (190.0, None, "not recorded"),
        (None, None, "not recorded"),
        (None, 0.1, "too short"),
        (230.0, None, "too hot"),
    ],
)
def test_a_cure_against_a_whole_window(temp, time, verdict):
    assert cure_verdict(temp, time, WINDOW) == verdict


def test_an_end_that_is_not_stated_does_not_bind_and_needs_no_record():
    assert cure_verdict(400.0, None, CureWindow(min_temp_c=175.0)) == "in the window"
    assert cure_verdict(None, 0.1, CureWindow(max_time_h=0.5)) == "in the window"
    assert cure_verdict(None, None, CureWindow()) == "no window stated"


def test_the_ends_survive_conversion_from_fahrenheit_and_minutes():
    low, short = (350 - 32) / 1.8, 15 / 60
    assert (
        cure_verdict(low - 1e-12, short - 1e-12, CureWindow(min_temp_c=low, min_time_h=short))
        == "in the window"
    )
