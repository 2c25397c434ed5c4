"""Ratios of two seasons' estimates, and the step of a rate at a change."""

import numpy as np
import pytest
import statsmodels.api as sm

from benchwater.statistics.interval import Interval
from benchwater.statistics.rates import ratio_of_totals
from seasons.ratios import level_change, ratio_of_estimates


@pytest.mark.parametrize("scatter", ["more than Poisson's", "less than Poisson's"])
def test_a_level_change_is_the_step_of_a_quasi_poisson_regression(scatter):
    """Against statsmodels' GLM on 40 trips, with Pearson's dispersion, or 1 where the counts scatter less."""
    generator = np.random.default_rng(4)
    time, exposure = np.sort(generator.uniform(-60, 60, 40)), generator.uniform(1, 6, 40)
    after, wide = time >= 0, scatter.startswith("more")
    expected = exposure * np.exp(0.002 * time - 0.9 * after)
    events = generator.poisson(expected * generator.gamma(2, 0.5, 40)) if wide else np.round(expected)
    found = level_change(events, exposure, time, after)
    design = sm.add_constant(np.column_stack([time, after]))
    model = sm.GLM(events, design, family=sm.families.Poisson(), exposure=exposure)
    fitted = model.fit(scale="X2", use_t=True) if wide else model.fit(scale=1.0, use_t=True)
    assert (fitted.pearson_chi2 / 37 > 1) == wide
    assert found is not None
    assert found.ratio == pytest.approx(np.exp(fitted.params[2]), rel=1e-6)
    assert (found.low, found.high) == pytest.approx(tuple(np.exp(fitted.conf_int()[2])), rel=1e-6)
    assert found.p == pytest.approx(fitted.pvalues[2], rel=1e-4)


def test_a_change_with_too_little_on_one_side_gives_nothing():
    time = np.arange(10.0)
    events, exposure = np.ones(10), np.ones(10)
    assert level_change(events, exposure, time, time >= 8) is None
    assert level_change(events, exposure, time, time >= 7) is not None
    assert level_change(np.where(time < 5, 0.0, 1.0), exposure, time, time >= 5) is None


def test_limits_recovered_from_two_ratios_are_zou_and_donners():
    """With symmetric limits on the log scale they are those of a difference of two normal means."""
    one, other = ratio_of_totals([9, 12, 8, 11], [4, 5, 4, 5]), ratio_of_totals([3, 5, 4, 4], [4, 5, 4, 5])
    found = ratio_of_estimates(one.interval, other.interval)
    assert found is not None
    below = np.hypot(np.log(one.ratio / one.low), np.log(other.high / other.ratio))
    above = np.hypot(np.log(one.high / one.ratio), np.log(other.ratio / other.low))
    limits = (found.ratio * np.exp(-below), found.ratio * np.exp(above))
    assert (found.low, found.high) == pytest.approx(limits)
    assert found.ratio == pytest.approx(2.5)
    assert (found.low > 1) == (found.p < 0.05)
    assert ratio_of_estimates(one.interval, ratio_of_totals([0, 0], [1, 2]).interval) is None


@pytest.mark.slow
def test_simulated_seasons_of_equal_rates_are_told_apart_no_more_than_promised():
    """Two seasons of 12 trips with gamma frailty; limits of their ratio hold 1 in 93 % or more."""
    generator, seasons, held = np.random.default_rng(11), 1000, 0
    for _ in range(seasons):
        rates = []
        for _ in range(2):
            hours = generator.uniform(2, 10, 12)
            rates.append(ratio_of_totals(generator.poisson(0.3 * hours * generator.gamma(2, 0.5, 12)), hours))
        found = ratio_of_estimates(*(each.interval for each in rates))
        held += found is None or found.low <= 1 <= found.high
    assert held / seasons >= 0.93


def test_the_p_value_rests_on_the_limit_that_lies_towards_1() -> None:
    """By hand: ln 1.5 = 0.4055 over hypot(ln 1.5, ln 1.25) = 0.4627, times 1.96: z = 1.717."""
    one = Interval(estimate=3, low=2, high=9, level=0.95)
    other = Interval(estimate=2, low=1.5, high=2.5, level=0.95)
    for pair in ((one, other), (other, one)):
        found = ratio_of_estimates(*pair)
        assert found is not None
        assert found.p == pytest.approx(0.0859, abs=1e-4)
