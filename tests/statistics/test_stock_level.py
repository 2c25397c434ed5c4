import math
import random

import numpy as np
import pytest
from scipy.stats import nbinom

from benchwater.statistics.stock_level import (
    GammaRate,
    joint_stock,
    less_sure,
    predictive_cdf,
    predictive_quantile,
    share_out,
    shared_rate,
)
from pour_plan.promise import expected_shortage
from reference_cases import reference_case


def test_posterior_and_predictive_match_the_asthma_example() -> None:
    # Gelman et al., Bayesian Data Analysis, chapter 2.
    case = reference_case("gamma_poisson_asthma")
    rates = [
        GammaRate(shape=3, exposure=5).after(deaths, exposure)
        for deaths, exposure in zip(case.numbers("deaths"), case.numbers("exposure"), strict=True)
    ]
    ahead, _ = case.answer("predictive_exposure")
    computed = {
        "shape": [rate.shape for rate in rates],
        "rate": [rate.exposure for rate in rates],
        "mean": [rate.mean for rate in rates],
        "predictive_q95": [predictive_quantile(rate, ahead, 0.95) for rate in rates],
        "predictive_q99": [predictive_quantile(rate, ahead, 0.99) for rate in rates],
        "predictive_p0": [predictive_cdf(rate, ahead, 0) for rate in rates],
    }
    for key, values in computed.items():
        expected, tol = case.answer(key)
        assert values == pytest.approx(expected, abs=tol), key
        if key in case.published:
            assert values == pytest.approx(case.published[key]["value"], abs=case.published[key]["tol"])


def test_a_rate_known_for_sure_gives_the_base_stock_of_a_poisson_demand() -> None:
    # Hopp & Spearman, Factory Physics, chapter 2; Poisson table of mean 10.
    case = reference_case("poisson_basestock")
    sure = GammaRate(shape=1e10, exposure=1e9)
    levels = case.numbers("r")
    for key, values in (
        ("cdf", [predictive_cdf(sure, 1, r) for r in levels]),
        ("backorders", [expected_shortage(sure, 1, int(r)) for r in levels]),
    ):
        expected, tol = case.answer(key)
        assert values == pytest.approx(expected, abs=10 * tol)
    assert [predictive_quantile(sure, 1, level) for level in (0.90, 0.95, 0.99)] == [14, 15, 18]


def test_the_predictive_distribution_is_the_negative_binomial() -> None:
    draw = random.Random(5)
    for _ in range(200):
        rate = GammaRate(shape=draw.uniform(0.2, 40), exposure=draw.uniform(10, 90))
        ahead, level = draw.uniform(0.1, 20), draw.uniform(0.01, 0.999)
        other = nbinom(rate.shape, rate.exposure / (rate.exposure + ahead))
        stock = draw.randrange(12)
        assert predictive_cdf(rate, ahead, stock) == pytest.approx(float(other.cdf(stock)))
        assert predictive_quantile(rate, ahead, level) == int(other.ppf(level))
        beyond = np.arange(stock, 3000)
        tail = float(((beyond - stock) * other.pmf(beyond)).sum())
        assert expected_shortage(rate, ahead, stock) == pytest.approx(tail, abs=1e-6)


def test_no_exposure_takes_nothing() -> None:
    rate = GammaRate(shape=2, exposure=3)
    assert predictive_quantile(rate, 0.0, 0.99) == 0
    assert predictive_cdf(rate, 1.0, -1) == 0.0


@pytest.mark.parametrize("level", [-0.1, 1.0])
def test_a_level_that_no_stock_reaches_is_refused(level: float) -> None:
    with pytest.raises(ValueError, match="level"):
        predictive_quantile(GammaRate(shape=1, exposure=1), 1.0, level)


@pytest.mark.parametrize("bad", [-1.0, math.inf, math.nan])
def test_what_is_no_distribution_or_exposure_is_refused(bad: float) -> None:
    with pytest.raises(ValueError, match="above 0"):
        GammaRate(shape=bad, exposure=1)
    with pytest.raises(ValueError, match="exposure"):
        predictive_quantile(GammaRate(shape=1, exposure=1), bad, 0.9)


def test_the_shared_prior_is_the_most_likely_one_of_its_mean() -> None:
    events, hours = [12, 1, 30, 4, 9], [40.0, 22.0, 35.0, 50.0, 11.0]
    prior = shared_rate(events, hours)
    assert prior is not None
    mean = sum(events) / sum(hours)
    assert prior.mean == pytest.approx(mean)

    def likelihood(shape: float) -> float:
        pairs = zip(events, hours, strict=True)
        return sum(float(nbinom.logpmf(x, shape, shape / (shape + mean * t))) for x, t in pairs)

    grid = [0.5 * 1.01**step for step in range(480)]
    assert likelihood(prior.shape) >= max(likelihood(shape) for shape in grid if shape <= 56) - 1e-6


def test_builds_alike_share_a_firm_prior_no_firmer_than_all_they_saw() -> None:
    alike, unlike = shared_rate([5, 5, 5, 5], [10.0] * 4), shared_rate([0, 1, 3, 16], [10.0] * 4)
    assert alike is not None
    assert unlike is not None
    assert alike.shape == pytest.approx(20)
    assert unlike.shape < 2


def test_a_prior_of_one_or_two_groups_is_weak_and_of_no_event_none() -> None:
    few = shared_rate([6, 0, 3], [20.0, 0.0, 10.0])
    assert few == GammaRate(shape=1.0, exposure=1 / 0.3)
    assert shared_rate([0, 0], [5.0, 8.0]) is None
    assert shared_rate([], []) is None
    with pytest.raises(ValueError, match="one length"):
        shared_rate([1], [1.0, 2.0])


def test_few_groups_leave_a_prior_less_sure_and_its_mean_as_it_was() -> None:
    prior = GammaRate(shape=8, exposure=40)
    assert [less_sure(prior, groups).shape for groups in (2, 3, 5, 9, 101)] == pytest.approx(
        [1, 1, 4, 6, 7.84]
    )
    assert less_sure(prior, 5).mean == pytest.approx(prior.mean)
    assert less_sure(GammaRate(shape=0.5, exposure=4), 4) == GammaRate(shape=0.5, exposure=4)


def test_pieces_are_shared_out_whole_and_fairly() -> None:
    draw = random.Random(11)
    for _ in range(500):
        claims = [draw.randrange(9) for _ in range(draw.randrange(1, 7))]
        pieces = draw.randrange(40)
        shares = share_out(pieces, claims)
        assert sum(shares) == pieces
        assert min(shares) >= 0
        if pieces <= sum(claims):
            assert all(share <= claim for share, claim in zip(shares, claims, strict=True))
        elif sum(claims):
            assert all(share >= claim for share, claim in zip(shares, claims, strict=True))
    assert share_out(5, [0, 0]) == [3, 2]
    assert share_out(5, []) == []


def test_stock_for_all_kinds_together_is_the_smallest_that_holds_the_level() -> None:
    # By brute force over all stocks of three kinds.
    draw = random.Random(3)
    for _ in range(20):
        rates = [GammaRate(shape=draw.uniform(1, 20), exposure=10) for _ in range(3)]
        hours, level = [draw.uniform(1, 20) for _ in range(3)], draw.choice([0.8, 0.9, 0.95])
        held = [
            [predictive_cdf(rate, ahead, n) for n in range(120)]
            for rate, ahead in zip(rates, hours, strict=True)
        ]
        found = joint_stock(rates, hours, level)
        assert math.prod(of[n] for of, n in zip(held, found, strict=True)) >= level
        fewest = min(
            one
            + two
            + next(
                (n for n, chance in enumerate(held[2]) if chance * held[0][one] * held[1][two] >= level), 999
            )
            for one in range(60)
            for two in range(60)
        )
        assert sum(found) <= fewest + 1
    assert joint_stock([], [], 0.9) == []
    assert joint_stock(rates, [0.0, 0.0, 0.0], 0.9) == [0, 0, 0]
