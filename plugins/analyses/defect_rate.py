"""Bad castings, and what the mold's temperature has to do with them.

Say the round jig was filled 102 times with the probe in it, and 119 of its 510 castings were bad: all of
them at 200 °F, one in thirteen at 335 °F, and one in four again, with flash, at 410 °F. Short fills and cold
shuts are fitted as they fall with temperature, flash and porosity as they rise; added up, with misset hooks
and the like at their own constant share, they stay under the 10 % this bench aims at from about 315 °F to
380 °F. So: no hooks below 315 °F, a rest above 380 °F. How many warm-up fills that takes follows from the
heat that each fill leaves in the mold. Cavities are compared within one fill, where all are equally warm.

Castings of one fill share metal, mold and hand and say less than so many apart: intervals, tests and chart
limits are widened by what the fills show. Where no thermometer was used, the heat balance says how warm the
mold will have been; those castings are shown apart, as estimated, and no advice is drawn from them.
"""

import math
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from benchwater import plots
from benchwater.books.fills import Run, fills_of, pour_rows, read_with_a_gun
from benchwater.books.mold_warmth import LEAD_MELTS_C, MoldWarmth, mold_warmth
from benchwater.mathematics.clustered import clustered_wilson_interval, design_effect
from benchwater.mathematics.control_charts import ControlChart, p_chart
from benchwater.mathematics.flaw_window import FlawWindow, flaw_window, rate_limits
from benchwater.mathematics.infrared import (
    BARE_ALUMINIUM,
    MATT_BLACK,
    OXIDISED_ALUMINIUM,
    infrared_reading,
)
from benchwater.mathematics.interval import Interval
from benchwater.mathematics.one_against_rest import adjusted_p, one_against_rest, times_as_often
from benchwater.mathematics.stratified import ShareRatio
from benchwater.mathematics.trend import TrendTest, cochran_armitage
from benchwater.mathematics.warm_up import AIR_C, LOW_MELTING_C, WarmingMold
from benchwater.plugin import (
    Action,
    Analysis,
    Bench,
    Cell,
    Figure,
    Finding,
    Season,
    Section,
    Span,
    Table,
    Vital,
    hookimpl,
)
from benchwater.words import (
    counted,
    in_brackets,
    limits,
    listed,
    make_columns,
    make_finding,
    make_table,
    p_words,
    times,
)

ENOUGH_CASTINGS, ENOUGH_FLAWED, ENOUGH_SESSIONS = 30, 5, 4
BIN_WIDTH = {"us": 25.0, "metric": 10.0}
MOST_PICTURES, WIDE_GAP_K = 2, 20.0
CUSTOMARY_C = 150.0  # mold for lead alloys: common practice, no source

METHODS = (
    "Shares carry Wilson's score interval (Wilson 1927), the castings divided by the design effect of "
    "castings poured in one fill (Rao and Scott 1992; Korn and Graubard 1998) where there are enough "
    "fills to tell.",
    "Trend over bins of temperature: Cochran 1954 and Armitage 1955, over the design effect within bins.",
    "Cold flaws (short fill, cold shut) and hot ones (flash, porosity) are fitted apart over mold "
    "temperature by penalised logistic regression (Firth 1993; Heinze and Schemper 2002), the fill as "
    "cluster (dispersion: Fletcher 2012). Other flaws, and a kind with fewer than 5, are a constant "
    "share. Where most bad castings name no flaw, those are taken as cold ones.",
    "Target temperature: where the sum first meets the bench's target, with profile likelihood limits "
    "(Williams 1986; the problem: Fieller 1954). The other flaws' share is taken as known there, and for "
    "the window's upper end that of the cold flaws too.",
    "Cavities at equal temperature: tested after Mantel and Haenszel 1959 within fills, or within bins of "
    "temperature where cavities were poured apart; p-values after Holm 1979. How many times as often one "
    "fails: ratio of shares within the same, mean over them (Greenland and Robins 1985).",
    "Sessions: p-chart with limits for unequal sizes (Shewhart 1931; Montgomery, Introduction to "
    "Statistical Quality Control), one chart a mold, limits widened by the design effect of fills within "
    "sessions.",
    "Heat balance: the mold as one lump (Incropera and DeWitt, Fundamentals of Heat and Mass Transfer, "
    "chapter 5), by the times of the fills where the rows tell them, else in steps of one fill, so that the "
    "bench's own rhythm is part of the fitted loss. Heat capacity and loss start from the mold's mass "
    "(aluminium alloy 6061: 896 J/kgK, 2700 kg/m³, UNS A96061 data sheets; 10 W/m²K to air of 20 °C, after "
    "Cengel, Heat Transfer) and are fitted to the measured fills. Lead gives 148 J/kgK liquid, 136 solid "
    "(Dinsdale 1991) and 23.0 kJ/kg on freezing (CRC Handbook); tin-bismuth 188, 167 and 45 (elements "
    "weighted by mass; from memory). Sprues take half the castings' metal again: common practice, no "
    "source.",
    "Warm-up: the two counts bracket it: castings leave as warm as the mold, or every fill gives only what "
    "one does at the target. Without a mold mass: the middle session's first fill at the target, less one.",
    "Fills without a reading are estimated by the same balance, carried on from the reading before, and "
    "from the usual first reading (else 20 °C) where a session has none. Estimates stand apart from "
    "readings throughout.",
    "Infrared: a gun takes what a surface radiates and mirrors for a surface of its own setting (Planck's "
    "law, 8 to 14 µm). Emissivities: published tables (CRC; Thermal Radiation Properties Survey 1960). It "
    "is suspected where a remark names it, or where readings lie over three times closer to the air than "
    "book values have it.",
)


@dataclass(slots=True)
class Draft:
    """A section while it is made: the rows, their fills, and what has been found so far."""

    season: Season
    rows: pd.DataFrame
    fills: pd.DataFrame
    findings: list[Finding] = field(default_factory=list)
    figures: list[Figure] = field(default_factory=list)
    actions: list[Action] = field(default_factory=list)
    tables: defaultdict[str, list[tuple[Cell, ...]]] = field(default_factory=lambda: defaultdict(list))
    windows: dict[str, FlawWindow] = field(default_factory=dict)
    gun: set[str] = field(default_factory=set)

    @property
    def bench(self) -> Bench:
        """The standing facts."""
        return self.season.bench

    def temp(self, celsius: float | None) -> str:
        """A temperature as printed."""
        return self.bench.show(celsius, "degC")

    def degrees(self, low: float | None, high: float | None) -> str:
        """Limits of a temperature in words."""
        return limits(self.temp, low, high) or "how exactly, the logs leave open"

    def share(self, value: float | None) -> str:
        """A share as printed."""
        return self.bench.show(value, "1")

    def of(self, mold: str) -> pd.DataFrame:
        """The fills of a mold that made castings."""
        return self.fills[(self.fills["mold"] == mold) & (self.fills["castings"] > 0)]

    def warm(self, mold: str) -> pd.DataFrame:
        """Those of known temperature, with the number of the bin it falls in."""
        fills = self.of(mold)
        fills = fills[fills["mold_temp_c"].notna()]
        return fills.assign(bin=_bins(self.bench, fills["mold_temp_c"]))

    def worth(self, rows: pd.DataFrame, column: str, part: float = 1.0) -> dict[str, Any]:
        """What the bad castings of these rows took in inserts, or their number where a price is missing."""
        bad = rows.groupby(["mold", "cavity"])[column].sum()
        bad = bad[bad > 0]
        prices = [_insert_price(self.season, str(mold), str(cavity)) for mold, cavity in bad.index]
        money = sum((price or 0.0) * int(count) for price, count in zip(prices, bad, strict=True))
        if money > 0 and None not in prices:
            return {"worth": part * money, "worth_unit": "money"}
        return {"worth": part * float(bad.sum()), "worth_unit": "baits"}


def analyse(season: Season, span: Span) -> Section:
    """Rates, temperature, cavities, sessions, heat: in that order."""
    rows = pour_rows(season.rows("pour", span))
    if not rows["castings"].sum():
        return Section.empty("No casting was logged in this span, good or bad.")
    draft = Draft(season, rows, fills_of(rows), gun=read_with_a_gun(rows))
    molds = _by_weight(draft.fills)
    _rates(draft, molds)
    for mold in molds:
        _temperature(draft, mold)
    for mold in molds:
        _advice(draft, mold, _heat(draft, mold))
    _cavities(draft, molds)
    _sessions(draft, molds)
    sure = bool(draft.windows)
    why = _thin(draft, [mold for mold in molds if not sure or len(draft.warm(mold))])
    return Section(
        status="ok" if sure else "thin",
        why="" if sure else why,
        findings=tuple(draft.findings),
        tables=tuple(_tables(draft, why if sure else "")),
        figures=tuple(draft.figures),
        actions=tuple(draft.actions) if sure else (),
        methods=METHODS,
    )


# --- bins, prices -----------------------------------------------------------------------------------


def _by_weight(fills: pd.DataFrame) -> list[str]:
    """Molds with castings, the one with most of them at a known temperature first."""
    known = fills["castings"].where(fills["mold_temp_c"].notna(), 0)
    weight = fills.assign(known=known).groupby("mold")[["known", "castings"]].sum().reset_index()
    weight = weight[weight["castings"] > 0].sort_values(["known", "castings"], ascending=False, kind="stable")
    return [str(mold) for mold in weight["mold"]]


def _bins(bench: Bench, celsius: Any) -> Any:
    """Number of the bin of each temperature, bins being round in the bench's own unit."""
    return np.floor((_printed(bench, celsius) + 1e-6) / BIN_WIDTH[bench.system])


def _edge(bench: Bench, number: float) -> float:
    """Lower edge of a bin, in degC."""
    edge = number * BIN_WIDTH[bench.system]
    return (edge - 32) / 1.8 if bench.system == "us" else edge


def _printed(bench: Bench, celsius: Any) -> Any:
    """Plain numbers on the bench's own scale, for bins and axes."""
    return np.asarray(celsius, dtype=np.float64) * 1.8 + 32 if bench.system == "us" else np.asarray(celsius)


def _insert_price(season: Season, mold: str, cavity: str) -> float | None:
    """Mean price paid for one insert of this cavity, else its list price; 0 where it takes none."""
    insert = season.bench.cavity(mold, cavity).insert
    if insert is None:
        return 0.0
    if season.holds("inventory"):
        stock = season.log("inventory")
        paid = stock[(stock["item"] == insert) & (stock["move"] == "received") & stock["cost"].notna()]
        if paid["amount"].sum() > 0:
            return float(paid["cost"].sum() / paid["amount"].sum())
    item = season.bench.items[insert]
    return item.price / item.pack if item.price is not None and item.pack else None


def _thin(draft: Draft, molds: list[str]) -> str:
    """Which molds have too little for a temperature, and what they have; empty where none has."""
    short = []
    for mold in (mold for mold in molds if mold not in draft.windows):
        fills = draft.warm(mold)
        castings, cold, hot = (int(fills[name].sum()) for name in ("castings", "cold", "hot"))
        temps = fills["mold_temp_c"].nunique()
        many = (
            f"{castings} such castings at {temps} temperature{'s' * (temps != 1)}, {cold} cold and {hot} hot"
        )
        short.append(f"{mold} has {many}" if castings else f"{mold} has no mold temperatures")
    need = (
        f"Before a temperature is advised, a mold needs {ENOUGH_CASTINGS} castings at known, different mold "
        f"temperatures and {ENOUGH_FLAWED} cold flaws (short fill, cold shut) or hot ones (flash, porosity)"
    )
    return f"{need}: {'; '.join(short)}." if short else ""


# --- rates and temperature -----------------------------------------------------------------------------


def _rates(draft: Draft, molds: list[str]) -> None:
    made = draft.fills[draft.fills["castings"] > 0]
    for mold in (None, *molds):
        fills = made if mold is None else draft.of(mold)
        castings, bad = int(fills["castings"].sum()), int(fills["rejects"].sum())
        effect = design_effect(fills["rejects"], fills["castings"])
        rate = clustered_wilson_interval(bad, castings, effect)
        text = f"{mold or 'All molds'}: {bad} of {castings} castings were bad, {draft.share(rate.estimate)}"
        text += f"{in_brackets(draft.share, rate.low, rate.high)}."
        if effect > 1.2:
            text += (
                f" Castings of one fill tend to be alike, so these count as {castings / effect:.0f} apart."
            )
        more = {"fills": len(fills), "design_effect": effect}
        draft.findings.append(make_finding("reject_rate", text, rate, "1", n=castings, group=mold, more=more))


def _temperature(draft: Draft, mold: str) -> None:
    """Bins, trend, window and picture of one mold."""
    fills = draft.warm(mold)
    if fills.empty:
        return
    bench, castings = draft.bench, int(fills["castings"].sum())
    shown, trend = _by_bin(draft, "by_temperature", mold, fills)
    if trend is not None:
        text = f"{mold}: the share of bad castings {_way(trend, 'as the mold warms')}."
        more: dict[str, Cell] = {"chi2": trend.statistic, "df": 1, "slope_per_k": trend.slope}
        draft.findings.append(
            make_finding("trend_p", text, (trend.p_value,), n=castings, group=mold, more=more)
        )
    found = None
    if castings >= ENOUGH_CASTINGS:
        found = flaw_window(
            fills["mold_temp_c"],
            fills["castings"],
            fills["cold"],
            fills["hot"],
            fills["rejects"] - fills["cold"] - fills["hot"],
            target=bench.plan.target_reject_rate,
            enough=ENOUGH_FLAWED,
        )
    if found is not None:
        draft.windows[mold] = found
        _window(draft, mold, found, castings)
        _curve(draft, mold, found)
    told = found is not None or (castings >= ENOUGH_CASTINGS and len(shown) > 2)
    if told and len(draft.figures) < MOST_PICTURES:
        draft.figures.append(_picture(draft, mold, shown, found))


def _by_bin(
    draft: Draft, table: str, mold: str, fills: pd.DataFrame
) -> tuple[list[tuple[float, ...]], TrendTest | None]:
    """The share of bad castings by bin of temperature, put into a table, and its trend."""
    effect = design_effect(fills["rejects"], fills["castings"], fills["bin"])
    bins = fills.groupby("bin")[["castings", "rejects"]].sum()
    shown: list[tuple[float, ...]] = []
    for number, made, bad in bins.itertuples():
        rate = clustered_wilson_interval(bad, made, min(effect, made))
        edges = _edge(draft.bench, number), _edge(draft.bench, number + 1)
        shown.append((*edges, made, bad, *_limits(rate)))
        draft.tables[table].append((mold, *shown[-1]))
    scores = [(row[0] + row[1]) / 2 for row in shown]
    return shown, cochran_armitage(bins["rejects"], bins["castings"], scores, dispersion=effect)


def _way(trend: TrendTest, when: str) -> str:
    sure = "" if trend.p_value < 0.05 else ", though chance alone could do that"
    return f"{'falls' if trend.slope < 0 else 'rises'} {when}{sure} ({p_words(trend.p_value)})"


def _limits(rate: Interval) -> tuple[float, float, float]:
    return rate.estimate, rate.low, rate.high


def _window(draft: Draft, mold: str, found: FlawWindow, castings: int) -> None:
    """The findings on the target temperature and the window."""
    window, goal = found.window, draft.share(draft.bench.plan.target_reject_rate)
    low = high = None
    if window is None:
        text = (
            f"flaws that temperature does not explain ({draft.share(found.plain)}) already use up the {goal}."
        )
    elif window.first_met is None:
        text = f"no temperature logged keeps bad castings to {goal}: the best, {draft.temp(window.best)}, "
        text += f"still gives {draft.share(float(found.total([window.best])[0]))}."
        low = window.first_met_lower
    elif window.starts_before:
        text = f"already at the coldest logged, {draft.temp(found.coldest)}, bad castings stay within {goal}."
    else:
        low, high = window.first_met_lower, window.first_met_upper
        text = f"bad castings come down to {goal} once the mold reads {draft.temp(window.first_met)} "
        text += f"({draft.degrees(low, high)}{_gap(draft, mold, window.first_met)})."

    def told(id: str, text: str, value: Sequence[float | None], more: dict[str, Cell] | None = None) -> None:
        text = f"{mold}: {text}"
        draft.findings.append(make_finding(id, text, value, "degC", n=castings, group=mold, more=more))

    told("target_temp", text, (found.first_met, low, high))
    if window is None or window.first_met is None:
        return
    edge: dict[str, Cell] = {"coldest_logged_c": found.coldest, "hottest_logged_c": found.hottest}
    lower = f"from {draft.temp(found.first_met or found.coldest)}"
    upper = f"to {draft.temp(found.top or found.hottest)}"
    kind = "the hottest logged" if found.top is None else f"best near {draft.temp(window.best)}"
    text = f"the working window runs {lower} {upper} ({kind})."
    told("window_low", text, (found.first_met, low, high), edge)
    if found.top is None:
        text = f"up to the hottest logged, {draft.temp(found.hottest)}, too much heat does not show."
    else:
        text = f"past {draft.temp(found.top)} ({draft.degrees(found.top_lower, found.top_upper)}) "
        text += f"flash and porosity take bad castings over {goal}."
    told("window_high", text, (found.top, found.top_lower, found.top_upper), edge)


def _gap(draft: Draft, mold: str, temp: float) -> str:
    """Where the logs skip over a temperature that they enclose, between what they do."""
    read = draft.warm(mold)["mold_temp_c"]
    below, above = read[read <= temp].max(), read[read >= temp].min()
    if not above - below > WIDE_GAP_K:
        return ""
    return f"; nothing was poured between {draft.temp(below)} and {draft.temp(above)}, so pour a few there"


def _curve(draft: Draft, mold: str, found: FlawWindow) -> None:
    grid = np.linspace(found.coldest, found.hottest, 41)
    for flaw, fit in (("cold", found.cold), ("hot", found.hot)):
        if fit is not None:
            rate, limits = rate_limits(fit, grid)
            for row in zip(grid, rate, limits.lower, limits.upper, strict=True):
                draft.tables["curve"].append((mold, float(row[0]), flaw, *(float(v) for v in row[1:])))
    for temp, total in zip(grid, found.total(grid), strict=True):
        draft.tables["curve"].append((mold, float(temp), "all", float(total), None, None))


def _advice(draft: Draft, mold: str, warm_up: str) -> None:
    """What to do about a mold's temperature, where the logs show it."""
    found, rows = draft.windows.get(mold), draft.rows[draft.rows["mold"] == mold]
    if found is None or found.window is None:
        return
    temps = rows["key"].map(draft.fills.set_index("key")["mold_temp_c"])
    goal = draft.share(draft.bench.plan.target_reject_rate)
    if found.falls and found.window.first_met is None and found.window.best == found.hottest:
        text = f"Pour {mold} hotter than {draft.temp(found.hottest)}, the hottest logged"
        because = f"short fills and cold shuts still fall there, and bad castings are not yet down to {goal}"
        worth = draft.worth(rows, "cold")
        draft.actions.append(Action(id=f"hotter:{mold}", text=text, because=because, **worth))
    if found.falls and found.first_met is not None and rows.loc[temps < found.first_met, "cold"].sum():
        below = rows[temps < found.first_met]
        bad, made = int(below["cold"].sum()), int(below["castings"].sum())
        text = f"Lay no inserts into {mold} before it reads {draft.temp(found.first_met)}"
        text += f": {warm_up}" if warm_up else ""
        because = f"{bad} of the {made} castings poured colder were short fills or cold shuts; from there on "
        because += f"no more than {goal} of all castings go bad"
        worth = draft.worth(below, "cold")
        draft.actions.append(Action(id=f"warm:{mold}", text=text, because=because, **worth))
    if found.rises and found.top is not None and rows.loc[temps > found.top, "hot"].sum():
        above = rows[temps > found.top]
        bad, made = int(above["hot"].sum()), int(above["castings"].sum())
        text = f"Rest {mold} when it reads more than {draft.temp(found.top)}"
        because = f"{bad} of the {made} castings poured hotter had flash or porosity"
        worth = draft.worth(above, "hot")
        draft.actions.append(Action(id=f"rest:{mold}", text=text, because=because, **worth))


def _picture(draft: Draft, mold: str, bins: list[Any], found: FlawWindow | None) -> Figure:
    """Bins with their intervals, the fitted curves, the window and the target."""
    bench, goal = draft.bench, draft.bench.plan.target_reject_rate
    figure, axes = plots.new_figure(plots.HALF_MM, 66)
    alt = f"Bad castings of {mold} by mold temperature: {_ends(draft, bins)}"
    if found is not None:
        grid = np.linspace(found.coldest, found.hottest, 121)
        for series, name, fit in ((2, "short or cold shut", found.cold), (1, "flash or porosity", found.hot)):
            if fit is not None:
                rate, limits = rate_limits(fit, grid)
                plots.band(axes, _printed(bench, grid), 100 * limits.lower, 100 * limits.upper, series=series)
                plots.line(axes, _printed(bench, grid), 100 * rate, series=series)
                _name_curve(axes, _printed(bench, grid), 100 * np.asarray(rate), name)
        plots.line(axes, _printed(bench, grid), 100 * found.total(grid), series=0)
        if found.window is not None and found.window.first_met is not None:
            start, end = found.first_met or found.coldest, found.top or found.hottest
            plots.window(axes, _printed(bench, start), _printed(bench, end), "working window")
            alt += f"; the fitted curve stays within {draft.share(goal)} from {draft.temp(start)} to "
            alt += draft.temp(end)
    centres = _printed(bench, [(row[0] + row[1]) / 2 for row in bins])
    value, low, high = (100 * np.array([row[at] for row in bins]) for at in (4, 5, 6))
    plots.interval_points(axes, centres, value, low, high, series=0)
    plots.reference_line(axes, f"target {draft.share(goal)}", y=100 * goal)
    axes.set_ylim(0, 104)
    axes.set_xlabel(f"mold temperature before the fill, °{'F' if bench.system == 'us' else 'C'}")
    axes.set_ylabel("bad castings, %")
    title = f"{mold}: bad castings by mold temperature; dots as logged, solid line all flaws"
    return Figure(id=f"by_temperature:{mold}", title=title, alt=f"{alt}.", svg=plots.to_svg(figure))


def _name_curve(axes: Any, x: Any, rate: Any, name: str) -> None:
    """The name of a curve beside its steep part: right of one that falls, left of one that rises."""
    falls = rate[0] > rate[-1]
    reached = np.flatnonzero(rate <= 62) if falls else np.flatnonzero(rate >= 0.62 * rate.max())
    at = int(reached[0]) if len(reached) else len(rate) // 2
    height, points = float(rate[at]) + 6, (7.0 if falls else -7.0, 0.0)
    plots.beside(axes, name, x[at], height, points=points, side="left" if falls else "right")


def _ends(draft: Draft, bins: list[Any]) -> str:
    """The first, the best and the last bin in words."""
    best = min(bins, key=lambda row: (row[4], -row[2]))
    told = list(dict.fromkeys((bins[0], best, bins[-1])))
    return ", ".join(
        f"{draft.share(row[4])} of {row[2]} at {draft.temp(row[0])} to {draft.temp(row[1])}" for row in told
    )


# --- cavities and sessions -----------------------------------------------------------------------------


def _cavities(draft: Draft, molds: list[str]) -> None:
    """Each cavity against the others of its mold at equal temperature."""
    poured = {mold: draft.rows[(draft.rows["mold"] == mold) & (draft.rows["castings"] > 0)] for mold in molds}
    compared, asked = [], []
    for mold, rows in poured.items():
        stratum, effect, same = _strata(draft, mold, rows)
        held = rows.assign(stratum=stratum).dropna(subset="stratum")
        counts = held["stratum"], held["cavity"].tolist(), held["castings"], held["rejects"]
        compared.append(one_against_rest(*counts, dispersion=effect))
        asked.append((rows, counts, effect, same))
    for mold, (rows, counts, effect, same), adjusted in zip(poured, asked, adjusted_p(compared), strict=True):
        for cavity, own in rows.groupby("cavity"):
            by_fill = own.groupby("key")[["castings", "rejects"]].sum()
            made, bad = int(by_fill["castings"].sum()), int(by_fill["rejects"].sum())
            rate = clustered_wilson_interval(
                bad, made, design_effect(by_fill["rejects"], by_fill["castings"])
            )
            p = adjusted.get(str(cavity))
            draft.tables["by_cavity"].append((mold, str(cavity), made, bad, *_limits(rate), p))
            enough = rows["castings"].sum() >= ENOUGH_CASTINGS and bad >= ENOUGH_FLAWED
            if enough and p is not None and p < 0.05:
                often = times_as_often(*counts, str(cavity), dispersion=effect)
                if often.ratio is not None and often.ratio > 1:
                    _worse_cavity(draft, own, often, p, same)


def _strata(draft: Draft, mold: str, rows: pd.DataFrame) -> tuple[pd.Series, float, str]:
    """What is equally warm, by how much to widen, and in words: the fill; or bins, else sessions, apart."""
    together = rows.groupby("key")["cavity"].transform("nunique") > 1
    if rows.loc[together, "castings"].sum() >= rows["castings"].sum() / 2:
        return rows["key"], 1.0, "in the same fill, whatever the heat"
    fills = draft.warm(mold)
    if fills.empty:
        made = draft.of(mold)
        effect = design_effect(made["rejects"], made["castings"], made["session"])
        return rows["session"], effect, "in the same session (how warm it was, the log does not tell)"
    effect = design_effect(fills["rejects"], fills["castings"], fills["bin"])
    return rows["key"].map(fills.set_index("key")["bin"]), effect, "at the same heat"


def _worse_cavity(draft: Draft, own: pd.DataFrame, often: ShareRatio, p: float, same: str) -> None:
    mold, cavity, n = str(own["mold"].iloc[0]), str(own["cavity"].iloc[0]), int(own["castings"].sum())
    ratio = often.ratio or math.inf
    words = f"fails {times(ratio, often.lower, often.upper)} as often as its neighbours {same}"
    if math.isinf(ratio):
        words = f"fails {same}, and its neighbours never do"
    text, name = f"{mold}: cavity {cavity} {words} ({p_words(p)}).", f"{mold} {cavity}"
    value, more = (ratio, often.lower, often.upper), {"p_adjusted": p}
    draft.findings.append(make_finding("worse_cavity", text, value, n=n, group=name, more=more))
    flaws = own[own["rejects"] > 0].groupby("flaw")["rejects"].sum().sort_values(ascending=False)
    most = f", mostly {flaws.index[0]}" if len(flaws) else ""
    because = f"{int(own['rejects'].sum())} of its {n} castings were bad{most}; it {words}"
    cold = own["cold"].sum() >= own["rejects"].sum() / 2
    text = f"{'Vent or open up' if cold else 'Look at how it closes:'} cavity {cavity} of {mold}"
    worth = draft.worth(own, "rejects", 1 - 1 / ratio)
    draft.actions.append(Action(id=f"cavity:{name}", text=text, because=because, **worth))


def _sessions(draft: Draft, molds: list[str]) -> None:
    """One p-chart a mold, its limits widened by how much fills of one session differ."""
    rows: list[tuple[Cell, ...]] = []
    charts: list[tuple[str, pd.DataFrame, ControlChart]] = []
    for mold in molds:
        fills = draft.of(mold)
        effect = design_effect(fills["rejects"], fills["castings"], fills["session"])
        grouped = fills.groupby("session")
        table = pd.concat(
            [grouped[["castings", "rejects"]].sum(), grouped["mold_temp_c"].median()], axis=1
        ).reset_index()
        chart = p_chart(table["rejects"], table["castings"], sigmas=3 * math.sqrt(effect))
        charts.append((mold, table, chart))
        if len(table) >= ENOUGH_SESSIONS:
            draft.findings.append(_signals(draft, mold, table, chart))
        for at, (session, made, bad, temp) in enumerate(table.itertuples(index=False)):
            lower, upper = float(chart.lower[at]), float(chart.upper[at])
            signal = bool(chart.signal[at]) and len(table) >= ENOUGH_SESSIONS
            rate = float(chart.value[at])
            rows.append((str(session), int(made), int(bad), rate, chart.center, lower, upper, signal))
            enough = table["castings"].sum() >= ENOUGH_CASTINGS and bad >= ENOUGH_FLAWED
            if signal and enough and rate > chart.center:
                _odd_session(draft, mold, str(session), int(made), int(bad), float(temp), chart.center)
    draft.tables["sessions"] = sorted(rows, key=lambda row: str(row[0]))
    charted = [entry for entry in charts if len(entry[1]) >= ENOUGH_SESSIONS]
    if charted:
        draft.figures.append(_chart(draft, *max(charted, key=lambda entry: int(entry[1]["rejects"].sum()))))


def _signals(draft: Draft, mold: str, table: pd.DataFrame, chart: ControlChart) -> Finding:
    """The sessions beyond their limits, in words; quiet where there is none."""
    beyond = table[chart.signal][["session", "castings", "rejects"]]
    odd = [
        f"{session.removesuffix(f' {mold}')} ({bad} of {made} bad)"
        for session, made, bad in beyond.itertuples(index=False)
    ]
    usual = f"beyond what chance does around {draft.share(chart.center)}"
    text = f"{mold}: none of {len(table)} sessions is {usual}."
    if odd:
        text = f"{mold}: {len(odd)} of {len(table)} sessions {'is' if len(odd) == 1 else 'are'} {usual}: "
        text += f"{listed(odd)}."
    return make_finding("session_signals", text, (len(odd),), n=len(table), group=mold, quiet=not odd)


def _odd_session(
    draft: Draft, mold: str, session: str, made: int, bad: int, temp: float, usual: float
) -> None:
    """Name a session out of control, unless its temperature says why."""
    found = draft.windows.get(mold)
    if found is not None and (temp < (found.first_met or -273) or temp > (found.top or math.inf)):
        return
    rows = draft.rows[draft.rows["session"] == session]
    because = f"{bad} of {made} castings were bad where {mold} has {draft.share(usual)} as a rule, and "
    because += "its temperature " + (
        "was not logged" if math.isnan(temp) else f"({draft.temp(temp)}) is no reason"
    )
    text = f"Look for what was different on {session}"
    worth = draft.worth(rows, "rejects", 1 - usual * made / bad)
    draft.actions.append(Action(id=f"session:{session}", text=text, because=because, **worth))


def _chart(draft: Draft, mold: str, table: pd.DataFrame, chart: ControlChart) -> Figure:
    """The p-chart of one mold."""
    order = np.arange(1, len(table) + 1)
    figure, axes = plots.new_figure(height_mm=52)
    plots.band(axes, order, 100 * chart.lower, 100 * chart.upper, series=0)
    plots.reference_line(axes, f"all sessions {draft.share(chart.center)}", y=100 * chart.center)
    quiet = ~chart.signal
    plots.points(axes, order[quiet], 100 * chart.value[quiet], series=0, label="within the limits")
    if chart.signal.any():
        plots.points(
            axes, order[chart.signal], 100 * chart.value[chart.signal], series=1, label="beyond them"
        )
    axes.set_ylim(0, 104)
    step = max(1, len(order) // 12)
    axes.set_xticks(order[::step], [str(name)[5:10] for name in table["session"][::step]])
    axes.set_xlabel("session, month and day")
    axes.set_ylabel("bad castings, %")
    plots.legend(axes)
    odd = [str(name) for name in table["session"][chart.signal]]
    alt = f"Bad castings of {mold} in {len(table)} sessions, {draft.share(chart.center)} in all; beyond the "
    alt += f"limits: {', '.join(odd) if odd else 'none'}."
    title = f"{mold}: bad castings by session"
    return Figure(id=f"sessions:{mold}", title=title, alt=alt, svg=plots.to_svg(figure))


# --- heat ------------------------------------------------------------------------------------------------


def _heat(draft: Draft, mold: str) -> str:
    """The heat balance's temperatures and the warm-up fills; what to say of those in an advice."""
    warmth = mold_warmth(draft.bench, draft.fills, mold, draft.gun)
    model, usual, runs = warmth.model, warmth.usual, warmth.runs
    if warmth.guns:
        draft.findings.append(_infrared(draft, mold, warmth))
    if model is not None:
        _estimates(draft, mold, warmth, model)
    target, whence = _warm_target(draft, mold, warmth.measured)
    if target is None:
        return ""
    if model is None or warmth.guns:
        return _warm_up_as_logged(draft, mold, runs, target)
    low, high = model.fills_to(target)
    more: dict[str, Cell] = {"method": f"heat balance, {_source(model)}", "target_c": target}
    words = f"no number of fills at this pace warms a cold mold to {draft.temp(target)}: "
    words += "pour faster, or preheat it"
    if low is not None:
        most = f"{low} or more" if high is None else f"{low}" if high == low else f"{low} to {high}"
        words = f"from cold that takes about {most} warm-up fills"
    if usual is not None and usual > AIR_C + 15:
        from_usual = model.fills_to(target, usual)[0]
        more |= {"usual_start_c": usual, "from_usual_start": from_usual}
        if from_usual is not None:
            words += f", from the usual start at {draft.temp(usual)} about {from_usual}"
    text = f"{mold} to {draft.temp(target)}{whence}: {words} (heat balance, {_source(model)})."
    value = (low, low, high)
    draft.findings.append(
        make_finding("warm_up_fills", text, value, "pieces", n=model.measured, group=mold, more=more)
    )
    return words if model.fitted else ""


def _source(model: WarmingMold) -> str:
    source = f"fitted to {counted(model.measured, 'measured fill')}" if model.fitted else "book values"
    pace = f"{model.seconds:.0f} s a fill by the log's times" if model.timed else "a fill a minute"
    return source if model.fitted and not model.timed else f"{source}, {pace}"


def _estimates(draft: Draft, mold: str, warmth: MoldWarmth, model: WarmingMold) -> None:
    """Measured beside estimated by fill, and what became of castings of which only the estimate is known."""
    each = warmth.fills()
    draft.tables["mold_heat"] += [(f.session, f.fill, f.measured, f.estimated) for f in each]
    unread = {f.key: f.carried for f in each if f.measured is None}
    fills = draft.of(mold)
    fills = fills.assign(estimated=fills["key"].map(unread)).dropna(subset="estimated")
    if fills.empty:
        return
    fills = fills.assign(bin=_bins(draft.bench, fills["estimated"]))
    trend = _by_bin(draft, "by_estimated", mold, fills)[1]
    made, bad = int(fills["castings"].sum()), int(fills["rejects"].sum())
    rate = clustered_wilson_interval(bad, made, design_effect(fills["rejects"], fills["castings"]))
    coolest, warmest = float(fills["estimated"].min()), float(fills["estimated"].max())
    text = f"{mold}: {bad} of {made} castings poured without a thermometer were bad, "
    text += f"{draft.share(rate.estimate)}{in_brackets(draft.share, rate.low, rate.high)}. "
    text += f"By heat balance ({_source(model)}{', begun cold' if warmth.usual is None else ''}) the mold "
    text += f"then had {limits(draft.temp, coolest, warmest)}: "
    text += "an estimate, kept apart from readings"
    text += f". The share {_way(trend, 'as it rises')}." if trend else "."
    p = None if trend is None else trend.p_value
    more: dict[str, Cell] = {"coolest_c": coolest, "warmest_c": warmest, "trend_p": p}
    draft.findings.append(make_finding("reject_rate_unread", text, rate, "1", n=made, group=mold, more=more))


def _infrared(draft: Draft, mold: str, warmth: MoldWarmth) -> Finding:
    """Say where temperatures will have been read by infrared on bare metal; no balance is fitted to those."""
    why = f"the remarks of {counted(len(warmth.guns), 'session')}, {min(warmth.guns)[:10]} first, "
    why += "name an infrared gun"
    if warmth.unlikely:
        why = "readings stay far below what the metal poured must have warmed the mold to, as those of "
        why += "an infrared gun do (or minutes passed between fills: then write the time with the date)"
    hot = 150.0
    bare, dull, spot = (
        infrared_reading(hot, e, background=AIR_C) for e in (BARE_ALUMINIUM, OXIDISED_ALUMINIUM, MATT_BLACK)
    )
    text = f"{mold}: {why}. Bare aluminium radiates little and mirrors the room: at {draft.temp(hot)} a gun "
    text += (
        f"reads {limits(draft.temp, bare, dull)} on it, and {draft.temp(spot)} on a matt black spot. Paint "
    )
    text += "one, aim there, and log how it was read. Until then take temperatures here as that gun's own."
    more: dict[str, Cell] = {"said": not warmth.unlikely}
    return make_finding("infrared_likely", text, n=len(warmth.guns), group=mold, more=more)


def _warm_target(draft: Draft, mold: str, measured: bool) -> tuple[float | None, str]:
    """How warm the mold should get: by its own logs, those of a mold of the same metal, or custom."""
    material = draft.bench.molds[mold].material
    if mold in draft.windows:
        return draft.windows[mold].first_met, ""
    for other, found in draft.windows.items():
        if draft.bench.molds[other].material == material and found.first_met is not None:
            return found.first_met, f" (the target of {other})"
    melts = draft.bench.items[material].melts_c or LEAD_MELTS_C
    if draft.bench.items[material].kind == "metal" and melts >= LOW_MELTING_C and not measured:
        return CUSTOMARY_C, " (customary for lead alloys)"
    return None, ""


def _warm_up_as_logged(draft: Draft, mold: str, runs: dict[str, Run], target: float) -> str:
    """Without a heat balance: the middle session's first fill at the target, less one."""
    reached = [np.flatnonzero(run.readings >= target) for run in runs.values()]
    firsts = [int(fills[0]) for fills in reached if len(fills)]
    if not firsts:
        return ""
    middle, n = float(np.median(firsts)), len(firsts)
    words = f"the middle one of {n} sessions took {middle:.0f} fills to get there"
    shortest, longest = min(firsts), max(firsts)
    more: dict[str, Cell] = {"method": "first fill at the target, as logged", "target_c": target}
    text, value = f"{mold}: {words} ({shortest} to {longest}).", (middle, shortest, longest)
    draft.findings.append(make_finding("warm_up_fills", text, value, "pieces", n=n, group=mold, more=more))
    return words


# --- tables and hook -------------------------------------------------------------------------------------


COLUMNS = make_columns(
    *(("mold", "Mold"), ("cavity", "Cavity"), ("flaw", "Flaws"), ("session", "Session"), ("fill", "Fill")),
    *(("low_c", "From", "degC"), ("high_c", "To", "degC"), ("temp_c", "Mold", "degC")),
    *(("measured_c", "Measured", "degC"), ("estimated_c", "Estimated", "degC")),
    *(("castings", "Castings"), ("rejects", "Bad castings"), ("rate", "Bad", "1")),
    *((name, name.title(), "1") for name in ("low", "high", "center", "lower", "upper")),
    *(("signal", "Beyond limits"), ("p_adjusted", "p at equal temperature", "p")),
)
# id, rows printed, columns, title, note
TABLES = (
    ("by_temperature", 24, "mold low_c high_c castings rejects rate low high", "By mold temperature", ""),
    (
        *("by_estimated", 12, "mold low_c high_c castings rejects rate low high"),
        *("Without a thermometer: by estimated mold temperature", "By heat balance, not by reading."),
    ),
    ("curve", 0, "mold temp_c flaw rate low high", "Fitted share of flaws by mold temperature", ""),
    (
        *("by_cavity", 24, "mold cavity castings rejects rate low high p_adjusted", "By cavity"),
        "p: against the other cavities of the mold, adjusted for all that were compared.",
    ),
    (
        *("sessions", 10, "session castings rejects rate center lower upper signal", "By session"),
        f"Judged where a mold has {ENOUGH_SESSIONS} sessions or more.",
    ),
    (
        *("mold_heat", 0, "session fill measured_c estimated_c", "Mold temperature, measured and estimated"),
        "Estimated by heat balance from the first fill of the session onward.",
    ),
)


def _tables(draft: Draft, note: str) -> Iterator[Table]:
    """The tables that have rows; `note` goes with the first."""
    for name, print_rows, columns, title, said in TABLES:
        if rows := draft.tables[name]:
            said = note if name == "by_temperature" else said
            yield make_table(name, title, columns, rows, COLUMNS, note=said, print_rows=print_rows)


def vitals(season: Season, span: Span) -> tuple[Vital, ...]:
    """Castings made, and the share of them that was good at the first pour."""
    rows = season.rows("pour", span)
    made = int(rows.loc[rows["outcome"] != "blank", "count"].sum())
    good = int(rows.loc[rows["outcome"] == "good", "count"].sum())
    share = good / made if made else None
    return (
        Vital(id="castings_made", label="castings made", value=made if len(rows) else None, unit="pieces"),
        Vital(id="first_pass_yield", label="first-pass yield", value=share, unit="1", better="up", n=made),
    )


@hookimpl
def analyses() -> Iterable[Analysis]:
    """The one analysis."""
    return [
        Analysis(
            id="defect_rate",
            title="Bad castings",
            question="How warm must the mold be before good inserts go in, and which castings go bad?",
            order=200,
            needs=("pour",),
            analyse=analyse,
            vitals=vitals,
        )
    ]
