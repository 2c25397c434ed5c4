import math

import pytest

from defect_rate.crossings import crossing_between, crossing_beyond, first_positive, lowest


def test_the_first_place_above_zero_is_found_in_either_direction() -> None:
    assert first_positive(lambda x: x - 2, 0.0, 10.0, 0.3) == pytest.approx(2, abs=1e-5)
    assert first_positive(lambda x: -x - 2, 0.0, -10.0, 0.3) == pytest.approx(-2, abs=1e-5)
    assert first_positive(lambda x: x - 9.99, 0.0, 10.0, math.inf) == pytest.approx(9.99, abs=1e-5)


def test_what_is_above_zero_from_the_start_or_nowhere_says_so() -> None:
    assert first_positive(lambda x: 1.0, 3.0, 4.0, 0.1) == 3.0
    assert first_positive(lambda x: -1.0, 3.0, 4.0, 0.1) is None
    assert first_positive(lambda x: -1.0, 3.0, 3.0, 0.1) is None


def test_a_crossing_that_is_never_met_lies_at_infinity() -> None:
    assert crossing_beyond(lambda x: x * x - 4, 0.0, -0.5) == pytest.approx(-2)
    assert crossing_beyond(lambda x: -1.0, 0.0, -0.5) == -math.inf


def test_infinite_values_do_not_stop_the_search() -> None:
    assert crossing_between(lambda x: math.inf if x > 1 else -1.0, 0.0, 3.0) == pytest.approx(1, abs=1e-6)


def test_the_lowest_place_may_be_an_edge() -> None:
    assert lowest(lambda x: (x - 1.234) ** 2, 0.0, 5.0) == pytest.approx(1.234, abs=1e-5)
    assert lowest(lambda x: x, 0.0, 5.0) == 0.0
