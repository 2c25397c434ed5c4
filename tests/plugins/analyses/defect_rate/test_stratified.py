import numpy as np
import pytest

from defect_rate.stratified import ShareRatio, mantel_haenszel, share_ratio

EVENTS_A, TRIALS_A = [4, 5, 3, 1], [12, 15, 20, 9]
EVENTS_B, TRIALS_B = [6, 7, 4, 2], [36, 44, 61, 30]


@pytest.mark.parametrize("continuity", [False, True])
def test_common_odds_ratio_matches_statsmodels(continuity: bool) -> None:
    # Mantel and Haenszel 1959; Robins, Breslow and Greenland 1986; outside check by statsmodels.
    from statsmodels.stats.contingency_tables import StratifiedTable

    tables = [
        np.array([[a, n - a], [b, m - b]])
        for a, n, b, m in zip(EVENTS_A, TRIALS_A, EVENTS_B, TRIALS_B, strict=True)
    ]
    outside = StratifiedTable(tables)
    found = mantel_haenszel(EVENTS_A, TRIALS_A, EVENTS_B, TRIALS_B, continuity=continuity)
    test = outside.test_null_odds(correction=continuity)
    assert found.odds_ratio == pytest.approx(outside.oddsratio_pooled)
    assert found.log_standard_error == pytest.approx(outside.logodds_pooled_se)
    assert (found.lower, found.upper) == pytest.approx(outside.oddsratio_pooled_confint())
    assert (found.statistic, found.p_value) == pytest.approx((test.statistic, test.pvalue))
    assert found.informative == 4


def test_strata_without_contrast_change_nothing() -> None:
    plain = mantel_haenszel(EVENTS_A, TRIALS_A, EVENTS_B, TRIALS_B)
    padded = mantel_haenszel(
        [*EVENTS_A, 0, 3, 2], [*TRIALS_A, 5, 3, 4], [*EVENTS_B, 0, 9, 0], [*TRIALS_B, 15, 9, 0]
    )
    assert padded == plain


def test_no_informative_stratum_gives_none() -> None:
    found = mantel_haenszel([0, 2], [5, 2], [0, 6], [15, 6])
    assert found.informative == 0
    assert (found.odds_ratio, found.statistic, found.p_value) == (None, None, None)


def test_events_in_one_group_only_give_an_infinite_ratio_with_a_test_but_no_limits() -> None:
    found = mantel_haenszel([3, 2], [10, 10], [0, 0], [30, 30])
    mirrored = mantel_haenszel([0, 0], [30, 30], [3, 2], [10, 10])
    assert found.odds_ratio == np.inf
    assert mirrored.odds_ratio == 0
    assert found.lower is found.upper is None
    assert found.p_value is not None
    assert found.p_value < 0.01
    assert found.statistic == pytest.approx(mirrored.statistic)


def test_events_above_trials_are_refused() -> None:
    with pytest.raises(ValueError, match="between 0 and trials"):
        mantel_haenszel([3], [2], [0], [1])


def test_share_ratio_matches_statsmodels_and_with_one_stratum_the_textbook_variance() -> None:
    # Greenland and Robins 1985; outside check of the ratio by statsmodels.
    from statsmodels.stats.contingency_tables import StratifiedTable

    tables = [
        np.array([[a, n - a], [b, m - b]])
        for a, n, b, m in zip(EVENTS_A, TRIALS_A, EVENTS_B, TRIALS_B, strict=True)
    ]
    found = share_ratio(EVENTS_A, TRIALS_A, EVENTS_B, TRIALS_B)
    assert found.ratio == pytest.approx(StratifiedTable(tables).riskratio_pooled)
    one = share_ratio([12], [40], [9], [80])
    reach = np.exp(1.959964 * np.sqrt(1 / 12 - 1 / 40 + 1 / 9 - 1 / 80))
    assert one.ratio == pytest.approx(12 / 40 / (9 / 80))
    assert (one.lower, one.upper) == pytest.approx((one.ratio / reach, one.ratio * reach), rel=1e-6)


def test_share_ratio_with_events_on_one_side_or_none_has_no_limits() -> None:
    assert share_ratio([3, 2], [10, 10], [0, 0], [30, 30]) == ShareRatio(ratio=np.inf, lower=None, upper=None)
    assert share_ratio([0, 0], [30, 30], [3, 2], [10, 10]) == ShareRatio(ratio=0.0, lower=None, upper=None)
    assert share_ratio([0, 2], [5, 2], [0, 0], [15, 0]) == ShareRatio(ratio=None, lower=None, upper=None)


def test_limits_of_the_share_ratio_hold_within_fills_of_a_few_castings() -> None:
    """400 seasons of 60 fills: two castings of a cavity that fails twice as often beside three others."""
    rng = np.random.default_rng(20260711)
    share = rng.uniform(0.05, 0.4, 60)
    covered = 0
    for _ in range(400):
        found = share_ratio(
            rng.binomial(2, 2 * share), np.full(60, 2), rng.binomial(3, share), np.full(60, 3)
        )
        assert found.lower is not None
        assert found.upper is not None
        covered += found.lower <= 2.0 <= found.upper
    assert 0.925 <= covered / 400 <= 0.98
