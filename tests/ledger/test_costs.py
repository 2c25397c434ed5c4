"""Moving-average prices worked out by hand; sums of estimates by the published square-and-add rule."""

import math
from datetime import datetime

import pytest

from benchwater.ledger.costs import (
    cost_of_reject,
    exactly,
    from_uncertainty,
    rejects_per_good,
    scaled,
    sum_erring_together,
    sum_of_estimates,
    unit_prices,
)
from benchwater.statistics.interval import Interval
from benchwater.statistics.proportions import wilson_interval
from benchwater.testing import make_season
from reference_cases import reference_case

BENCH = """
[bench]
name = "Test bench"
units = "metric"
season = { start = "03-01" }
[items.alloy]
kind = "metal"
unit = "g"
scale = { resolution = "1 g" }
[items.hook]
kind = "insert"
pack = 50
price = 10.00
[items.bead]
kind = "fitting"
[molds.ball]
material = "alloy"
[[molds.ball.cavities]]
name = "1/4"
mass = "10 g"
insert = "hook"
"""
STOCK = "date,item,move,amount,cost,uncertainty,note\n"
POUR = "date,mold,cavity,outcome,count\n"


def price(item: str, stock: str, pour: str = "", up_to: str = "2026-04-01") -> float | None:
    logs = {"stock.csv": STOCK + stock} | ({"pour.csv": POUR + pour} if pour else {})
    return unit_prices(make_season(BENCH, logs).season, datetime.fromisoformat(up_to))[item]


def test_receipts_average_with_what_is_on_hand() -> None:
    found = price(
        "hook",
        "2026-03-02,hook,received,100,22.00,,\n2026-03-05,hook,used,40,,,\n"
        "2026-03-09,hook,received,50,13.00,,\n2026-03-10,hook,used,90,,,\n"
        "2026-03-12,hook,received,30,9.00,,\n",
    )
    # 100 at 0.22; 60 left and 50 at 0.26: (13.20 + 13.00) / 110; 20 left of those and 30 at 0.30.
    second = (60 * 0.22 + 13.00) / 110
    assert found == pytest.approx((20 * second + 9.00) / 50)


def test_castings_good_or_bad_take_stock_before_the_next_receipt() -> None:
    stock = "2026-03-02,hook,received,100,20.00,,\n2026-03-20,hook,received,50,20.00,,\n"
    pour = "2026-03-09,ball,1/4,good,30\n2026-03-09,ball,1/4,reject,20\n"
    # 50 hooks left the shop in castings: 50 at 0.20 and 50 at 0.40.
    assert price("hook", stock, pour) == pytest.approx(0.30)


def test_a_count_corrects_what_the_next_receipt_averages_with() -> None:
    stock = "2026-03-02,alloy,received,1000 g,10.00,,\n2026-03-03,alloy,counted,1000 g,,,\n"
    stock += "2026-03-10,alloy,counted,500 g,,,\n2026-03-20,alloy,received,500 g,10.00,,\n"
    assert price("alloy", stock) == pytest.approx((500 * 0.01 + 10) / 1000)


def test_the_opening_stock_takes_the_price_of_the_first_receipt() -> None:
    stock = "2026-03-01,hook,counted,400,,,\n2026-03-02,hook,received,100,22.00,,\n"
    assert price("hook", stock) == pytest.approx(0.22)
    # The 500 then on hand are worth 0.22 each: (500 * 0.22 + 40) / 600.
    assert price("hook", stock + "2026-03-03,hook,received,100,40.00,,\n") == pytest.approx(0.25)


def test_a_gift_comes_in_at_the_average_and_widens_the_base_of_the_next() -> None:
    stock = "2026-03-02,hook,received,50,10.00,,\n2026-03-03,hook,received,50,,,a gift\n"
    found = price("hook", stock)
    assert found == 0.2
    assert price("hook", stock + "2026-03-04,hook,received,100,40.00,,\n") == pytest.approx(0.30)


def test_two_receipts_of_one_day_average_with_each_other() -> None:
    stock = "2026-03-02,hook,received,50,10.00,,\n2026-03-02,hook,received,150,60.00,,\n"
    assert price("hook", stock) == pytest.approx(0.35)


def test_more_used_than_was_ever_there_is_no_negative_stock() -> None:
    stock = "2026-03-02,hook,received,50,10.00,,\n2026-03-03,hook,used,70,,,\n"
    assert price("hook", stock + "2026-03-04,hook,received,50,15.00,,\n") == pytest.approx(0.30)


def test_what_comes_later_does_not_count() -> None:
    stock = "2026-03-02,hook,received,50,10.00,,\n2026-03-20,hook,received,50,90.00,,\n"
    found = price("hook", stock, up_to="2026-03-20")
    assert found == 0.2


def test_without_a_cost_the_bench_tells_and_without_that_nobody() -> None:
    assert price("hook", "2026-03-02,hook,received,50,,,\n") == 0.2
    assert price("bead", "2026-03-02,bead,received,50,,,\n") is None


def test_a_receipt_that_states_nothing_was_paid_is_believed() -> None:
    assert price("bead", "2026-03-02,bead,received,50,0.00,,\n") == 0.0


def test_a_reject_costs_its_insert_at_the_book_price_as_far_as_it_is_lost_with_it() -> None:
    def cost(bench: str, stock: str) -> float | None:
        pour = "2026-03-02,ball,1/4,good,20\n2026-03-02,ball,1/4,reject,20\n"
        return cost_of_reject(
            make_season(bench, {"stock.csv": STOCK + stock, "pour.csv": POUR + pour}).season, "ball", "1/4"
        )

    bought = "2026-03-01,hook,received,80,16.00,,\n2026-03-09,hook,received,40,16.00,,\n"
    # 40 left in castings, good or bad: 40 at 0.20 and 40 at 0.40; the mean of what was paid would be 0.27.
    assert cost(BENCH, bought) == pytest.approx(0.30)
    assert cost(BENCH, bought + "2026-03-10,hook,recovered,15,,,\n") == pytest.approx(0.30 * 5 / 20)
    assert cost(BENCH, bought + "2026-03-10,hook,discarded,10,,,\n") == pytest.approx(0.30)
    assert cost(BENCH.replace('insert = "hook"', ""), bought) == 0.0
    assert cost(BENCH.replace("pack = 50\nprice = 10.00", ""), "") is None


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
