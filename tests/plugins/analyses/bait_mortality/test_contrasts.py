"""Comparisons of groups of baits: by row and by sums of equal rows, within strata, and with confounders."""

from pathlib import Path

import pytest

from bait_mortality.contrasts import compare_baits, compare_rates, compare_within
from bait_mortality.stratified_rates import common_rate_ratio
from benchwater.ledger.bait_lives import factors_of, rows_in_use, sum_equal_rows
from benchwater.pipeline import Request, choose_spans, gather, read_workspace
from benchwater.statistics.rates import rate_ratio

DEMO = Path(__file__).parents[4] / "sample_logs"


@pytest.mark.parametrize("month", ["2026-05", "2026-10"])
def test_sums_of_equal_rows_give_the_same_contrasts_as_the_rows(month):
    workspace = read_workspace(DEMO, workspace_plugins=False)
    spans = choose_spans(workspace, Request(month=month))
    season = gather(workspace.reading, workspace.bench, spans)
    rows = rows_in_use(season, spans.season)
    factors = factors_of(rows, season.bench)
    summed, of_sums = sum_equal_rows(rows, factors)
    assert len(summed) < len(rows)
    for name in ("count", "ended", "hours"):
        assert summed[name].sum() == pytest.approx(rows[name].sum(), rel=1e-12)
    (one, skipped), (other, left_out) = compare_baits(rows, factors), compare_baits(summed, of_sums)
    assert skipped == left_out
    assert len(one) > 10
    for by_row, by_group in zip(one, other, strict=True):
        names = [(c.factor, c.group, c.against, c.cause, c.confounder) for c in (by_row, by_group)]
        assert names[0] == names[1]
        crude, within = by_row.rates.crude, by_row.rates.within
        assert (by_group.p_adjusted, by_group.rates.crude.ratio, by_group.rates.crude.low) == pytest.approx(
            (by_row.p_adjusted, crude.ratio, crude.low), rel=1e-12
        )
        assert (by_group.rates.within.ratio, by_group.rates.within.high) == pytest.approx(
            (within.ratio, within.high), rel=1e-12
        )


EVENTS = [2, 4, 1, 0, 3, 1]
EXPOSURE = [1.0, 2.0, 5.0, 1.5, 2.0, 0.0]
FIRST = [True, True, False, False, True, False]
SECOND = [False, False, True, True, False, False]


def test_records_are_added_up_by_group_and_stratum() -> None:
    result = compare_rates(EVENTS, EXPOSURE, FIRST, SECOND, ["a", "b", "b", "a", "c", "a"])
    assert result.events == (9, 1)
    assert result.exposure == (5.0, 6.5)
    assert result.crude == rate_ratio(9, 5.0, 1, 6.5)
    assert result.within == common_rate_ratio([2, 4], [1.0, 2.0], [0, 1], [1.5, 5.0])
    assert result.excess == pytest.approx(9 - 5.0 / 6.5)
    assert result.worse_throughout == (result.crude.low > 1 and (result.within.low or 0.0) > 1)


def test_one_stratum_gives_the_crude_ratio_twice() -> None:
    result = compare_rates(EVENTS, EXPOSURE, FIRST, SECOND, [0] * 6)
    assert (result.within.ratio, result.within.low) == pytest.approx((result.crude.ratio, result.crude.low))
    assert result.worse_throughout


def test_without_a_common_stratum_there_is_nothing_within() -> None:
    result = compare_rates(EVENTS, EXPOSURE, FIRST, SECOND, FIRST)
    assert result.within.ratio is None
    assert not result.worse_throughout


def test_groups_that_overlap_are_refused() -> None:
    with pytest.raises(ValueError, match="share"):
        compare_rates(EVENTS, EXPOSURE, FIRST, FIRST, [0] * 6)


GROUP, OTHER = [True, True, False, False], [False, False, True, True]
LEVELS = ["pond", "reach", "pond", "reach"]


def test_groups_that_never_meet_cannot_be_told_apart() -> None:
    found = compare_within([9, 2], [10.0, 10.0], [True, False], [False, True], ["pond", "reach"])
    assert found is not None
    assert found.apart
    assert found.information == 0
    assert found.only == ("pond", "reach")
    assert found.within.ratio is None


def test_groups_spread_alike_keep_all_information_and_the_ratio() -> None:
    found = compare_within([20, 20, 5, 5], [50.0, 50.0, 25.0, 25.0], GROUP, OTHER, LEVELS)
    assert found is not None
    assert found.information == pytest.approx(1)
    assert found.within.ratio == pytest.approx(2)
    assert found.only == (None, None)
    assert not found.apart
    assert not found.explains(rate_ratio(40, 100.0, 10, 50.0))


@pytest.mark.parametrize("swap", [False, True])
def test_a_difference_that_the_other_factor_makes_is_explained_by_it(swap: bool) -> None:
    """One in two at the pond, one in twenty on the reach, for both groups; they differ by where they were."""
    events, hours = [40, 1, 10, 4], [80.0, 20.0, 20.0, 80.0]
    first, second = (OTHER, GROUP) if swap else (GROUP, OTHER)
    crude = rate_ratio(14, 100.0, 41, 100.0) if swap else rate_ratio(41, 100.0, 14, 100.0)
    found = compare_within(events, hours, first, second, LEVELS)
    assert found is not None
    assert not found.apart
    assert found.within.ratio == pytest.approx(1, rel=1e-6)
    assert found.explains(crude)


def test_no_loss_on_one_side_is_no_sign_of_confounding() -> None:
    found = compare_within([10, 10, 0, 0], [50.0, 50.0, 50.0, 50.0], GROUP, OTHER, LEVELS)
    assert found is not None
    assert not found.explains(rate_ratio(20, 100.0, 0, 100.0))


def test_one_level_leaves_nothing_to_confound() -> None:
    assert compare_within([1, 2, 3, 4], [1.0, 1.0, 1.0, 1.0], GROUP, OTHER, ["pond"] * 4) is None


@pytest.mark.parametrize("levels", [LEVELS, ["pond", "pond", "reach", "reach"], ["a", "b", "b", "c"]])
def test_without_limits_and_by_place_it_is_judged_the_same(levels: list[str]) -> None:
    told = [30, 4, 9, 11], [80.0, 20.0, 25.0, 75.0], GROUP, OTHER
    whole, names = compare_within(*told, levels), sorted(set(levels))
    places = [names.index(level) for level in levels]
    quick = compare_within(*told, places, names=names, limits=False)
    assert whole is not None
    assert quick is not None
    assert (quick.information, quick.only, quick.within.ratio) == (
        whole.information,
        whole.only,
        whole.within.ratio,
    )
    assert (quick.within.low, quick.within.p_central) == (None, None)
