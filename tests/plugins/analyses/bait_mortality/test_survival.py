import math

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.special import ndtri

from bait_mortality.survival import (
    Curve,
    FloatArray,
    follow_up,
    kaplan_meier,
    log_rank,
    median_survival,
    restricted_mean,
)
from benchwater.statistics.permutations import sign_flip_p
from reference_cases import reference_case

CURVES = [
    ("km_6mp", "weeks", "relapse", {"group": "6-MP"}, "sixmp."),
    ("km_6mp", "weeks", "relapse", {"group": "placebo"}, "placebo."),
    ("km_fans", "hours", "failed", {}, ""),
]
LOG_RANKS = [
    ("logrank_6mp", "weeks", "relapse", "group"),
    ("logrank_larynx4", "years", "died", "stage"),
    ("logrank_ovarian", "days", "died", "rx"),
]


def as_array(values: list[float | None]) -> NDArray[np.float64]:
    return np.array([np.nan if value is None else value for value in values])


def standard_error(curve: Curve) -> NDArray[np.float64]:
    """The standard error that the limits stand on, nan where survival is 0."""
    logs = np.log(curve.share, out=np.full(len(curve.time), np.nan), where=curve.share > 0)
    return np.asarray(curve.share * np.log(np.log(curve.low) / logs) * -logs / ndtri(0.975))


@pytest.mark.parametrize(("name", "time", "event", "where", "prefix"), CURVES)
def test_curves_match_the_published_cases(
    name: str, time: str, event: str, where: dict[str, str], prefix: str
) -> None:
    # Klein & Moeschberger 2003, table 4.1 (6-MP); Cox & Oakes 1984, table 1.1 (placebo); Nelson 1982 (fans).
    case = reference_case(name)
    curve = kaplan_meier(case.numbers(time, **where), case.numbers(event, **where))
    arrays: dict[str, NDArray[np.float64]] = {
        "time": curve.time,
        "n_risk": curve.n_risk.astype(np.float64),
        "n_event": curve.n_event.astype(np.float64),
        "surv": curve.share,
        "se": standard_error(curve),
        "lower": curve.low,
        "upper": curve.high,
    }
    for key, values in arrays.items():
        expected, tol = case.answer(prefix + key)
        assert values == pytest.approx(as_array(expected), abs=tol, nan_ok=True), key
    for label, printed in case.published.items():
        key = printed.get("of", label)
        if key.startswith(prefix) and key.removeprefix(prefix) in arrays:
            values = arrays[key.removeprefix(prefix)]
            at = [i - 1 for i in printed.get("index", range(1, len(values) + 1))]
            assert values[at] == pytest.approx(np.atleast_1d(printed["value"]), abs=printed["tol"]), label

    median = median_survival(curve)
    answers = [case.answer(prefix + key)[0] for key in ("median", "median_lower", "median_upper")]
    assert [median.estimate, median.low, median.high] == pytest.approx(as_array(answers), nan_ok=True)
    if prefix + "median" in case.published:
        assert median.estimate == case.published[prefix + "median"]["value"]
    mean = restricted_mean(curve, case.answer(prefix + "rmst_tau")[0])
    for key, value in (("rmst", mean.estimate), ("rmst_se", (mean.high - mean.estimate) / ndtri(0.975))):
        expected, tol = case.answer(prefix + key)
        assert value == pytest.approx(expected, abs=tol)


@pytest.mark.parametrize(("name", "time", "event", "group"), LOG_RANKS)
def test_log_rank_matches_the_published_cases(name: str, time: str, event: str, group: str) -> None:
    # Kleinbaum & Klein, chapter 2 (6-MP); Klein & Moeschberger 2003, chapter 7 (larynx); help page of R's
    # survdiff (ovarian).
    case = reference_case(name)
    result = log_rank(case.numbers(time), case.numbers(event), [row[group] for row in case.rows])
    member = np.unique([row[group] for row in case.rows], return_inverse=True)[1]
    observed = np.bincount(member, case.numbers(event))
    computed = {
        "chisq": result.statistic,
        "df": result.df,
        "p": result.p,
        "observed": observed,
        "expected": observed - result.scores.sum(axis=0),
    }
    for key, value in computed.items():
        expected, tol = case.answer(key)
        assert value == pytest.approx(expected, abs=tol)
        if key in case.published:
            assert value == pytest.approx(case.published[key]["value"], abs=case.published[key]["tol"])
    assert result.events == observed.sum()


def test_late_entries_count_only_after_they_enter() -> None:
    # By hand, spans (0,4] (0,3]+ (1,5] (3,6] (4,7]+ where + is censored: at 4 three are at risk, for the one
    # that enters at 4 is not; at 5 and 6 three and two.
    curve = kaplan_meier([4, 3, 5, 6, 7], [1, 0, 1, 1, 0], entry=[0, 0, 1, 3, 4])
    assert curve.n_risk.tolist() == [3, 3, 2]
    assert curve.share == pytest.approx([2 / 3, 4 / 9, 2 / 9])
    greenwood = np.cumsum([1 / (3 * 2), 1 / (3 * 2), 1 / (2 * 1)])
    assert standard_error(curve) == pytest.approx(curve.share * np.sqrt(greenwood))
    assert median_survival(curve).estimate == 5
    # Area to 6.5: 4 at 1, 1 at 2/3, 1 at 4/9, half at 2/9.
    assert restricted_mean(curve, 6.5).estimate == pytest.approx(4 + 2 / 3 + 4 / 9 + 1 / 9)


def follow_up_records(
    seed: int,
) -> tuple[FloatArray, NDArray[np.int64], FloatArray, NDArray[np.int64], NDArray[np.int64]]:
    rng = np.random.default_rng(seed)
    size = 60
    entry = np.where(rng.random(size) < 0.5, 0, rng.integers(0, 6, size)).astype(np.float64)
    time = entry + rng.integers(1, 12, size)
    event, weight, group = (
        rng.integers(0, 2, size),
        rng.integers(1, 4, size),
        rng.integers(0, 3, size),
    )
    return time, event, entry, weight, group


def assert_same_curve(first: Curve, second: Curve) -> None:
    for name in Curve.__dataclass_fields__:
        assert np.array_equal(getattr(first, name), getattr(second, name), equal_nan=True), name


@pytest.mark.parametrize("seed", range(5))
def test_records_split_in_time_leave_curve_and_test_as_they_were(seed: int) -> None:
    time, event, entry, weight, group = follow_up_records(seed)
    cut = (entry + time) / 2
    split_time, split_entry = np.concatenate((cut, time)), np.concatenate((entry, cut))
    split_event = np.concatenate((np.zeros_like(event), event))
    twice = np.tile(weight, 2)
    assert_same_curve(
        kaplan_meier(time, event, entry=entry, weight=weight),
        kaplan_meier(split_time, split_event, entry=split_entry, weight=twice),
    )
    assert log_rank(time, event, group, entry=entry, weight=weight) == log_rank(
        split_time, split_event, np.tile(group, 2), entry=split_entry, weight=twice
    )


@pytest.mark.parametrize("seed", range(5))
def test_a_weight_is_the_same_as_repeated_rows(seed: int) -> None:
    time, event, entry, weight, group = follow_up_records(seed)
    repeated = [np.repeat(values, weight) for values in (time, event, entry, group)]
    assert_same_curve(
        kaplan_meier(time, event, entry=entry, weight=weight),
        kaplan_meier(repeated[0], repeated[1], entry=repeated[2]),
    )
    assert log_rank(time, event, group, entry=entry, weight=weight) == log_rank(
        repeated[0], repeated[1], repeated[3], entry=repeated[2]
    )


@pytest.mark.parametrize("seed", range(5))
def test_log_rank_with_late_entry_agrees_with_statsmodels(seed: int) -> None:
    from statsmodels.duration.survfunc import survdiff

    time, event, entry, _, group = follow_up_records(seed)
    statistic, p = survdiff(time, event, group, entry=entry)
    result = log_rank(time, event, group, entry=entry)
    assert (result.statistic, result.p) == pytest.approx((statistic, p), rel=1e-8)
    assert (result.events, result.scores.sum()) == pytest.approx((event.sum(), 0), abs=1e-9)


def test_a_gap_is_where_nobody_is_at_risk_though_some_come_later() -> None:
    assert follow_up([1, 2, 5], [1, 1, 1], entry=[0, 0, 3]).first_gap() == 2
    assert follow_up([1, 2, 5], [1, 1, 1], entry=[0, 0, 2]).first_gap() is None
    assert follow_up([1, 2, 5], [1, 1, 0]).first_gap() is None
    assert follow_up([4], [1]).first_gap() is None


def test_a_curve_without_events_is_1_without_limits_or_median() -> None:
    curve = kaplan_meier([3, 5], [0, 0])
    assert (curve.at(4).estimate, math.isnan(curve.at(4).high)) == (1.0, True)
    assert math.isnan(median_survival(curve).estimate)
    mean = restricted_mean(curve, 5)
    assert (mean.estimate, math.isnan(mean.low)) == (5.0, True)


def test_survival_is_unknown_after_the_last_follow_up_unless_it_is_0() -> None:
    known, unknown = kaplan_meier([1, 2], [1, 1]), kaplan_meier([1, 2], [1, 0])
    assert known.at(3).estimate == 0.0
    assert unknown.at(2).estimate == 0.5
    assert math.isnan(unknown.at(2.5).estimate)
    mean = restricted_mean(known, 10)
    assert mean.estimate == pytest.approx(1.5)
    # Two lives of 1 and 2 h: the mean's variance is 0.5^2 / 2.
    assert (mean.low, mean.high) == pytest.approx((1.5 - 1.959964 * 0.125**0.5, 1.5 + 1.959964 * 0.125**0.5))


def test_groups_never_at_risk_together_reduce_the_degrees_of_freedom_or_leave_nothing() -> None:
    result = log_rank([2, 3, 12, 13], [1, 1, 1, 1], list("abcd"), entry=[0, 0, 10, 10])
    assert result.df == 2
    assert log_rank([2, 12], [1, 1], ["a", "b"], entry=[0, 10]).df == 0


def test_a_record_from_the_start_is_at_risk_at_time_0() -> None:
    assert kaplan_meier([0, 1], [1, 0], entry=[0, 0]).share.tolist() == [0.5]


def test_losses_of_one_trip_widen_the_limits_and_single_baits_do_not() -> None:
    # By hand, two trips of four baits each: all of the first are lost at 1, of the second two at 2.
    time, lost = [1] * 4 + [2] * 4, [1] * 4 + [1, 1, 0, 0]
    alone = kaplan_meier(time, lost)
    assert kaplan_meier(time, lost, cluster=range(8)).low == pytest.approx(alone.low, abs=0.02)
    by_trip = kaplan_meier(time, lost, cluster=[0] * 4 + [1] * 4)
    assert by_trip.share.tolist() == alone.share.tolist()
    # At 1 each trip adds 4/8 - 4 * 4/64 and 0 - 4 * 4/64 to the cumulative hazard.
    between = 2 * (0.25**2 + 0.25**2)
    assert standard_error(by_trip)[0] == pytest.approx(0.5 * between**0.5)
    assert by_trip.high[0] > alone.high[0]


def test_log_rank_scores_give_the_permutation_test() -> None:
    rng = np.random.default_rng(3)
    time, lost, group = rng.exponential(5, 60), rng.random(60) < 0.6, rng.integers(0, 3, 60)
    entry = time * rng.uniform(0, 0.9, 60) * (rng.random(60) < 0.5)
    test = log_rank(time, lost, group, entry=entry)
    assert sign_flip_p(test.scores) == pytest.approx(test.p, abs=0.08)
