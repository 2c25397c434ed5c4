import numpy as np
import pytest
import statsmodels.api as sm

from benchwater.statistics.comparisons import dispersion, events_needed, more_exposure


def test_dispersion_is_pearsons_of_a_poisson_regression_on_a_constant():
    events, exposure = np.array([0.0, 7, 1, 3, 9]), np.array([2.0, 3, 2, 4, 3])
    model = sm.GLM(events, np.ones(5), family=sm.families.Poisson(), exposure=exposure).fit()
    assert dispersion(events, exposure) == pytest.approx(model.pearson_chi2 / model.df_resid)
    assert dispersion([2, 2, 2], [1, 1, 1]) == 1


def test_the_hours_asked_for_tell_a_double_rate_from_chance_eight_times_in_ten():
    """Drawn: 30 events in 100 hours so far, half each way, then what is asked for, at twice the rate."""
    generator = np.random.default_rng(11)
    more = more_exposure(30, (50, 50))
    assert more_exposure(30, (100, 0)) == pytest.approx(65.3 / 0.3, rel=1e-2)  # no hour the other way yet
    half = 50 + more / 2
    one, other = generator.poisson(0.4 * half, 20_000), generator.poisson(0.2 * half, 20_000)
    z = np.log(one / other) / np.sqrt(1 / one + 1 / other)
    assert np.mean(z > 1.96) == pytest.approx(0.8, abs=0.05)
    assert more_exposure(300, (500, 500)) == 0
    assert more_exposure(1, (50, 50)) == pytest.approx(64.3 * 100, rel=1e-2), "one event tells the rate"
    with pytest.raises(ValueError, match="no rate"):
        more_exposure(0, (50, 50))


def test_schoenfelds_number_of_events_is_his():
    """(1.96 + 1.645)² / (0.25 ln² 1.5) = 316 at 95 % power; 65 tell 2 times apart at 80 %."""
    assert events_needed(1.5, power=0.95) == pytest.approx(316.2, abs=0.5)
    assert events_needed(2.0) == pytest.approx(65.3, abs=0.1)
    assert events_needed(2.0, design_effect=3.0) == pytest.approx(3 * events_needed(2.0))
