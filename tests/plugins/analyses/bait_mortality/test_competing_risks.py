import math

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.special import ndtri

from bait_mortality.survival import Curve, cumulative_incidence, kaplan_meier
from reference_cases import reference_case

CASES = [
    ("cif_hand_table", "months", {}, ""),
    ("cif_melanoma", "days", {}, ""),
    ("cif_mgus2", "months", {"sex": "F"}, "F."),
    ("cif_mgus2", "months", {"sex": "M"}, "M."),
]


def standard_error(curve: Curve) -> NDArray[np.float64]:
    """The standard error that the limits of a cause stand on; 0 where its incidence is 0."""
    share, error = curve.share, np.zeros(len(curve.time))
    inside = (share > 0) & (share < 1 - 1e-12)
    logs = np.log1p(-share[inside])
    spread = np.log(np.log1p(-curve.high[inside]) / logs)
    error[inside] = (1 - share[inside]) * -logs * spread / ndtri(0.975)
    return error


@pytest.mark.parametrize(("name", "time", "where", "prefix"), CASES)
def test_incidence_matches_the_published_cases(
    name: str, time: str, where: dict[str, str], prefix: str
) -> None:
    # Satagopan et al. 2004, British Journal of Cancer 91:1229-1235, table 2; Andersen, Borgan, Gill & Keiding
    # 1993 (melanoma); Kyle et al. 2002 (mgus2).
    case = reference_case(name)
    curves = cumulative_incidence(case.numbers(time, **where), case.numbers("cause", **where))
    at = case.answer(prefix + "at")[0]
    steps = np.searchsorted(curves[1].time, at, side="right") - 1
    computed: dict[str, NDArray[np.float64]] = {}
    for cause, curve in curves.items():
        computed[f"cif{cause}"] = np.array([curve.at(t).estimate for t in at])
        computed[f"se_delta{cause}"] = np.where(steps < 0, 0.0, standard_error(curve)[steps])
    computed["event_free"] = 1 - np.sum([computed[f"cif{cause}"] for cause in curves], axis=0)
    for key, values in computed.items():
        expected, tol = case.answer(prefix + key)
        assert values == pytest.approx(expected, abs=tol), key
    for key, printed in case.published.items():
        chosen = [i - 1 for i in printed["index"]]
        assert computed[key][chosen] == pytest.approx(printed["value"], abs=printed["tol"]), key


def competing_records(
    seed: int,
) -> tuple[NDArray[np.float64], NDArray[np.int64], NDArray[np.float64], NDArray[np.int64]]:
    rng = np.random.default_rng(seed)
    size = 50
    entry = np.where(rng.random(size) < 0.5, 0, rng.integers(0, 6, size)).astype(np.float64)
    time = entry + rng.integers(1, 12, size)
    return time, rng.integers(0, 4, size), entry, rng.integers(1, 4, size)


def assert_same(first: dict[int, Curve], second: dict[int, Curve]) -> None:
    assert first.keys() == second.keys()
    for cause, curve in first.items():
        for name in Curve.__dataclass_fields__:
            assert np.array_equal(getattr(curve, name), getattr(second[cause], name), equal_nan=True), name


@pytest.mark.parametrize("seed", range(5))
def test_records_split_in_time_and_repeated_rows_give_the_same_curves(seed: int) -> None:
    time, cause, entry, weight = competing_records(seed)
    whole = cumulative_incidence(time, cause, entry=entry, weight=weight)
    cut = (entry + time) / 2
    split = cumulative_incidence(
        np.concatenate((cut, time)),
        np.concatenate((np.zeros_like(cause), cause)),
        entry=np.concatenate((entry, cut)),
        weight=np.tile(weight, 2),
    )
    assert_same(whole, split)
    repeated = [np.repeat(values, weight) for values in (time, cause, entry)]
    assert_same(whole, cumulative_incidence(repeated[0], repeated[1], entry=repeated[2]))


@pytest.mark.parametrize("seed", range(5))
def test_variances_equal_the_explicit_delta_method_sum(seed: int) -> None:
    # Dinse & Larson 1986; Marubini & Valsecchi 1995, Analysing Survival Data, section 10.2 (from memory).
    time, cause, entry, weight = competing_records(seed)
    curves = [*cumulative_incidence(time, cause, entry=entry, weight=weight).values()]
    event_free = 1 - np.sum([curve.share for curve in curves], axis=0)
    before = np.concatenate(([1.0], event_free[:-1]))
    n, d = curves[0].n_risk, np.sum([curve.n_event for curve in curves], axis=0)
    for curve in curves:
        f, dk = curve.share, curve.n_event
        for last in range(len(curve.time)):
            total = 0.0
            for j in range(last + 1):
                later = f[last] - f[j]
                if n[j] > d[j]:
                    total += later**2 * d[j] / (n[j] * (n[j] - d[j]))
                total += before[j] ** 2 * dk[j] * (n[j] - dk[j]) / n[j] ** 3
                total -= 2 * later * before[j] * dk[j] / n[j] ** 2
            assert standard_error(curve)[last] ** 2 == pytest.approx(total, abs=1e-12)


@pytest.mark.parametrize("seed", range(5))
def test_a_single_cause_is_one_less_the_kaplan_meier_curve(seed: int) -> None:
    time, cause, entry, weight = competing_records(seed)
    event = (cause > 0).astype(np.int64)
    curve = cumulative_incidence(time, event, entry=entry, weight=weight)[1]
    survival = kaplan_meier(time, event, entry=entry, weight=weight)
    alive = survival.share > 0
    assert curve.share == pytest.approx(1 - survival.share, abs=1e-12)
    for mine, theirs in ((curve.low, 1 - survival.high), (curve.high, 1 - survival.low)):
        assert mine[alive] == pytest.approx(theirs[alive], abs=1e-10)


def test_late_entries_count_only_after_they_enter() -> None:
    # By hand, spans (0,4] of cause 1, (0,3] censored, (1,5] of cause 2, (3,6] of cause 1, (4,7] censored: at
    # risk 3, 3, 2, so S before the events is 1, 2/3, 4/9.
    curves = cumulative_incidence([4, 3, 5, 6, 7], [1, 0, 2, 1, 0], entry=[0, 0, 1, 3, 4])
    assert curves[1].n_risk.tolist() == [3, 3, 2]
    assert curves[1].share == pytest.approx(np.array([3, 3, 5]) / 9)
    assert curves[2].share == pytest.approx(np.array([0, 2, 2]) / 9)


def test_a_cause_that_never_struck_is_reported_as_0_when_asked_for() -> None:
    curves = cumulative_incidence([1, 2, 3], [1, 1, 0], causes=[2, 1])
    assert [*curves] == [2, 1]
    assert curves[2].at(2).estimate == 0.0
    assert math.isnan(curves[2].at(2).high)
    assert curves[1].at(2).estimate == pytest.approx(2 / 3)


def test_curves_are_unknown_after_the_last_follow_up_and_without_events_stay_at_0() -> None:
    assert cumulative_incidence([1, 2], [1, 2])[1].at(3).estimate == 0.5, "none is left to end otherwise"
    assert math.isnan(cumulative_incidence([1, 2], [1, 0])[1].at(3).estimate)
    curve = cumulative_incidence([1, 3], [0, 0], causes=[1])[1]
    assert curve.at(2).estimate == 0.0
    assert math.isnan(curve.at(4).estimate)
