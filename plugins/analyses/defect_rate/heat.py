"""The heat balance in words: warm-up fills, estimates where nobody measured, infrared guns."""

import math

import numpy as np
import pandas as pd

from benchwater.ledger.fills import Runs
from benchwater.plugin import Cell, Finding
from benchwater.statistics.clustered import clustered_wilson_interval, design_effect
from benchwater.words import counted, in_brackets, limits, make_finding

from .draft import Draft, bin_numbers
from .infrared import BARE_ALUMINIUM, MATT_BLACK, OXIDISED_ALUMINIUM, infrared_reading
from .mold_warmth import LEAD_MELTS_C, FillWarmth, MoldWarmth, mold_warmth
from .rates import rates_by_bin, trend_words
from .warm_up import AIR_C, LOW_MELTING_C, WarmingMold

ENOUGH_UNREAD = 10
CUSTOMARY_C = 150.0  # mold for lead alloys: common practice, no source


def heat_balance(draft: Draft, mold: str) -> str:
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
        words = f"about {most} warm-up fills from cold"
    if usual is not None and usual > AIR_C + 15:
        from_usual = model.fills_to(target, usual)[0]
        more |= {"usual_start_c": usual, "from_usual_start": from_usual}
        if from_usual is not None:
            words += f", {from_usual} from the usual {draft.temp(usual)}"
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
    each, sessions = warmth.fills(), warmth.runs.sessions
    names = map(sessions.__getitem__, each.session.tolist())
    measured = [None if math.isnan(temp) else temp for temp in each.measured.tolist()]
    draft.tables["mold_heat"] += zip(
        names, each.fill.tolist(), measured, each.estimated.tolist(), strict=True
    )
    fills = _unread(draft.of(mold), sessions, each)
    if fills.empty:
        return
    fills = fills.assign(bin=bin_numbers(draft.bench, fills["estimated"]))
    trend = rates_by_bin(draft, "by_estimated", mold, fills)[1]
    made, bad = int(fills["castings"].sum()), int(fills["rejects"].sum())
    rate = clustered_wilson_interval(bad, made, design_effect(fills["rejects"], fills["castings"]))
    coolest, warmest = float(fills["estimated"].min()), float(fills["estimated"].max())
    text = f"{mold} without a thermometer: {bad} of {made} castings were bad, "
    text += f"{draft.share(rate.estimate)}{in_brackets(draft.share, rate.low, rate.high)}, at an estimated "
    text += f"{limits(draft.temp, coolest, warmest)} (heat balance, {_source(model)}"
    text += f"{', begun cold' if warmth.usual is None else ''})."
    if trend is not None and trend.p_value < 0.05:
        text += f" The share {trend_words(trend, 'as it rises')}."
    p = None if trend is None else trend.p_value
    more: dict[str, Cell] = {"coolest_c": coolest, "warmest_c": warmest, "trend_p": p}
    quiet = made < ENOUGH_UNREAD
    draft.findings.append(
        make_finding("reject_rate_unread", text, rate, "1", n=made, group=mold, more=more, quiet=quiet)
    )


def _unread(fills: pd.DataFrame, sessions: tuple[str, ...], each: FillWarmth) -> pd.DataFrame:
    """The fills without a reading whose number tells which they are, with their `estimated` temperature."""
    longest = int(each.fill.max(initial=0))
    unread = np.full((len(sessions) + 1, longest + 1), np.nan)
    unread[each.session, each.fill] = np.where(np.isnan(each.measured), each.carried, np.nan)
    place = pd.Index(sessions).get_indexer(fills["session"].cat.categories)[fills["session"].cat.codes]
    number = fills["fill"].to_numpy(dtype=np.float64)
    number = np.where((number >= 1) & (number <= longest), number, 0).astype(np.int64)
    return fills.assign(estimated=unread[place, number]).dropna(subset="estimated")


def _infrared(draft: Draft, mold: str, warmth: MoldWarmth) -> Finding:
    """Say where temperatures will have been read by infrared on bare metal; no balance is fitted to those."""
    why = f"the remarks of {counted(len(warmth.guns), 'session')}, {draft.sitting(min(warmth.guns), mold)} "
    why += "first, name an infrared gun"
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


def _warm_up_as_logged(draft: Draft, mold: str, runs: Runs, target: float) -> str:
    """Without a heat balance: the middle session's first fill at the target, less one."""
    reached = runs.readings >= target
    firsts = reached.argmax(axis=1)[reached.any(axis=1)].tolist() if reached.size else []
    if not firsts:
        return ""
    middle, n = float(np.median(firsts)), len(firsts)
    words = f"the middle one of {n} sessions took {middle:.0f} fills to get there"
    shortest, longest = min(firsts), max(firsts)
    more: dict[str, Cell] = {"method": "first fill at the target, as logged", "target_c": target}
    text, value = f"{mold}: {words} ({shortest} to {longest}).", (middle, shortest, longest)
    draft.findings.append(make_finding("warm_up_fills", text, value, "pieces", n=n, group=mold, more=more))
    return words
