"""Sums of estimates: the published square-and-add rule, and the law of propagation as its symmetric case."""

import math

import pytest

from benchwater.ledger.bait_costs import (
    exactly,
    from_uncertainty,
    rejects_per_good,
    scaled,
    sum_erring_together,
    sum_of_estimates,
)
from benchwater.statistics.interval import Interval
from benchwater.statistics.proportions import wilson_interval
from reference_cases import reference_case


def test_normal_limits_combine_by_the_law_of_propagation() -> None:
    total = sum_of_estimates([from_uncertainty(10.0, 0.3), from_uncertainty(5.0, 0.4), exactly(1.0)])
    assert total.estimate == 16.0
    assert total.high - 16 == pytest.approx(1.959964 * 0.5)
    assert 16 - total.low == pytest.approx(1.959964 * 0.5)


def test_uneven_limits_combine_as_newcombes_difference_of_two_proportions() -> None:
    # Newcombe 1998, Statistics in Medicine 17:873-890, method 10; includes an arm without events.
    case = reference_case("propdiff_newcombe")
    differences = []
    for x1, n1, x2, n2 in zip(*(case.numbers(name) for name in ("x1", "n1", "x2", "n2")), strict=True):
        one, two = wilson_interval(x1, n1), wilson_interval(x2, n2)
        minus_two = Interval(estimate=-two.estimate, low=-two.high, high=-two.low, level=0.95)
        differences.append(sum_of_estimates([one, minus_two]))
    found = {
        "diff": [each.estimate for each in differences],
        "lower": [each.low for each in differences],
        "upper": [each.high for each in differences],
    }
    for key, values in found.items():
        expected, tol = case.answer(key)
        assert values == pytest.approx(expected, abs=tol)
    for key in ("lower", "upper"):
        assert found[key] == pytest.approx(case.published[key]["value"], abs=case.published[key]["tol"])


def test_rejects_per_good_piece_are_the_odds_of_a_bad_one() -> None:
    found, yielded = rejects_per_good(76, 20), wilson_interval(76, 96)
    assert found.estimate == 20 / 76
    assert found.low == pytest.approx(1 / yielded.high - 1)
    assert found.high == pytest.approx(1 / yielded.low - 1)
    assert rejects_per_good(5, 0).low == 0.0
    with pytest.raises(ValueError, match="without a good piece"):
        rejects_per_good(0, 3)


def test_what_errs_together_adds_its_limits() -> None:
    one = from_uncertainty(2.0, 0.1)
    total = sum_erring_together([(3.0, one), (2.0, one)])
    assert (total.estimate, total.low) == pytest.approx((10.0, 5 * one.low))
    assert sum_erring_together([]) == exactly(0.0)


def test_a_factor_of_zero_silences_a_boundless_limit() -> None:
    none = scaled(Interval(estimate=1.0, low=0.0, high=math.inf, level=0.95), 0.0)
    assert none == exactly(0.0)
    with pytest.raises(ValueError, match="at least 0"):
        scaled(none, -1.0)
