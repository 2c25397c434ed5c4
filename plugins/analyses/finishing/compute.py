"""Computes cures against their windows, rejects, coat used per piece and flaws by temperature."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from benchwater.ledger import midnight
from benchwater.ledger.pieces import cures_that_melt, softens
from benchwater.plugin import Bench, CureWindow, Season, Span
from benchwater.statistics.interval import Interval, holm_adjusted
from benchwater.statistics.proportions import TrendTest, cochran_armitage, design_effect, wilson_interval
from benchwater.statistics.uncertainty import combined_uncertainty, resolution_uncertainty
from benchwater.words import known

COVERAGE = 2.0
BLOCKED = "blocked guard hole"
ENOUGH_WITH_TEMP, ENOUGH_FLAWED = 6, 3
DIP_FLAWS = ("bare spot", "sag")
BIN_WIDTH = {"us": 20.0, "metric": 10.0}
IN_WINDOW, NOT_RECORDED, NO_WINDOW = "in the window", "not recorded", "no window stated"
_ROUNDING = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class SharedBin:
    """Trials and events of one bin, `low` included and `high` not, and the share of events."""

    low: float
    high: float
    trials: int
    events: int
    share: Interval


@dataclass(frozen=True, slots=True, kw_only=True)
class CoatUsed:
    """The coat `used` between the counts of two days, over the `pieces` coated meanwhile.

    `planned` is the mass a piece as their builds plan it, None unless every head has a plan.
    """

    coat: str
    unit: str
    opened: date
    closed: date
    used: float
    pieces: int
    each: Interval
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
    `planned` says of builds in bench.toml what their cure would melt.
    """

    season: Season
    all: pd.DataFrame
    judged: pd.DataFrame
    outside: pd.DataFrame
    melted: pd.DataFrame
    blocked: pd.DataFrame
    rejects: Interval
    planned: dict[str, str]
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
        planned=cures_that_melt(bench) if span.name == "season" else {},
        coats=tuple(_coats_used(season, span)),
        with_temperature=len(warm),
        dip_flaws=_dip_flaws(warm, bench) if len(warm) >= ENOUGH_WITH_TEMP else (),
    )


def _judged(rows: pd.DataFrame, bench: Bench) -> pd.DataFrame:
    """Returns the batches with `verdict`, and `melted` where the cure was too hot for the head."""
    verdicts, melted = [], []
    cells = rows[["mold", "coat", "cure_temp_c", "cure_time_h"]]
    for mold, coat, temp_c, time_h in cells.itertuples(index=False):
        (temp, time), alloy = known(temp_c, time_h), bench.items[bench.material_of(mold)]
        verdicts.append(cure_verdict(temp, time, bench.items[coat].cure or CureWindow()))
        melts = alloy.melts_c if alloy.kind == "metal" else None
        melted.append(temp is not None and melts is not None and softens(temp, melts))
    return rows.assign(verdict=verdicts, melted=melted)


def cure_verdict(temp_c: float | None, time_h: float | None, window: CureWindow) -> str:
    """Where a cure lies against a window whose ends belong to it; an end that is None does not bind.

    Temperature is judged first, as no time makes up for it. A cure known to be out on one count is said
    to be so even if the other was not recorded; else it is `not recorded` when a needed number is None.
    """
    unknown = stated = False
    for value, low, high, below, above in (
        (temp_c, window.min_temp_c, window.max_temp_c, "too cool", "too hot"),
        (time_h, window.min_time_h, window.max_time_h, "too short", "too long"),
    ):
        bound = low is not None or high is not None
        stated, unknown = stated or bound, unknown or (bound and value is None)
        if value is not None and low is not None and value < low - _ROUNDING:
            return below
        if value is not None and high is not None and value > high + _ROUNDING:
            return above
    return NOT_RECORDED if unknown else IN_WINDOW if stated else NO_WINDOW


def _coats_used(season: Season, span: Span) -> Iterator[CoatUsed]:
    if not season.holds("inventory"):
        return
    inventory, finishing = season.log("inventory"), season.log("finishing")
    for coat in sorted(set(season.rows("finishing", span)["coat"])):
        item, done = season.bench.items[coat], finishing[finishing["coat"] == coat]
        stock = inventory[inventory["item"] == coat]
        of_scale = resolution_uncertainty(item.resolution or 0.0)  # what is bought is taken as written
        known_to = stock["uncertainty"].fillna((stock["move"] != "received") * of_scale)
        found = coat_used(stock.assign(uncertainty=known_to), done, span, season.bench)
        if found is not None:
            yield found


def coat_used(stock: pd.DataFrame, batches: pd.DataFrame, span: Span, bench: Bench) -> CoatUsed | None:
    """Returns the loss of one coat from a count up to the span's start to its last one, over the pieces.

    `stock` and `batches` are its rows in the inventory (each with its standard `uncertainty`) and finishing
    logs, in order of time. used = opening + received + recovered - discarded - closing: what went onto pieces
    or vanished. Without a count up to the start the first one in the span opens. A count on the first day
    comes before that day's batches, any other after its day's. The lower limit is not held above 0.

    The expanded uncertainty is twice the combined one, about 95 %: GUM 5.1.2 and 6.2.1 (JCGM 100:2008,
    from memory). None without two counts, the later one in the span, or without a piece between them.
    """
    start, day = midnight(span.start), stock["date"].dt.normalize()
    counted = np.flatnonzero((stock["move"] == "counted") & (day < midnight(span.end)))
    before = [row for row in counted if day.iloc[row] <= start]
    if not len(counted) or day.iloc[counted[-1]] < start:
        return None
    first, last = before[-1] if before else counted[0], counted[-1]
    opened, closed, when = day.iloc[first], day.iloc[last], batches["date"].dt.normalize()
    done = batches[(when >= opened if opened == start else when > opened) & (when <= closed)]
    pieces = int(done["count"].sum())
    if first == last or pieces == 0:
        return None
    signs = stock["move"].map({"received": 1.0, "recovered": 1.0, "discarded": -1.0}).astype("float64")
    sign = signs.fillna(0.0).to_numpy()[first : last + 1].copy()
    sign[0], sign[-1] = 1.0, -1.0
    between = stock.iloc[first : last + 1]
    used = float((sign * between["amount"]).sum())
    each = used / pieces
    spread = COVERAGE * combined_uncertainty((sign * between["uncertainty"]).to_numpy()) / pieces
    coat = str(batches["coat"].iloc[0])
    return CoatUsed(
        coat=coat,
        unit=bench.items[coat].unit,
        opened=opened.date(),
        closed=closed.date(),
        used=used,
        pieces=pieces,
        each=Interval(estimate=each, low=each - spread, high=each + spread, level=0.95),
        planned=_planned_mass(bench, coat, done),
    )


def _planned_mass(bench: Bench, coat: str, done: pd.DataFrame) -> float | None:
    """Returns grams a piece as the builds of these heads plan it, None unless they plan it for every one."""
    masses: dict[object, list[float]] = {}
    for build in bench.builds.values():
        if build.coat == coat and build.coat_mass_g is not None:
            masses.setdefault(build.head, []).append(build.coat_mass_g)
    heads = list(zip(done["mold"], done["cavity"], strict=True))
    if bench.items[coat].unit != "g" or any(head not in masses for head in heads):
        return None
    return float(np.average([np.mean(masses[head]) for head in heads], weights=done["count"]))


def _dip_flaws(warm: pd.DataFrame, bench: Bench) -> tuple[DipFlaw, ...]:
    """Bins and trend of each flaw, p-values adjusted over the flaws tested."""
    shown, found = warm["part_temp_c"], {}
    shown = shown * 1.8 + 32 if bench.system == "us" else shown
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


def binned_shares(
    x: ArrayLike, events: ArrayLike, trials: ArrayLike, width: float
) -> tuple[tuple[SharedBin, ...], TrendTest | None]:
    """Returns the shares events/trials of clusters (k,) by bins of `x` (k,), and the trend over the bins.

    Bins start at whole multiples of `width`. Intervals are Wilson's, widened by the design effect within
    bins; the trend is Cochran's and Armitage's over the bins' middles and the same effect, None where there
    is none to test.
    """
    counts = pd.DataFrame({"x": x, "events": events, "trials": trials}, dtype="float64")
    number = np.floor(counts["x"] / width + _ROUNDING)
    effect = design_effect(counts["events"], counts["trials"], number)
    sums = counts.groupby(number)[["events", "trials"]].sum()
    bins = tuple(
        SharedBin(
            low=which * width,
            high=(which + 1) * width,
            trials=round(tried),
            events=round(hit),
            share=wilson_interval(hit, tried, effect),
        )
        for which, hit, tried in sums.itertuples(name=None)
    )
    middles = [(each.low + each.high) / 2 for each in bins]
    return bins, cochran_armitage(sums["events"], sums["trials"], middles, dispersion=effect)
