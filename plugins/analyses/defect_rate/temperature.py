"""The target temperature and the working window of each mold, as fitted to its flaws."""

from collections.abc import Sequence

import numpy as np

from benchwater.plugin import Cell
from benchwater.words import counted, listed, make_finding

from .draft import ENOUGH_CASTINGS, ENOUGH_FLAWED, Draft
from .flaw_window import FlawWindow, flaw_window, rate_limits
from .logistic import LogisticFit
from .pictures import temperature_picture
from .rates import rates_by_bin, trend_words

MOST_PICTURES, WIDE_GAP_K = 2, 20.0


def by_temperature(draft: Draft, mold: str) -> None:
    """Bins, trend, window and picture of one mold."""
    fills = draft.warm(mold)
    if fills.empty:
        return
    bench, castings = draft.bench, int(fills["castings"].sum())
    shown, trend = rates_by_bin(draft, "by_temperature", mold, fills)
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
    if trend is not None:
        text = f"{mold}: the share of bad castings {trend_words(trend, 'as the mold warms')}."
        more: dict[str, Cell] = {"chi2": trend.statistic, "df": 1, "slope_per_k": trend.slope}
        p, answered = trend.p_value, found is not None and found.first_met is not None
        draft.findings.append(
            make_finding("trend_p", text, (p,), n=castings, group=mold, more=more, quiet=answered)
        )
    if found is not None:
        draft.windows[mold] = found
        _window(draft, mold, found, castings)
        _curve(draft, mold, found)
    told = found is not None or (castings >= ENOUGH_CASTINGS and len(shown) > 2)
    if told and len(draft.figures) < MOST_PICTURES:
        draft.figures.append(temperature_picture(draft, mold, shown, found))


def _window(draft: Draft, mold: str, found: FlawWindow, castings: int) -> None:
    """The findings on the target temperature and the window; the page tells both in the first."""
    window, goal = found.window, draft.share(draft.bench.plan.target_reject_rate)
    low = high = None
    hottest, top = draft.temp(found.hottest), draft.temp(found.top)
    until = f"on, up to the hottest logged, {hottest}"
    if found.top is not None and window is not None:
        until = f"to {top} ({draft.degrees(*found.top_limits)}{_few(found.hot)}), best near "
        until += draft.temp(window.best)
    if window is None:
        text = (
            f"flaws that temperature does not explain ({draft.share(found.plain)}) already use up the {goal}."
        )
    elif window.first_met is None:
        text = f"no temperature logged keeps bad castings to {goal}: the best, {draft.temp(window.best)}, "
        text += f"still gives {draft.share(float(found.total([window.best])[0]))}."
        low = window.first_met_lower
    elif window.starts_before:
        text = f"no more than {goal} go bad from the coldest logged, {draft.temp(found.coldest)}, {until}."
    else:
        low, high = window.first_met_lower, window.first_met_upper
        text = f"no more than {goal} go bad from {draft.temp(window.first_met)} "
        text += (
            f"({draft.degrees(low, high)}{_few(found.cold)}{_gap(draft, mold, window.first_met)}) {until}."
        )

    def told(id: str, text: str, value: Sequence[float | None], more: dict[str, Cell] | None = None) -> None:
        text, quiet = f"{mold}: {text}", id != "target_temp"
        draft.findings.append(
            make_finding(id, text, value, "degC", n=castings, group=mold, more=more, quiet=quiet)
        )

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
        text = f"up to the hottest logged, {hottest}, too much heat does not show."
    else:
        text = f"past {top} ({draft.degrees(*found.top_limits)}{_few(found.hot)}) "
        text += f"flash and porosity take bad castings over {goal}."
    told("window_high", text, (found.top, *found.top_limits), edge)


def _few(fit: LogisticFit | None) -> str:
    """How many flaws an end of the window rests on, where they are few."""
    flaws = 0 if fit is None else round(float(fit.events.sum()))
    return f"; by only {counted(flaws, 'flaw')}" if 0 < flaws < ENOUGH_FLAWED else ""


def gap_around(draft: Draft, mold: str, temp: float) -> tuple[float, float] | None:
    """The readings next to a temperature that the logs enclose, where they lie far apart; else None."""
    read = draft.warm(mold)["mold_temp_c"]
    below, above = float(read[read <= temp].max()), float(read[read >= temp].min())
    return (below, above) if above - below > WIDE_GAP_K else None


def _gap(draft: Draft, mold: str, temp: float) -> str:
    """Where the logs skip over a temperature that they enclose, between what they do."""
    gap = gap_around(draft, mold, temp)
    if gap is None:
        return ""
    below, above = (draft.temp(edge) for edge in gap)
    return f"; nothing was poured between {below} and {above}, so pour a few there"


def _curve(draft: Draft, mold: str, found: FlawWindow) -> None:
    grid = np.linspace(found.coldest, found.hottest, 41)
    for flaw, fit in (("cold", found.cold), ("hot", found.hot)):
        if fit is not None:
            rate, limits = rate_limits(fit, grid)
            for row in zip(grid, rate, limits.lower, limits.upper, strict=True):
                draft.tables["curve"].append((mold, float(row[0]), flaw, *(float(v) for v in row[1:])))
    for temp, total in zip(grid, found.total(grid), strict=True):
        draft.tables["curve"].append((mold, float(temp), "all", float(total), None, None))


def left_open(draft: Draft, molds: Sequence[str]) -> str:
    """The metal molds of which no working temperature can be told, and what they lack."""
    metals = {name for name, item in draft.bench.items.items() if item.kind == "metal"}
    short = [
        mold for mold in molds if mold not in draft.windows and draft.bench.molds[mold].material in metals
    ]
    if not short:
        return ""
    need = (
        f"It takes {ENOUGH_CASTINGS} castings of each with their `mold_temp`, {ENOUGH_FLAWED} of them cold "
    )
    need += "or hot flaws, at different temperatures."
    return f"How warm {listed(short, 4)} must be. {need}"


def too_little(draft: Draft, molds: list[str]) -> str:
    """Which molds have too little for a temperature, and what they have; empty where none has."""
    short = []
    for mold in (mold for mold in molds if mold not in draft.windows):
        fills = draft.warm(mold)
        castings, cold, hot = (int(fills[name].sum()) for name in ("castings", "cold", "hot"))
        temps = fills["mold_temp_c"].nunique()
        many = f"{counted(castings, 'such casting')} at {counted(temps, 'temperature')}"
        many += f", {cold} cold and {hot} hot"
        short.append(f"{mold} has {many}" if castings else f"{mold} has no mold temperatures")
    need = (
        f"It takes {ENOUGH_CASTINGS} castings at known, different mold temperatures and {ENOUGH_FLAWED} cold "
        "flaws (short fill, cold shut) or hot ones (flash, porosity)"
    )
    few = "Too few castings of known mold temperature, or too few flaws, to advise one."
    return f"{few} {need}: {'; '.join(short)}." if short else ""
