"""Fills for a random yield, and the chance that no build runs out, against brute force."""

from itertools import product

import numpy as np
import pytest
from scipy.stats import betabinom

from benchwater.statistics.stock_level import GammaRate, predictive_cdf
from pour_plan.promise import (
    MOST_FILLS,
    CavityYield,
    Stocked,
    are_drawn,
    chance_of_enough,
    expected_shortage,
    fills_for_level,
    plan_fills,
    posterior_share,
    session_spread,
)

HEAD, TAIL, OTHER = ("jig", "head"), ("jig", "tail"), ("ball", "head")
YIELDS = {
    HEAD: CavityYield(share=0.8, castings=12, per_fill=2),
    TAIL: CavityYield(share=0.6, castings=20, per_fill=3),
    OTHER: CavityYield(share=0.9, castings=8, per_fill=1),
}


@pytest.mark.parametrize("casting", YIELDS)
def test_good_castings_are_beta_binomial_and_fills_the_fewest_that_do(casting: tuple[str, str]) -> None:
    cavity = YIELDS[casting]
    a, b = cavity.share * cavity.castings, (1 - cavity.share) * cavity.castings
    good = betabinom(7 * cavity.per_fill, a, b)
    assert cavity.at_most(7) == pytest.approx(good.cdf(np.arange(7 * cavity.per_fill + 1)))
    for needed, sure in product((1, 4, 25), (0.5, 0.9, 0.99)):
        fills = cavity.fills_for(needed, sure)
        enough = [1 - betabinom(n * cavity.per_fill, a, b).cdf(needed - 1) for n in range(fills + 1)]
        assert enough[-1] >= sure > enough[-2]


def test_a_yield_of_next_to_nothing_stops_at_the_most_fills_that_are_planned() -> None:
    assert CavityYield(share=0.01, castings=100, per_fill=1).fills_for(50, 0.9) == MOST_FILLS
    assert YIELDS[HEAD].fills_for(0, 0.9) == 0


def test_the_yields_of_as_many_cavities_as_are_bounded_are_drawn(monkeypatch) -> None:
    monkeypatch.setattr("pour_plan.promise.MOST_DRAWN", 2)
    assert [are_drawn([HEAD, TAIL, OTHER][:count]) for count in (2, 3)] == [True, False]


def test_a_mold_takes_the_fills_of_its_most_demanding_cavity() -> None:
    needed = {HEAD: 4, TAIL: 1, OTHER: 2}
    each = {casting: YIELDS[casting].fills_for(count, 0.9) for casting, count in needed.items()}
    assert plan_fills(needed, YIELDS, 0.9) == {"jig": max(each[HEAD], each[TAIL]), "ball": each[OTHER]}


def test_one_session_tells_less_of_the_next_than_its_castings_seem_to() -> None:
    # Alike to 0.1 in sessions of 41: however many there were, the next one is worth 9 castings at most.
    assert session_spread(1e9, 5.0, 41.0, 10.0) == pytest.approx(9.0, rel=1e-3)
    assert session_spread(0.0, 1.0, 1.0, 10.0) == pytest.approx(10.0)


BUILDS = (
    Stocked(rate=GammaRate(shape=4, exposure=20), hours=10, stock=5, lacking={HEAD: 3}),
    Stocked(rate=GammaRate(shape=2, exposure=10), hours=10, stock=4, lacking={HEAD: 1, TAIL: 2}),
    Stocked(rate=GammaRate(shape=9, exposure=30), hours=10, stock=7, lacking={}),
)
NEEDED = {HEAD: 4, TAIL: 2}


def test_the_chance_that_no_build_runs_out_is_that_of_every_yield_weighed() -> None:
    fills = {"jig": 3}
    exact = 0.0
    of = [
        betabinom(3 * y.per_fill, y.share * y.castings, (1 - y.share) * y.castings) for y in YIELDS.values()
    ][:2]
    for heads, tails in product(range(7), range(10)):
        short = {HEAD: max(0, 4 - heads), TAIL: max(0, 2 - tails)}
        held = 1.0
        for build in BUILDS:
            gone = [-(-short[casting] * lack // NEEDED[casting]) for casting, lack in build.lacking.items()]
            held *= predictive_cdf(build.rate, build.hours, build.stock - max(gone, default=0))
        exact += float(of[0].pmf(heads) * of[1].pmf(tails)) * held
    assert chance_of_enough(BUILDS, NEEDED, YIELDS, fills) == pytest.approx(exact, abs=0.003)
    assert chance_of_enough(BUILDS[2:], {}, YIELDS, {}) == predictive_cdf(BUILDS[2].rate, 10, 7)


def test_fills_for_a_level_reach_it_with_none_to_spare() -> None:
    most = chance_of_enough(BUILDS, NEEDED, YIELDS, {"jig": 60})
    for level in (0.6 * most, 0.9 * most, 0.99 * most):
        fills = fills_for_level(BUILDS, NEEDED, YIELDS, level)
        assert chance_of_enough(BUILDS, NEEDED, YIELDS, fills) >= level
        one_less = {"jig": fills["jig"] - 1}
        if fills != plan_fills(NEEDED, YIELDS, 0.5):
            assert chance_of_enough(BUILDS, NEEDED, YIELDS, one_less) < level


def test_of_more_cavities_than_are_drawn_every_one_is_made_sure_and_the_promise_is_the_least(monkeypatch):
    drawn = chance_of_enough(BUILDS, NEEDED, YIELDS, {"jig": 3})
    monkeypatch.setattr("pour_plan.promise.MOST_DRAWN", 1)
    held = np.prod([predictive_cdf(build.rate, build.hours, build.stock) for build in BUILDS])
    yielded = [
        betabinom(3 * y.per_fill, y.share * y.castings, (1 - y.share) * y.castings).sf(NEEDED[of] - 1)
        for of, y in YIELDS.items()
        if of in NEEDED
    ]
    least = chance_of_enough(BUILDS, NEEDED, YIELDS, {"jig": 3})
    assert least == pytest.approx(held * np.prod(yielded))
    assert least < drawn
    level = 0.9 * float(held)
    fills = fills_for_level(BUILDS, NEEDED, YIELDS, level)
    assert chance_of_enough(BUILDS, NEEDED, YIELDS, fills) >= level
    assert fills == plan_fills(NEEDED, YIELDS, 0.9**0.5)


def test_a_share_is_drawn_to_its_prior() -> None:
    assert posterior_share(0, 0, 0.8, 10) == 0.8
    assert posterior_share(30, 30, 0.8, 10) == pytest.approx(38 / 40)
    assert (posterior_share(1, 3, 0.0, 1), posterior_share(1, 3, 1.0, 1)) == (0.25, 0.5)


def test_no_exposure_misses_nothing() -> None:
    assert expected_shortage(GammaRate(shape=2, exposure=3), 0.0, 0) == 0.0
