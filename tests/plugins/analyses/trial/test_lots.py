"""The randomisation test by hand, by enumeration and by simulated trials."""

import itertools

import numpy as np
import pytest

from benchwater.statistics.permutations import draw_block
from benchwater.statistics.rates import events_needed
from trial.lots import randomisation_test


def test_a_small_trial_has_the_p_value_of_its_lots_counted_by_hand():
    """Five blocks of two, an hour each: one more event without the treatment in each block; 2 of 32 lots."""
    block = np.repeat(np.arange(5), 2)
    treatment = np.tile([0, 1], 5)
    events = np.tile([1.0, 0.0], 5)
    test = randomisation_test(events, np.ones(10), treatment, block)
    assert test.exact
    assert test.p == pytest.approx(2 / 32)
    assert (test.ratio, test.low, test.high) == (0.0, 0.0, None)


def test_unequal_hours_agree_with_an_enumeration_of_all_lots():
    generator = np.random.default_rng(7)
    block = np.repeat(np.arange(4), 2)
    treatment = np.array([0, 1, 1, 0, 0, 1, 1, 0])
    exposure, events = generator.uniform(0.5, 2, 8), generator.poisson(1.0, 8).astype(float)
    expected = exposure * np.repeat(
        [events[block == b].sum() / exposure[block == b].sum() for b in range(4)], 2
    )
    residual = events - expected
    found = []
    for swaps in itertools.product([False, True], repeat=4):
        lot = np.where(np.repeat(swaps, 2), 1 - treatment, treatment)
        found.append(residual[lot == 0].sum() ** 2 + residual[lot == 1].sum() ** 2)
    by_hand = np.mean(np.array(found) >= found[0] - 1e-12)
    assert randomisation_test(events, exposure, treatment, block).p == pytest.approx(by_hand)


def p_by_enumeration(events, exposure, treatment, ratio: float) -> float:
    """The share of all lots of blocks of two with as large a difference, were the rates `ratio` apart."""
    weighed = exposure * np.where(treatment == 1, ratio, 1.0)
    pairs = events.reshape(-1, 2), weighed.reshape(-1, 2)
    expected = pairs[1] * (pairs[0].sum(axis=1) / pairs[1].sum(axis=1))[:, np.newaxis]
    of_first = ((pairs[0] - expected) * np.where(treatment.reshape(-1, 2) == 1, 1, -1)).sum(axis=1)
    signs = 1 - 2 * (np.arange(2 ** len(of_first))[:, np.newaxis] >> np.arange(len(of_first)) & 1)
    return float(np.mean(np.abs(signs @ of_first) >= abs(of_first.sum()) - 1e-9))


def test_limits_are_the_ratios_from_which_on_an_enumeration_of_all_lots_rejects():
    generator = np.random.default_rng(5)
    treatment, block = np.tile([0, 1, 1, 0], 4), np.repeat(np.arange(8), 2)
    exposure = generator.uniform(1, 3, 16)
    events = generator.poisson(exposure * np.where(treatment == 1, 1.0, 3.0)).astype(float)
    test = randomisation_test(events, exposure, treatment, block)
    rates = [events[treatment == kind].sum() / exposure[treatment == kind].sum() for kind in (0, 1)]
    assert test.ratio is not None
    assert test.ratio == pytest.approx(rates[1] / rates[0])
    assert test.p == pytest.approx(p_by_enumeration(events, exposure, treatment, 1.0))
    assert test.low is not None
    assert test.high is not None
    assert 0 < test.low < test.ratio < test.high
    for inside, outside in ((test.low * 1.002, test.low / 1.002), (test.high / 1.002, test.high * 1.002)):
        assert p_by_enumeration(events, exposure, treatment, inside) >= 0.05
        assert p_by_enumeration(events, exposure, treatment, outside) < 0.05


def test_a_treatment_without_an_event_has_one_limit():
    treatment, block = np.tile([0, 1], 8), np.repeat(np.arange(8), 2)
    none = randomisation_test(np.tile([2.0, 0.0], 8), np.ones(16), treatment, block)
    assert (none.ratio, none.low) == (0.0, 0.0)
    assert none.high is not None
    assert 0 < none.high < 1
    turned = randomisation_test(np.tile([0.0, 2.0], 8), np.ones(16), treatment, block)
    assert (turned.ratio, turned.high) == (None, None)
    assert turned.low == pytest.approx(1 / none.high, rel=2e-3)


def test_lots_too_many_to_go_through_are_drawn_and_come_near_them_all():
    generator = np.random.default_rng(8)
    treatment, block = np.tile([0, 1], 14), np.repeat(np.arange(14), 2)
    exposure, events = generator.uniform(1, 3, 28), generator.poisson(2.0, 28).astype(float)
    test = randomisation_test(events, exposure, treatment, block)
    assert not test.exact
    assert test.p == pytest.approx(p_by_enumeration(events, exposure, treatment, 1.0), abs=0.02)
    assert test.p * 5000 == pytest.approx(round(test.p * 5000)), "4,999 lots and the trial's own"
    sure = randomisation_test(np.tile([30.0, 0.0], 14), np.ones(28), treatment, block)
    assert sure.p <= 4 / 5000, "its own lot counts"
    assert sure.p >= 1 / 5000


PROMISED = 0.8


@pytest.mark.slow
def test_simulated_trials_find_what_they_promise_and_reject_no_more_than_that():
    """Hours 0.5 to 2, days that differ by a gamma frailty; size and power within two standard errors."""
    generator, trials, blocks, ratio = np.random.default_rng(20270301), 100, 70, 0.5
    rejected = found = covered = 0
    seen = 0.0
    for number in range(trials):
        lot, hours, day = _trial(generator, number, 6)
        rejected += randomisation_test(generator.poisson(0.5 * hours * day), hours, lot, _blocks(6)).p <= 0.05
        lot, hours, day = _trial(generator, number, blocks)
        events = generator.poisson(0.25 * hours * day * np.where(lot == 1, ratio, 1.0)).astype(float)
        test = randomisation_test(events, hours, lot, _blocks(blocks))
        found += test.p <= 0.05
        covered += (test.low or 0.0) <= ratio <= (test.high or np.inf)
        seen += events.sum() / trials
    assert seen == pytest.approx(events_needed(ratio, power=PROMISED), rel=0.05)
    assert found / trials == pytest.approx(PROMISED, abs=2 * np.sqrt(PROMISED * (1 - PROMISED) / trials))
    assert rejected / trials <= 0.05 + 2 * np.sqrt(0.05 * 0.95 / trials)
    assert covered / trials >= 0.95 - 2 * np.sqrt(0.05 * 0.95 / trials)


def _blocks(count: int) -> np.ndarray:
    return np.repeat(np.arange(count), 4)


def _trial(generator: np.random.Generator, number: int, blocks: int) -> tuple[np.ndarray, ...]:
    lot = np.concatenate([draw_block(f"trial {number}", each, 2, 4) for each in range(blocks)])
    return lot, generator.uniform(0.5, 2, lot.size), generator.gamma(2, 0.5, blocks)[_blocks(blocks)]
