"""Computes bad castings by mold, temperature, cavity and session, and how molds warm up."""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from benchwater.ledger import computed_once, midnight, recent
from benchwater.ledger.fills import (
    MOST_FILLS,
    SPRUES,
    Runs,
    fills_of,
    molds_by_weight,
    poured_in,
    read_with_a_gun,
    runs_of,
)
from benchwater.ledger.log_rows import rows_left_open, what_settles
from benchwater.plugin import Bench, Season, Span
from benchwater.statistics.interval import Interval
from benchwater.statistics.proportions import TrendTest, design_effect

from .mold_heat import (
    AIR_C,
    LOW_MELTING_C,
    Fills,
    WarmingMold,
    fill_temperatures,
    is_far_too_low,
    warming_mold,
)
from .rates import (
    SIGNIFICANCE,
    Adjusted,
    ControlChart,
    RejectRate,
    ShareRatio,
    TemperatureBin,
    adjusted,
    bin_numbers,
    one_against_rest,
    p_chart,
    rates_by_bin,
    reject_rate,
    session_effect,
    share_interval,
)
from .working_window import ENOUGH_FLAWED, FlawWindow, flaw_window

FloatArray = NDArray[np.float64]

ENOUGH_CASTINGS, ENOUGH_SESSIONS = 30, 4
MOST_MOLDS = 100
POUR_COLUMNS = ["date", "mold", "cavity", "flaw", "session", "key", "castings", "rejects", "cold", "hot"]
# Common practice, no source: the superheat of a pour, and how warm a mold for lead alloys should be.
SUPERHEAT_K, CUSTOMARY_C = 120.0, 150.0
LEAD_MELTS_C = 252.0
WIDE_GAP_K = 20.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ByTemperature:
    """The fills of known temperature, their bins, the trend over these and the fitted window.

    `trend` is None where there is none to test, `window` where too few castings or flaws allow a fit.
    """

    fills: pd.DataFrame
    castings: int
    bins: tuple[TemperatureBin, ...]
    trend: TrendTest | None
    window: FlawWindow | None


@dataclass(frozen=True, slots=True, kw_only=True)
class CavityRate:
    """The castings of one cavity. `p` is None where it was not compared with the others of its mold.

    `often` says how many times as often it fails as they do, None unless that is shown; `level` is that of
    its limits, which allow for all comparisons.
    """

    cavity: str
    rows: pd.DataFrame
    castings: int
    rejects: int
    rate: Interval
    p: float | None
    often: ShareRatio | None
    level: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Sessions:
    """The sessions of a mold (`session`, `castings`, `rejects`, median `mold_temp_c`) and their p-chart."""

    table: pd.DataFrame
    chart: ControlChart

    @property
    def judged(self) -> bool:
        """Whether there are enough sessions to say which is out of control."""
        return len(self.table) >= ENOUGH_SESSIONS


@dataclass(frozen=True, slots=True, kw_only=True)
class UnreadFills:
    """The castings of fills without a reading, by the temperature that the heat balance estimates."""

    total: RejectRate
    coolest_c: float
    warmest_c: float
    bins: tuple[TemperatureBin, ...]
    trend: TrendTest | None


@dataclass(frozen=True, slots=True, kw_only=True)
class MoldHeat:
    """The heat balance of a mold; `model`, `fills` and `unread` are None without a mold mass.

    `gun_sessions` are those whose readings are likely an infrared gun's on bare metal, and `suspected` says
    that only the heat balance tells so. Their readings are used neither for the model nor for `usual_c`, the
    median first reading (None without any).
    """

    runs: Runs
    model: WarmingMold | None
    usual_c: float | None
    gun_sessions: set[str]
    suspected: bool
    fills: pd.DataFrame | None
    unread: UnreadFills | None


@dataclass(frozen=True, slots=True, kw_only=True)
class WarmUp:
    """How many fills bring a mold to `target_c`, which is that of `target_mold` (empty: the customary one).

    The heat balance gives `from_cold`, and `from_usual` from the usual first reading (None where that is near
    cold). Without a balance, `as_logged` holds how many fills each session took that got there.
    """

    target_c: float
    target_mold: str
    from_cold: Fills | None = None
    from_usual: Fills | None = None
    as_logged: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class ByFill:
    """From which fill of a session on the target is met, by the fills themselves, and its 95 % limits.

    It needs neither thermometer nor heat balance, and holds for sessions begun as the logged ones were.
    """

    first: int
    low: int
    high: int
    castings: int


@dataclass(frozen=True, slots=True, kw_only=True)
class MoldResult:
    """All numbers of one mold. `rows` are its pour rows, with `mold_temp_c` and `number` of their fill.

    `recent` are those of recent months. `by_fill` is None where a thermometer tells more. Cavities are
    compared within the same `stratum`: "fill", "temperature" or "session".
    """

    name: str
    rows: pd.DataFrame
    recent: pd.DataFrame
    total: RejectRate
    by_fill: ByFill | None
    by_temperature: ByTemperature
    heat: MoldHeat
    warm_up: WarmUp | None
    cavities: tuple[CavityRate, ...]
    stratum: str
    sessions: Sessions

    @property
    def window(self) -> FlawWindow | None:
        """The fitted window, None where none could be fitted."""
        return self.by_temperature.window

    @property
    def start_at(self) -> float | None:
        """Where the target is first met, or the coldest reading from there on if none lies near."""
        found = None if self.window is None else self.window.first_met
        return None if found is None else (gap_around(self, found) or (0, found))[1]

    @property
    def stop_at(self) -> float | None:
        """Where the target is last met, or the hottest reading up to there if none lies near."""
        found = None if self.window is None else self.window.top
        return None if found is None else (gap_around(self, found) or (found,))[0]


@dataclass(frozen=True, slots=True, kw_only=True)
class BadCastings:
    """The result of a span: of all castings, and of each mold, the best measured first.

    `months` names the recent ones. `settles` says what to mend where rows set aside decide a share.
    `left_out` counts the molds that are in the total only.
    """

    season: Season
    months: str
    total: RejectRate
    molds: tuple[MoldResult, ...]
    settles: str
    left_out: int = 0

    @property
    def left_open(self) -> tuple[str, RejectRate] | None:
        """The first share that rows set aside could move out of its interval, and of which mold it is."""
        shares = [("All molds", self.total), *((mold.name, mold.total) for mold in self.molds)]
        return next((each for each in shares if each[1].left_open is not None), None)


def bad_castings(season: Season, span: Span) -> BadCastings | None:
    """Computes everything the section says; None where no casting was logged."""
    poured, bench = poured_in(season, span), season.bench
    if not poured["castings"].sum():
        return None
    refused = rows_left_open(season, "pour", span)
    fills = fills_of(poured)
    of_fill = fills[["mold_temp_c", "fill"]].to_numpy()[poured["key"]]
    rows = poured[POUR_COLUMNS].assign(mold_temp_c=of_fill[:, 0], number=of_fill[:, 1])
    molds, rows_of = molds_by_weight(fills), by_name(rows, "mold")
    molds, left_out = molds[:MOST_MOLDS], len(molds[MOST_MOLDS:])
    made = fills[fills["castings"] > 0]
    made_of = by_name(made, "mold")
    so_far = made if span.name == "season" else _made_so_far(season)
    so_far_of = by_name(so_far, "mold")
    temperature = {mold: _by_temperature(bench, made_of[mold]) for mold in molds}
    windows = {mold: found.window for mold, found in temperature.items() if found.window is not None}
    guns, lately = read_with_a_gun(poured), recent(season, "pour")
    heat = {mold: _mold_heat(bench, fills, made_of[mold], mold, guns) for mold in molds}
    cavities = _by_cavity(rows_of, made_of, temperature, len(fills))
    return BadCastings(
        season=season,
        months=lately.label,
        total=reject_rate(made, session_effect(so_far, "mold"), refused),
        settles=what_settles(refused) if len(refused) else "",
        left_out=left_out,
        molds=tuple(
            MoldResult(
                name=mold,
                rows=rows_of[mold],
                recent=rows_of[mold][rows_of[mold]["date"] >= midnight(lately.start)],
                total=reject_rate(
                    made_of[mold],
                    session_effect(so_far_of[mold]),
                    refused[refused["mold"].isna() | (refused["mold"] == mold)],
                ),
                by_fill=None if mold in windows else by_fill(made_of[mold], bench.plan.target_reject_rate),
                by_temperature=temperature[mold],
                heat=heat[mold],
                warm_up=_warm_up(bench, mold, windows, heat[mold]),
                cavities=cavities[mold][0],
                stratum=cavities[mold][1],
                sessions=_by_session(made_of[mold]),
            )
            for mold in molds
        ),
    )


@computed_once
def _made_so_far(season: Season) -> pd.DataFrame:
    """The fills of the season to date: they tell how much sessions of a mold differ."""
    whole = Span(name="season", label="season", start=season.start, end=season.end)
    return fills_of(poured_in(season, whole))


def by_name(table: pd.DataFrame, column: str) -> dict[str, pd.DataFrame]:
    """Splits a table by a column of words, in alphabetical order."""
    parts = table.groupby(column, observed=True, sort=False)
    return {str(name): rows for name, rows in sorted(parts, key=lambda part: str(part[0]))}


def gap_around(mold: MoldResult, temp: float) -> tuple[float, float] | None:
    """Returns the readings next to a temperature where they enclose it and lie far apart, else None."""
    read = mold.by_temperature.fills["mold_temp_c"].to_numpy()
    below, above = float(read[read <= temp].max()), float(read[read >= temp].min())
    return (below, above) if above - below > WIDE_GAP_K else None


def by_fill(fills: pd.DataFrame, target: float) -> ByFill | None:
    """Fits bad castings by the number of the fill, as if that were a temperature; None if nothing shows."""
    fills = fills[fills["fill"].between(1, MOST_FILLS)]
    if fills["castings"].sum() < ENOUGH_CASTINGS:
        return None
    found = _window(fills, "fill", target)
    if found is None or found.window is None or not found.falls or found.first_met is None:
        return None
    ends = found.first_met, found.window.first_met_lower, found.window.first_met_upper
    first, low, high = (math.nan if end is None else np.ceil(end - 1e-6) for end in ends)
    if math.isnan(low + high):
        return None
    return ByFill(first=int(first), low=int(low), high=int(high), castings=int(fills["castings"].sum()))


def _window(fills: pd.DataFrame, scale: str, target: float) -> FlawWindow | None:
    return flaw_window(
        fills[scale],
        fills["castings"],
        fills["cold"],
        fills["hot"],
        fills["rejects"] - fills["cold"] - fills["hot"],
        fills["session"].cat.codes,
        target=target,
    )


def _by_temperature(bench: Bench, fills: pd.DataFrame) -> ByTemperature:
    """Bins, trend and window of the fills of one mold whose temperature was read."""
    fills = fills[fills["mold_temp_c"].notna()]
    fills = fills.assign(bin=bin_numbers(bench, fills["mold_temp_c"]))
    castings, window = int(fills["castings"].sum()), None
    bins, trend = rates_by_bin(bench, fills)
    if castings >= ENOUGH_CASTINGS:
        window = _window(fills, "mold_temp_c", bench.plan.target_reject_rate)
    return ByTemperature(fills=fills, castings=castings, bins=bins, trend=trend, window=window)


def _mold_heat(bench: Bench, fills: pd.DataFrame, made: pd.DataFrame, mold: str, guns: set[str]) -> MoldHeat:
    """Fits the heat balance of a mold to its `fills`; `guns` are sessions whose remarks name a gun.

    Where none does, readings far below what book values expect of a mold begun cold make all its sessions
    suspect.
    """
    runs = runs_of(fills, mold)
    of_gun = guns & set(runs.sessions)
    book, cold = _model(bench, fills, mold, runs, slice(0)), np.full(len(runs.sessions), AIR_C)
    suspected = (
        not of_gun and book is not None and is_far_too_low(runs.readings, book.temperatures(cold, runs.waits))
    )
    of_gun = set(runs.sessions) if suspected else of_gun
    trusted = np.array([session not in of_gun for session in runs.sessions], dtype=bool)
    starts = runs.readings[trusted, :1]
    starts = starts[~np.isnan(starts)]
    usual = float(np.median(starts)) if starts.size else None
    model = _model(bench, fills, mold, runs, trusted) if runs.sessions else None
    temperatures = None if model is None else fill_temperatures(model, runs, trusted, usual)
    return MoldHeat(
        runs=runs,
        model=model,
        usual_c=usual,
        gun_sessions=of_gun,
        suspected=suspected,
        fills=temperatures,
        unread=None if temperatures is None else _unread_fills(bench, made, temperatures),
    )


def _model(
    bench: Bench, fills: pd.DataFrame, mold: str, runs: Runs, trusted: NDArray[np.bool_] | slice
) -> WarmingMold | None:
    """Fits the trusted sessions; None unless the bench states the mass of a mold for metal."""
    spec = bench.molds[mold]
    item = bench.items[spec.material]
    if item.kind != "metal" or not spec.metal_mass_g:
        return None
    liquidus = LEAD_MELTS_C if item.melts_c is None else item.melts_c
    melt = fills.loc[fills["mold"] == mold, "melt_temp_c"].median()
    pour = liquidus + SUPERHEAT_K if math.isnan(melt) else float(melt)
    metal = SPRUES * sum(cavity.mass_g * cavity.per_fill for cavity in spec.cavities.values())
    sessions = runs.readings[trusted], runs.waits[trusted]
    return warming_mold(spec.metal_mass_g / 1000, metal / 1000, pour, liquidus, *sessions)


def _unread_fills(bench: Bench, fills: pd.DataFrame, each: pd.DataFrame) -> UnreadFills | None:
    """Rates of the fills without a reading whose number says which they are; None without any."""
    carried = each[each["measured_c"].isna()].set_index(["session", "fill"])["carried_c"]
    numbered = pd.MultiIndex.from_arrays([fills["session"].astype("str"), fills["fill"]])
    estimated = carried.reindex(numbered).to_numpy()
    fills = fills.assign(estimated=estimated).dropna(subset="estimated")
    if fills.empty:
        return None
    fills = fills.assign(bin=bin_numbers(bench, fills["estimated"]))
    bins, trend = rates_by_bin(bench, fills)
    return UnreadFills(
        total=reject_rate(fills, session_effect(fills)),
        coolest_c=float(fills["estimated"].min()),
        warmest_c=float(fills["estimated"].max()),
        bins=bins,
        trend=trend,
    )


def _warm_up(bench: Bench, mold: str, windows: Mapping[str, FlawWindow], heat: MoldHeat) -> WarmUp | None:
    """Counts the fills to the target temperature; None without a target."""
    target, of = _warm_target(bench, mold, windows, not bool(np.isnan(heat.runs.readings).all()))
    if target is None:
        return None
    if heat.model is None or heat.gun_sessions:
        reached = heat.runs.readings >= target
        firsts = reached.argmax(axis=1)[reached.any(axis=1)].tolist() if reached.size else []
        return WarmUp(target_c=target, target_mold=of, as_logged=tuple(firsts))
    from_usual = heat.model.fills_to(target, heat.usual_c or AIR_C) if begins_warm(heat) else None
    return WarmUp(
        target_c=target, target_mold=of, from_cold=heat.model.fills_to(target), from_usual=from_usual
    )


def begins_warm(heat: MoldHeat) -> bool:
    """Whether the usual first reading is well above the air."""
    return heat.usual_c is not None and heat.usual_c > AIR_C + 15


def _warm_target(
    bench: Bench, mold: str, windows: Mapping[str, FlawWindow], measured: bool
) -> tuple[float | None, str]:
    """Returns how warm the mold should get, and the mold whose logs say so; empty for the customary one."""
    material = bench.molds[mold].material
    if mold in windows:
        return windows[mold].first_met, mold
    for other, found in windows.items():
        if bench.molds[other].material == material and found.first_met is not None:
            return found.first_met, other
    item = bench.items[material]
    customary = item.kind == "metal" and (item.melts_c or LEAD_MELTS_C) >= LOW_MELTING_C and not measured
    return CUSTOMARY_C if customary else None, ""


def _by_cavity(
    rows_of: Mapping[str, pd.DataFrame],
    made_of: Mapping[str, pd.DataFrame],
    temperature: Mapping[str, ByTemperature],
    fills: int,
) -> dict[str, tuple[tuple[CavityRate, ...], str]]:
    """Compares each cavity with the others of its mold, p-values adjusted over all molds."""
    compared: dict[str, tuple[pd.DataFrame, str, dict[str, ShareRatio]]] = {}
    for mold, by_temperature in temperature.items():
        rows = rows_of[mold][rows_of[mold]["castings"] > 0]
        stratum, effect, name = _strata(rows, made_of[mold], by_temperature.fills, fills)
        known = ~np.isnan(stratum)
        counts = (rows.loc[known, column].tolist() for column in ("cavity", "castings", "rejects"))
        compared[mold] = rows, name, one_against_rest(stratum[known], *counts, dispersion=effect)
    after = adjusted([ratios for *_, ratios in compared.values()])
    return {
        mold: (tuple(_cavities(rows, ratios, told)), name)
        for (mold, (rows, name, ratios)), told in zip(compared.items(), after, strict=True)
    }


def _cavities(
    rows: pd.DataFrame, ratios: Mapping[str, ShareRatio], after: Mapping[str, Adjusted]
) -> Iterator[CavityRate]:
    """Yields the cavities of one mold, with what the comparison told of each after adjustment."""
    for cavity, own in by_name(rows, "cavity").items():
        made, bad = int(own["castings"].sum()), int(own["rejects"].sum())
        ratio, told = ratios.get(cavity), after.get(cavity)
        enough = rows["castings"].sum() >= ENOUGH_CASTINGS and bad >= ENOUGH_FLAWED
        worse = ratio is not None and told is not None and told.p < SIGNIFICANCE and ratio.ratio > 1
        yield CavityRate(
            cavity=cavity,
            rows=own,
            castings=made,
            rejects=bad,
            rate=share_interval(bad, made, session_effect(own)),
            p=None if told is None else told.p,
            often=ratio if enough and worse else None,
            level=0.95 if told is None else told.level,
        )


def _strata(
    rows: pd.DataFrame, made: pd.DataFrame, warm: pd.DataFrame, fills: int
) -> tuple[FloatArray, float, str]:
    """Returns the stratum of each row within which cavities are equally warm, the design effect and its name.

    Strata are fills where most castings come from fills of several cavities; else bins of temperature, else
    sessions. A row without a known stratum has nan.
    """
    key = rows["key"].to_numpy(dtype=np.int64)
    pairs = rows[["key", "cavity"]].drop_duplicates()
    together = (np.bincount(pairs["key"]) > 1)[key]
    if rows.loc[together, "castings"].sum() >= rows["castings"].sum() / 2:
        return np.asarray(key, dtype=np.float64), 1.0, "fill"
    if warm.empty:
        effect = design_effect(made["rejects"], made["castings"], made["session"].cat.codes)
        return np.asarray(rows["session"].cat.codes, dtype=np.float64), effect, "session"
    effect = session_effect(warm, "bin")
    of_fill = np.full(fills, np.nan)
    of_fill[warm["key"]] = warm["bin"]
    return of_fill[key], effect, "temperature"


def _by_session(fills: pd.DataFrame) -> Sessions:
    """Charts the sessions of a mold; the limits are widened by how much fills of one session differ."""
    session, place = np.unique(fills["session"].cat.codes, return_inverse=True)
    effect = design_effect(fills["rejects"], fills["castings"], place)
    castings, rejects = (np.bincount(place, fills[name]).astype(np.int64) for name in ("castings", "rejects"))
    table = pd.DataFrame(
        {
            "session": fills["session"].cat.categories[session],
            "castings": castings,
            "rejects": rejects,
            "mold_temp_c": fills["mold_temp_c"].groupby(place).median().to_numpy(),
        }
    )
    return Sessions(table=table, chart=p_chart(rejects, castings, sigmas=3 * math.sqrt(effect)))
