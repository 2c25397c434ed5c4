"""Computes cures against their windows, rejects, coat used per piece and flaws by temperature."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from benchwater.ledger.pieces import softens
from benchwater.plugin import Bench, Season, Span
from benchwater.statistics.interval import Interval, holm_adjusted
from benchwater.statistics.proportions import (
    TrendTest,
    cochran_armitage,
    design_effect,
    wilson_interval,
)
from benchwater.statistics.uncertainty import combined_uncertainty, resolution_uncertainty
from benchwater.words import known

CureVerdict = Literal["in the window", "too cool", "too hot", "too short", "too long", "not recorded"]

COUNTED = "counted"
GAINED = ("received", "recovered")
LOST = "discarded"
COVERAGE = 2.0
BLOCKED = "blocked guard hole"
ENOUGH_WITH_TEMP, ENOUGH_FLAWED = 6, 3
DIP_FLAWS = ("bare spot", "sag")
BIN_WIDTH = {"us": 20.0, "metric": 10.0}
WINDOW_ENDS = ("min_temp_c", "max_temp_c", "min_time_h", "max_time_h")
_ROUNDING = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class UsedPerPiece:
    """`used` of a stock between the counts of two days, by `pieces` of the batches `meanwhile` (a mask)."""

    opened: date
    closed: date
    used: float
    pieces: int
    each: Interval
    meanwhile: NDArray[np.bool_]


def used_per_piece(
    days: Sequence[date],
    moves: Sequence[str],
    amounts: ArrayLike,
    uncertainties: ArrayLike,
    batch_days: Sequence[date],
    batch_pieces: ArrayLike,
    *,
    start: date,
    end: date,
) -> UsedPerPiece | None:
    """Returns the loss of a stock from a count up to `start` to the last one before `end`, over the pieces.

    Stock rows (k,) and batches (b,) are in order of time; stock rows are of one item, `uncertainties` their
    standard uncertainties. used = opening + received + recovered - discarded - closing: what went onto
    pieces or vanished. Without a count up to `start` the first one in the span opens. A count on `start`
    itself comes before that day's batches, any other after its day's. The lower limit is not held above 0.

    The expanded uncertainty is twice the combined one, about 95 %: GUM 5.1.2 and 6.2.1 (JCGM 100:2008,
    from memory). None without two counts, the later one in the span, or without a piece between them.
    """
    counts = [row for row, move in enumerate(moves) if move == COUNTED and days[row] < end]
    before = [row for row in counts if days[row] <= start]
    if not counts or days[counts[-1]] < start:
        return None
    first, last = before[-1] if before else counts[0], counts[-1]
    since = days[first] + timedelta(days=0 if days[first] == start else 1)
    meanwhile = np.array([since <= day <= days[last] for day in batch_days], dtype=bool)
    pieces = int(np.asarray(batch_pieces)[meanwhile].sum())
    if first == last or pieces == 0:
        return None
    amount, u = np.asarray(amounts, dtype=np.float64), np.asarray(uncertainties, dtype=np.float64)
    sign = {first: 1.0, last: -1.0}
    for row in range(first + 1, last):
        sign[row] = 1.0 if moves[row] in GAINED else -1.0 if moves[row] == LOST else 0.0
    used = sum(weight * float(amount[row]) for row, weight in sign.items())
    spread = COVERAGE * combined_uncertainty([u[row] for row, weight in sign.items() if weight]) / pieces
    each = used / pieces
    return UsedPerPiece(
        opened=days[first],
        closed=days[last],
        used=used,
        pieces=pieces,
        each=Interval(estimate=each, low=each - spread, high=each + spread, level=0.95),
        meanwhile=meanwhile,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class SharedBin:
    """Trials and events of one bin, `low` included and `high` not, and the share of events."""

    low: float
    high: float
    trials: int
    events: int
    share: Interval


def binned_shares(
    x: ArrayLike, events: ArrayLike, trials: ArrayLike, width: float
) -> tuple[tuple[SharedBin, ...], TrendTest | None]:
    """Returns the shares events/trials of clusters (k,) by bins of `x` (k,), and the trend over the bins.

    Bins start at whole multiples of `width`. Intervals are Wilson's over trials divided by the design effect
    within bins (see `clustered`); the trend is Cochran's and Armitage's over the bins' middles and the same
    effect, None where there is none to test.

    Raises ValueError for unequal shapes, events outside 0..trials, no trials in a cluster or a width not
    above 0.
    """
    places, y, n = (np.asarray(values, dtype=np.float64) for values in (x, events, trials))
    if not width > 0 or np.any(n <= 0):
        raise ValueError("the width and every cluster's trials must be above 0")
    if not places.shape == y.shape == n.shape:
        raise ValueError(f"x {places.shape}, events {y.shape} and trials {n.shape} must be of one length")
    number = np.floor(places / width + _ROUNDING)
    effect = design_effect(y, n, number)
    bins = tuple(
        SharedBin(
            low=float(which * width),
            high=float((which + 1) * width),
            trials=round(float(n[number == which].sum())),
            events=round(float(y[number == which].sum())),
            share=wilson_interval(float(y[number == which].sum()), float(n[number == which].sum()), effect),
        )
        for which in np.unique(number)
    )
    middles = [(each.low + each.high) / 2 for each in bins]
    hit, tried = [each.events for each in bins], [each.trials for each in bins]
    return bins, cochran_armitage(hit, tried, middles, dispersion=effect)


IN_WINDOW, NOT_RECORDED, NO_WINDOW = "in the window", "not recorded", "no window stated"


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedCure:
    """A build on the bench whose coat cures from `cures_from_c`, where its head melts or softens."""

    build: str
    mold: str
    coat: str
    cures_from_c: float
    alloy: str
    melts_c: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CoatUsed:
    """The coat that went on each piece between two counts; `planned` is None unless every head has a plan."""

    coat: str
    unit: str
    used: UsedPerPiece
    planned: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class DipFlaw:
    """A flaw of dipping by the temperature of the piece, bins in the unit that the bench prints.

    `trend` and `p_adjusted` are None where there are too few flaws to test.
    """

    flaw: str
    bins: tuple[SharedBin, ...]
    trend: TrendTest | None
    p_adjusted: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Batches:
    """The batches of a span with their `verdict`, and parts of them.

    `judged` could be held against a window, `outside` were outside it, `melted` were cured where the head
    softens, `blocked` had blocked guard holes. `rejects` is the share of all pieces that were rejected.
    """

    season: Season
    all: pd.DataFrame
    judged: pd.DataFrame
    outside: pd.DataFrame
    melted: pd.DataFrame
    blocked: pd.DataFrame
    rejects: Interval
    planned: tuple[PlannedCure, ...]
    coats: tuple[CoatUsed, ...]
    with_temperature: int
    dip_flaws: tuple[DipFlaw, ...]


def finished_batches(season: Season, span: Span) -> Batches:
    """Computes everything the section says of the batches of a span."""
    rows, bench = _judged(season.rows("finishing", span), season.bench), season.bench
    judged = rows[~rows["verdict"].isin((NOT_RECORDED, NO_WINDOW))]
    total, bad = int(rows["count"].sum()), int(rows["rejects"].sum())
    warm = rows[rows["part_temp_c"].notna()]
    return Batches(
        season=season,
        all=rows,
        judged=judged,
        outside=judged[judged["verdict"] != IN_WINDOW],
        melted=rows[rows["melted"]],
        blocked=rows[(rows["flaw"] == BLOCKED) & (rows["rejects"] > 0)],
        rejects=wilson_interval(bad, total, design_effect(rows["rejects"], rows["count"])),
        planned=tuple(_planned(bench)) if span.name == "season" else (),
        coats=tuple(_coats_used(season, span)),
        with_temperature=len(warm),
        dip_flaws=_dip_flaws(warm, bench) if len(warm) >= ENOUGH_WITH_TEMP else (),
    )


def _judged(rows: pd.DataFrame, bench: Bench) -> pd.DataFrame:
    """Returns the batches with `verdict`, and `melted` where the cure was too hot for the head."""
    verdicts, melted = [], []
    cells = rows[["mold", "coat", "cure_temp_c", "cure_time_h"]]
    for mold, coat, temp_c, time_h in cells.itertuples(index=False):
        (temp, time), melts = known(temp_c, time_h), _melts(bench, mold)
        ends = {end: getattr(bench.items[coat].cure, end, None) for end in WINDOW_ENDS}
        stated = any(end is not None for end in ends.values())
        verdicts.append(cure_verdict(temp, time, **ends) if stated else NO_WINDOW)
        melted.append(temp is not None and melts is not None and softens(temp, melts))
    return rows.assign(verdict=verdicts, melted=melted)


def _melts(bench: Bench, mold: str) -> float | None:
    """Returns where the head's alloy begins to melt, None where unknown or the head is no metal."""
    item = bench.items[bench.material_of(mold)]
    return item.melts_c if item.kind == "metal" else None


def _planned(bench: Bench) -> Iterator[PlannedCure]:
    for build in bench.builds.values():
        cure = bench.items[build.coat].cure if build.coat else None
        start = cure.min_temp_c if cure else None
        melts = _melts(bench, build.head[0]) if build.head else None
        if build.coat and build.head and start is not None and melts is not None and softens(start, melts):
            yield PlannedCure(
                build=build.name,
                mold=build.head[0],
                coat=build.coat,
                cures_from_c=start,
                alloy=bench.material_of(build.head[0]),
                melts_c=melts,
            )


def _coats_used(season: Season, span: Span) -> Iterator[CoatUsed]:
    if not season.holds("inventory"):
        return
    inventory = season.log("inventory")[["item", "date", "move", "amount", "uncertainty"]]
    finishing = season.log("finishing")[["coat", "date", "mold", "cavity", "count"]]
    for coat in sorted(set(season.rows("finishing", span)["coat"])):
        item, done = season.bench.items[coat], finishing[finishing["coat"] == coat]
        stock = inventory[inventory["item"] == coat]
        of_scale = resolution_uncertainty(item.resolution or 0.0)  # what is bought is taken as written
        found = used_per_piece(
            stock["date"].to_numpy("datetime64[D]").tolist(),
            stock["move"].tolist(),
            stock["amount"],
            stock["uncertainty"].fillna((stock["move"] != "received") * of_scale),
            done["date"].to_numpy("datetime64[D]").tolist(),
            done["count"],
            start=span.start,
            end=span.end,
        )
        if found is not None:
            planned = _planned_mass(season.bench, coat, done[found.meanwhile])
            yield CoatUsed(coat=coat, unit=item.unit, used=found, planned=planned)


def _planned_mass(bench: Bench, coat: str, done: pd.DataFrame) -> float | None:
    """Returns grams a piece as the builds of these heads plan it, None unless they plan it for every one."""
    masses: dict[object, list[float]] = {}
    for build in bench.builds.values():
        if build.coat == coat and build.coat_mass_g is not None:
            masses.setdefault(build.head, []).append(build.coat_mass_g)
    heads = list(zip(done["mold"].tolist(), done["cavity"].tolist(), strict=True))
    if bench.items[coat].unit != "g" or any(head not in masses for head in heads):
        return None
    planned = np.array([sum(masses[head]) / len(masses[head]) for head in heads])
    count = done["count"].to_numpy(dtype=np.float64)
    return float((count * planned).sum() / count.sum())


def _dip_flaws(warm: pd.DataFrame, bench: Bench) -> tuple[DipFlaw, ...]:
    """Bins and trend of each flaw, p-values adjusted over the flaws tested."""
    us, found = bench.system == "us", {}
    shown = warm["part_temp_c"] * 1.8 + 32 if us else warm["part_temp_c"]
    for flaw in DIP_FLAWS:
        hits = warm["rejects"].where(warm["flaw"] == flaw, 0)
        bins, trend = binned_shares(shown, hits, warm["count"], BIN_WIDTH[bench.system])
        found[flaw] = bins, trend if hits.sum() >= ENOUGH_FLAWED else None
    tested = {flaw: trend.p_value for flaw, (_, trend) in found.items() if trend is not None}
    adjusted = dict(zip(tested, holm_adjusted(list(tested.values())).tolist(), strict=True))
    return tuple(
        DipFlaw(flaw=flaw, bins=bins, trend=trend, p_adjusted=adjusted.get(flaw))
        for flaw, (bins, trend) in found.items()
    )


def cure_verdict(
    temp_c: float | None,
    time_h: float | None,
    *,
    min_temp_c: float | None = None,
    max_temp_c: float | None = None,
    min_time_h: float | None = None,
    max_time_h: float | None = None,
) -> CureVerdict:
    """Where a cure lies against a window whose ends belong to it; an end that is None does not bind.

    Temperature is judged first, as no time makes up for it. A cure known to be out on one count is said
    to be so even if the other was not recorded; else it is `not recorded` when a needed number is None.
    """
    if temp_c is not None:
        if min_temp_c is not None and temp_c < min_temp_c - _ROUNDING:
            return "too cool"
        if max_temp_c is not None and temp_c > max_temp_c + _ROUNDING:
            return "too hot"
    if time_h is not None:
        if min_time_h is not None and time_h < min_time_h - _ROUNDING:
            return "too short"
        if max_time_h is not None and time_h > max_time_h + _ROUNDING:
            return "too long"
    temp_needed = min_temp_c is not None or max_temp_c is not None
    time_needed = min_time_h is not None or max_time_h is not None
    if (temp_needed and temp_c is None) or (time_needed and time_h is None):
        return "not recorded"
    return "in the window"
