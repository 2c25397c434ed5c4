import pytest

from benchwater.statistics.proportions import cochran_armitage, wilson_interval
from finishing.compute import binned_shares


def test_few_clusters_give_plain_wilson_limits_and_trend():
    bins, trend = binned_shares([301, 318, 325], [4, 1, 0], [10, 10, 20], 20)
    assert [(each.low, each.high, each.trials, each.events) for each in bins] == [
        (300, 320, 20, 5),
        (320, 340, 20, 0),
    ]
    plain = wilson_interval(5, 20)
    assert (bins[0].share.low, bins[0].share.high) == (pytest.approx(plain.low), pytest.approx(plain.high))
    assert trend == cochran_armitage([5, 0], [20, 20], [310, 330])


def test_a_value_on_an_edge_belongs_to_the_bin_above_even_after_rounding():
    bins, _ = binned_shares([320 - 1e-12, 320], [0, 1], [3, 3], 20)
    assert [(each.low, each.trials) for each in bins] == [(320, 6)]


def test_clusters_that_go_all_one_way_widen_the_limits():
    events, trials = [10, 0, 10, 0, 10, 0], [10] * 6
    (only,), trend = binned_shares([305] * 6, events, trials, 20)
    plain = wilson_interval(30, 60)
    assert only.share.low < plain.low
    assert only.share.high > plain.high
    assert trend is None


def test_no_cluster_gives_no_bin():
    assert binned_shares([], [], [], 20) == ((), None)
