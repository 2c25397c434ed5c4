import pytest

from benchwater.ledger.cure import SOFTENING_MARGIN_C, cure_verdict, softens

WINDOW = {"min_temp_c": 175.0, "max_temp_c": 210.0, "min_time_h": 0.25, "max_time_h": 0.5}


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
    assert cure_verdict(temp, time, **WINDOW) == verdict


def test_an_end_that_is_not_stated_does_not_bind_and_needs_no_record():
    assert cure_verdict(400.0, None, min_temp_c=175.0) == "in the window"
    assert cure_verdict(None, 0.1, max_time_h=0.5) == "in the window"
    assert cure_verdict(None, None) == "in the window"


def test_the_ends_survive_conversion_from_fahrenheit_and_minutes():
    low, short = (350 - 32) / 1.8, 15 / 60
    assert cure_verdict(low - 1e-12, short - 1e-12, min_temp_c=low, min_time_h=short) == "in the window"


def test_a_cure_must_stay_a_margin_below_where_the_alloy_begins_to_melt():
    assert softens(200.0, 138.0)
    assert softens(200.0, 183.0)
    assert not softens(200.0, 252.0)
    assert softens(240.0 + SOFTENING_MARGIN_C, 250.0 + SOFTENING_MARGIN_C)
    assert not softens(239.9, 250.0)
    assert softens(249.0, 250.0, margin_c=2.0)
    assert not softens(247.0, 250.0, margin_c=2.0)
