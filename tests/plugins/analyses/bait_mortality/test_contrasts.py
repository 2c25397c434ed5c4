"""Comparisons of groups of baits: by row and by sums of equal rows, adjusted, looked at every month."""

import numpy as np
import pytest
from scipy.special import ndtri

from bait_mortality.compute import ERROR_OF_A_LOOK, LOOKS, compare_baits
from benchwater.ledger.bait_lives import factors_of, rows_in_use, sum_equal_rows


@pytest.mark.parametrize("month", ["2026-05", "2026-10"])
def test_sums_of_equal_rows_give_the_same_contrasts_as_the_rows(month, demo):
    made = demo(month)
    season = made.season
    rows = rows_in_use(season, made.whole)
    factors = factors_of(rows, season.bench)
    summed, of_sums = sum_equal_rows(rows, factors)
    assert len(summed) < len(rows)
    for name in ("count", "ended", "hours"):
        assert summed[name].sum() == pytest.approx(rows[name].sum(), rel=1e-12)
    (one, skipped), (other, left_out) = compare_baits(rows, factors), compare_baits(summed, of_sums)
    assert skipped == left_out
    assert len(one) > 10
    for by_row, by_group in zip(one, other, strict=True):
        assert (by_row.name, by_row.group, by_row.doubt) == (by_group.name, by_group.group, by_group.doubt)
        assert by_group.limits == pytest.approx(by_row.limits, rel=1e-9)
        assert by_group.p_adjusted == pytest.approx(by_row.p_adjusted, rel=1e-9)


def test_limits_leave_out_equal_rates_exactly_where_the_test_refuses_them(demo) -> None:
    made = demo("2026-10")
    rows = rows_in_use(made.season, made.whole)
    contrasts, _ = compare_baits(rows, factors_of(rows, made.season.bench))
    clear = [c for c in contrasts if c.clear]
    assert len(clear) >= 3
    for c in contrasts:
        assert (c.limits[0] > 1 or c.limits[1] < 1) == (c.rates.p < 0.05)
        if c.clear:
            assert c.alpha < 0.05
            assert c.adjusted[0] > 1 or c.adjusted[1] < 1
            assert c.adjusted[0] <= c.limits[0] <= c.limits[1] <= c.adjusted[1]


def test_a_look_every_month_raises_a_false_alarm_in_one_season_of_twenty() -> None:
    """Seasons without a difference: the standardised sums of twelve months, looked at each month."""
    months = np.arange(1, LOOKS + 1)
    sums = np.cumsum(np.random.default_rng(2).normal(size=(100_000, LOOKS)), axis=1) / np.sqrt(months)
    largest = np.abs(sums).max(axis=1)
    assert (largest > -ndtri(ERROR_OF_A_LOOK / 2)).mean() == pytest.approx(0.05, abs=0.002)
    assert (largest > 1.96).mean() > 0.15


def test_the_leader_is_advised_from_the_month_that_shows_it_and_never_taken_back(demo) -> None:
    said = []
    for month in range(3, 11):
        made = demo(f"2026-{month:02d}")
        ids = {action.id for action in made.section("bait_mortality", made.whole).actions}
        assert ids <= {"tie_a_leader"}, (
            "timber is fished at one water only, and guards do nothing in the demo"
        )
        said.append("tie_a_leader" in ids)
    assert said == sorted(said)
    assert said[-3:] == [True] * 3
