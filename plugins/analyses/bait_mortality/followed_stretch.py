"""Curves over the stretch of a time scale that follow-up records cover without a gap."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from .competing_risks import CumulativeIncidence, cumulative_incidence
from .survival import FollowUp, SurvivalCurve, follow_up, kaplan_meier


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Lives:
    """Records up to their first gap, with the curves of survival and of each cause drawn from them.

    `gap` is the time of the gap, None without one: records that start later are left out of all three.
    """

    records: FollowUp
    survival: SurvivalCurve
    incidence: CumulativeIncidence
    gap: float | None


def lives_to_first_gap(
    time: ArrayLike,
    cause: ArrayLike,
    *,
    entry: ArrayLike,
    weight: ArrayLike,
    causes: Sequence[int],
    level: float = 0.95,
) -> Lives:
    """Follow records (arrays (n,), see `competing_risks.cumulative_incidence`) up to their first gap.

    With late entry a curve can be drawn up to there only: what comes later belongs to units of which it is
    not known how many share their start.
    Raises ValueError as `cumulative_incidence` does.
    """
    arrays = [np.asarray(values, dtype=np.float64) for values in (time, cause, entry, weight)]
    gap = first_gap(follow_up(arrays[0], arrays[1], entry=arrays[2], weight=arrays[3]))
    if gap is not None:
        arrays = [values[np.asarray(time, dtype=np.float64) <= gap] for values in arrays]
    times, codes, entries, weights = arrays
    return Lives(
        records=follow_up(times, codes, entry=entries, weight=weights),
        survival=kaplan_meier(times, codes > 0, entry=entries, weight=weights, level=level),
        incidence=cumulative_incidence(
            times, codes, entry=entries, weight=weights, causes=causes, level=level
        ),
        gap=gap,
    )


def first_gap(records: FollowUp) -> float | None:
    """The first time just after which nobody is at risk though some are followed later; None without one."""
    ends = np.unique(records.time)[:-1]
    gaps = ends[records.at_risk(np.nextafter(ends, np.inf)) == 0]
    return float(gaps[0]) if len(gaps) else None


def well_followed_to(records: FollowUp, least: int) -> float:
    """The last time that a record ends before fewer than `least` units are at risk, in half units from 1 up.

    The last time of all where so many are at risk at no end, or at every end. Rounded down, never up.
    """
    times = np.unique(records.time)
    few = np.flatnonzero(records.at_risk(times) < least)
    last = float(times[few[0] - 1]) if len(few) and few[0] > 0 else float(times[-1])
    return math.floor(last * 2) / 2 if last >= 1 else last
