"""Shares of bad castings with their intervals: of all, and by bins of temperature."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from benchwater.plugin import Bench
from benchwater.statistics.interval import Interval
from benchwater.statistics.proportions import (
    TrendTest,
    clustered_wilson_interval,
    cochran_armitage,
    few_cluster_effect,
)

BIN_WIDTH = {"us": 25.0, "metric": 10.0}


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftOpen:
    """What rows set aside leave of a share: from `least` to `most`, as all of them are good or all bad."""

    rows: int
    castings: int
    least: float
    most: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RejectRate:
    """The share of bad castings; `effect` is the design effect of sessions, which widens the interval.

    `left_open` is there where rows set aside could move the share out of its interval: then `rate` has the
    limits of the least and of the most share.
    """

    castings: int
    rejects: int
    fills: int
    sessions: int
    effect: float
    rate: Interval
    left_open: LeftOpen | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class TemperatureBin:
    """The castings of fills from `low_c` to below `high_c`."""

    low_c: float
    high_c: float
    castings: int
    rejects: int
    rate: Interval


def on_bench_scale(bench: Bench, celsius: Any) -> Any:
    """Converts degC to plain numbers on the bench's own scale, for bins and axes."""
    return np.asarray(celsius, dtype=np.float64) * 1.8 + 32 if bench.system == "us" else np.asarray(celsius)


def reject_rate(fills: pd.DataFrame, effect: float, refused: pd.DataFrame | None = None) -> RejectRate:
    """Returns the share of bad castings of fills, its interval widened by the design effect of sessions.

    `refused` are pour rows set aside that may be of these fills' molds.
    """
    castings, rejects = int(fills["castings"].sum()), int(fills["rejects"].sum())
    rate, left_open = with_rows_left_open(rejects, castings, effect, refused)
    return RejectRate(
        castings=castings,
        rejects=rejects,
        fills=len(fills),
        sessions=fills["session"].nunique(),
        effect=effect,
        rate=rate,
        left_open=left_open,
    )


def with_rows_left_open(
    rejects: int, castings: int, effect: float, refused: pd.DataFrame | None
) -> tuple[Interval, LeftOpen | None]:
    """Returns the share of bad castings, and what rows set aside leave of it if they could move it out.

    Bounds without assumptions on what is missing: Horowitz & Manski 2000, J. Amer. Statist. Assoc. 95:77-84
    (from memory).
    """
    rate = clustered_wilson_interval(rejects, castings, min(effect, castings))
    if refused is None or refused.empty:
        return rate, None
    refused = refused[refused["outcome"] != "blank"]
    count, outcome = refused["count"], refused["outcome"]
    total = castings + int(count.sum())
    fewest = rejects + int(count[outcome == "reject"].sum())
    most = fewest + int(count[outcome.isna()].sum())
    if rate.low <= fewest / total and most / total <= rate.high:
        return rate, None
    low, high = (clustered_wilson_interval(bad, total, min(effect, total)) for bad in (fewest, most))
    left_open = LeftOpen(
        rows=len(refused), castings=total - castings, least=fewest / total, most=most / total
    )
    return replace(rate, low=min(rate.low, low.low), high=max(rate.high, high.high)), left_open


def session_effect(rows: pd.DataFrame, strata: str | None = None) -> float:
    """Returns the design effect of sessions within `strata`, a column; of fills where none holds two."""
    stratum = np.zeros(len(rows), np.int64) if strata is None else pd.factorize(rows[strata])[0]
    for unit in (rows["session"].cat.codes.to_numpy(dtype=np.int64), rows["key"].to_numpy(dtype=np.int64)):
        width = int(unit.max(initial=0)) + 1
        clusters, place = np.unique(stratum * width + unit, return_inverse=True)
        rejects, castings = (np.bincount(place, rows[name]) for name in ("rejects", "castings"))
        effect = few_cluster_effect(rejects, castings, None if strata is None else clusters // width)
        if effect is not None:
            return effect
    return 1.0


def rates_by_bin(bench: Bench, fills: pd.DataFrame) -> tuple[tuple[TemperatureBin, ...], TrendTest | None]:
    """Returns the share of bad castings by the `bin` of each fill, and its trend."""
    effect = session_effect(fills, "bin")
    numbers, place = np.unique(fills["bin"], return_inverse=True)
    castings, rejects = (np.bincount(place, fills[name]).astype(np.int64) for name in ("castings", "rejects"))
    bins = tuple(
        TemperatureBin(
            low_c=_bin_edge(bench, number),
            high_c=_bin_edge(bench, number + 1),
            castings=made,
            rejects=bad,
            rate=clustered_wilson_interval(bad, made, min(effect, made)),
        )
        for number, made, bad in zip(numbers.tolist(), castings.tolist(), rejects.tolist(), strict=True)
    )
    middles = [(each.low_c + each.high_c) / 2 for each in bins]
    return bins, cochran_armitage(rejects, castings, middles, dispersion=effect)


def bin_numbers(bench: Bench, celsius: Any) -> Any:
    """Returns the number of the bin of each temperature; edges are round in the bench's own unit."""
    return np.floor((on_bench_scale(bench, celsius) + 1e-6) / BIN_WIDTH[bench.system])


def _bin_edge(bench: Bench, number: float) -> float:
    """Returns the lower edge of a bin in degC."""
    edge = number * BIN_WIDTH[bench.system]
    return (edge - 32) / 1.8 if bench.system == "us" else edge
