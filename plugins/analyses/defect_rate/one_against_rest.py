"""Each of several groups against all the others within strata, the p-values adjusted."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtrc

from benchwater.statistics.multiplicity import holm_adjusted

from .stratified import MantelHaenszel, ShareRatio, mantel_haenszel, share_ratio


def one_against_rest(
    strata: ArrayLike, groups: Sequence[str], trials: ArrayLike, events: ArrayLike, *, dispersion: float = 1.0
) -> dict[str, MantelHaenszel]:
    """For each group, its odds ratio against the others of the same stratum; all (n,), rows in any order.

    Mantel and Haenszel 1959, Journal of the National Cancer Institute 22:719-748 (see `mantel_haenszel`).
    Empty for a single group. `dispersion`, the design effect of clusters that lie within strata, divides
    `statistic`; limits and `log_standard_error` stay as they are. Raises ValueError for unequal lengths and
    as `mantel_haenszel` does.
    """
    names = sorted(set(groups))
    if len(names) < 2:
        return {}
    return {
        name: _dispersed(mantel_haenszel(*_two_groups(strata, groups, trials, events, name)), dispersion)
        for name in names
    }


def times_as_often(
    strata: ArrayLike,
    groups: Sequence[str],
    trials: ArrayLike,
    events: ArrayLike,
    group: str,
    *,
    dispersion: float = 1.0,
) -> ShareRatio:
    """How many times as often the outcome comes in `group` as in the others of the same stratum; all (n,).

    Greenland and Robins 1985, Biometrics 41:55-68 (see `share_ratio`), whose ratio reads as people say it,
    where an odds ratio does not once the outcome is frequent. Raises ValueError as `one_against_rest` does.
    """
    return share_ratio(*_two_groups(strata, groups, trials, events, group), dispersion=dispersion)


def _two_groups(
    strata: ArrayLike, groups: Sequence[str], trials: ArrayLike, events: ArrayLike, group: str
) -> tuple[NDArray[np.float64], ...]:
    """Events and trials by stratum of the group, then of all the others."""
    made, bad = (np.asarray(values, dtype=np.float64) for values in (trials, events))
    rows = np.unique(np.asarray(strata), return_inverse=True)[1]
    labels = np.asarray(groups)
    if not rows.shape == labels.shape == made.shape == bad.shape:
        raise ValueError("strata, groups, trials and events must be of one length")
    size = int(rows.max()) + 1
    return tuple(
        np.asarray(np.bincount(rows[chosen], values[chosen], minlength=size), dtype=np.float64)
        for chosen in (labels == group, labels != group)
        for values in (bad, made)
    )


def adjusted_p(families: Sequence[dict[str, MantelHaenszel]]) -> list[dict[str, float]]:
    """Holm's adjusted p-values over all comparisons of all families, in the same places.

    Holm 1979, Scand. J. Statist. 6:65-70 (from memory). Of two groups, one against the other is the same
    test twice: it counts once. A comparison without information is left out.
    """
    tests: dict[tuple[int, str], float] = {}
    for at, family in enumerate(families):
        for name, result in family.items():
            if result.p_value is not None:
                tests[at, _test_name(family, name)] = result.p_value
    adjusted = dict(zip(tests, holm_adjusted(list(tests.values())), strict=True))
    return [
        {
            name: float(adjusted[at, _test_name(family, name)])
            for name, r in family.items()
            if r.p_value is not None
        }
        for at, family in enumerate(families)
    ]


def _test_name(family: dict[str, MantelHaenszel], name: str) -> str:
    return min(family) if len(family) == 2 else name


def _dispersed(result: MantelHaenszel, dispersion: float) -> MantelHaenszel:
    if result.statistic is None or dispersion == 1.0:
        return result
    statistic = result.statistic / dispersion
    return replace(result, statistic=statistic, p_value=float(chdtrc(1.0, statistic)))
