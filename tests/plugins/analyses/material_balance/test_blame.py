"""Slips of the pen: what they are named, and when they are left unnamed."""

import math

import pytest

from material_balance.compute import DECIMAL_SLIPS, likeliest_slip, unit_slips

MASSES = {"g": 1.0, "oz": 28.349523125, "lb": 453.59237}


def test_a_decimal_place_either_way() -> None:
    assert likeliest_slip(8000, 1, 801, 2, DECIMAL_SLIPS) == 10.0
    assert likeliest_slip(80, 1, 801, 2, DECIMAL_SLIPS) == 0.1
    assert likeliest_slip(8, 1, 801, 2, DECIMAL_SLIPS) == 0.01


def test_a_unit_for_another() -> None:
    slips = unit_slips(MASSES)
    assert len(slips) == 6
    assert likeliest_slip(35, 1, 992, 3, slips) == ("g", "oz")
    assert likeliest_slip(35 * 453.59237, 1, 992, 3, slips) == ("lb", "oz")


def test_the_nearest_of_two_that_fit() -> None:
    assert likeliest_slip(100, 1, 10.4, 0.4, {10.0: 10.0, 9.6: 9.6}) == 9.6


@pytest.mark.parametrize(
    ("found", "implied", "implied_u"),
    [
        (850, 801, 2),  # off, but by no slip
        (8000, 801, 80),  # the rest knows too little
        (8000, -800, 2),
        (0, 800, 2),
        (8000, math.nan, 2),
    ],
)
def test_no_slip_is_named_without_reason(found: float, implied: float, implied_u: float) -> None:
    assert likeliest_slip(found, 1, implied, implied_u, DECIMAL_SLIPS) is None
