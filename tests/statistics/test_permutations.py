"""Beside the matrices that say the same at a hundred times the memory."""

from itertools import combinations

import numpy as np
import pytest
from scipy.special import expit

from benchwater.statistics.permutations import DRAWS, SEED, Swaps, draw_block
from catch_rate.catch_rates import compare_rates_within, deal_sums


def sign_matrix(units):
    if units <= 12:
        return 1.0 - 2.0 * (np.arange(2**units)[:, np.newaxis] >> np.arange(units) & 1)
    return np.random.default_rng(SEED).integers(0, 2, size=(DRAWS, units)) * 2.0 - 1.0


def deal_matrix(units, first):
    chosen = np.array(list(combinations(range(units), first)))
    if len(chosen) > DRAWS:
        chosen = np.random.default_rng(SEED).random((DRAWS, units)).argsort(axis=1, kind="stable")[:, :first]
    deals = np.zeros((len(chosen), units))
    for deal, of_first in zip(deals, chosen, strict=True):
        deal[of_first] = 1.0
    return deals


@pytest.mark.parametrize("units", [0, 1, 2, 8, 12, 13, 64, 701, 20])
def test_swaps_are_those_of_the_matrix_whatever_was_asked_before(units):
    values = np.random.default_rng(units).normal(size=units)
    swaps = Swaps(units)
    assert swaps.every_way == (units <= 12)
    assert swaps.sums(values) == pytest.approx(sign_matrix(units) @ values, rel=1e-12, abs=1e-12)


@pytest.mark.parametrize(("units", "first"), [(1, 1), (6, 2), (9, 9), (14, 6), (20, 1), (21, 11)])
def test_deals_are_those_of_the_matrix(units, first):
    values = np.random.default_rng(units).normal(size=(units, 3))
    sums, every_way = deal_sums(values, first)
    deals = deal_matrix(units, first)
    assert every_way == (len(deals) < DRAWS)
    assert sums == pytest.approx(deals @ values, rel=1e-12, abs=1e-12)


@pytest.mark.parametrize("seed", range(4))
def test_limits_of_hundreds_of_trips_are_those_of_the_draws(seed):
    """They come from the normal distribution, those held against them from 4999 draws."""
    dice = np.random.default_rng(seed)
    hours1, hours2 = dice.choice([0.5, 1.0, 2.0], (2, 350))
    fish1 = dice.poisson(dice.choice([0.4, 1.0, 3.0]) * hours1 * dice.gamma(2, 0.5, 350))
    fish2 = dice.poisson(hours2 * dice.gamma(2, 0.5, 350))
    found = compare_rates_within(fish1, hours1, fish2, hours2)
    bears = fish1 + fish2 > 0
    signs, both = sign_matrix(int(bears.sum())), (fish1 + fish2)[bears]

    def refused(log_ratio):
        score = fish1[bears] - both * expit(log_ratio + np.log(hours1 / hours2)[bears])
        extreme = np.abs(signs @ score) >= abs(score.sum()) - 1e-9 * (1 + abs(score.sum()))
        return (1 + extreme.sum()) / (1 + DRAWS) <= 0.05

    for limit, end in zip(found.limits(), (-20.0, 20.0), strict=True):
        kept, gone = np.log(found.ratio), end
        while abs(gone - kept) > 1e-3:
            middle = (kept + gone) / 2
            kept, gone = (kept, middle) if refused(middle) else (middle, gone)
        assert limit == pytest.approx(np.exp((kept + gone) / 2), rel=0.02)


def test_every_block_gives_each_treatment_as_often_and_the_same_seed_the_same_lot():
    for block in range(1, 40):
        lot = draw_block("leader", block, 3, 6)
        assert np.bincount(lot).tolist() == [2, 2, 2]
        assert lot.tolist() == draw_block("leader", block, 3, 6).tolist()
    assert len({tuple(draw_block("leader", block, 2, 4)) for block in range(200)}) == 6
    with pytest.raises(ValueError, match="do not divide"):
        draw_block("leader", 1, 2, 3)
