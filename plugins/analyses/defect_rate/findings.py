"""Says what the numbers mean: findings, actions and methods."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from benchwater.plugin import Action, Bench, Cell, Finding, Season
from benchwater.statistics.proportions import TrendTest
from benchwater.words import counted, day_words, in_brackets, limits, listed, make_finding, p_words, times

from .compute import (
    ENOUGH_CASTINGS,
    ENOUGH_FLAWED,
    BadCastings,
    CavityRate,
    MoldResult,
    RejectRate,
    begins_warm,
    gap_around,
    worth_of_rejects,
)
from .logistic import LogisticFit
from .mold_heat import AIR_C, BARE_ALUMINIUM, MATT_BLACK, OXIDISED_ALUMINIUM, WarmingMold, infrared_reading
from .working_window import FlawWindow

ENOUGH_UNREAD, MOST_SESSIONS_NAMED = 10, 8
STRATA = {
    "fill": "in the same fill, whatever the heat",
    "temperature": "at the same heat",
    "session": "in the same session (how warm it was, the log does not tell)",
}
METHODS = (
    "Shares: Wilson's score interval (Wilson 1927), the castings divided by the design effect of fills "
    "(Rao and Scott 1992; Korn and Graubard 1998) where there are fills enough to tell.",
    "Trend over bins of temperature: Cochran 1954 and Armitage 1955, over the design effect within bins.",
    "Cold flaws (short fill, cold shut) and hot ones (flash, porosity) are fitted apart over mold "
    "temperature by penalised logistic regression (Firth 1993; Heinze and Schemper 2002), fills as "
    "clusters (dispersion: Fletcher 2012); other flaws are a constant share. Where most bad castings name "
    "no flaw, those are taken as cold ones.",
    "Target temperature and the window's upper end: where the sum first and last meets the target, with "
    "profile likelihood limits (Williams 1986; the problem: Fieller 1954) for the doubt in all three shares, "
    "by F as the fills' likeness is an estimate (Venables and Ripley 2002).",
    "Cavities at equal temperature: Mantel and Haenszel 1959 within fills, or within bins of temperature "
    "where poured apart; p-values after Holm 1979. So many times as often: ratio of shares within the same, "
    "mean over them (Greenland and Robins 1985).",
    "Sessions: p-chart for unequal sizes (Shewhart 1931; Montgomery, Introduction to Statistical Quality "
    "Control), one a mold, limits widened by the design effect of fills within sessions.",
    "Worth of advice: the inserts of its bad castings, as far as they are lost with them, at the price that "
    "What each bait cost takes.",
    "Heat balance: the mold as one lump (Incropera and DeWitt, Fundamentals of Heat and Mass Transfer, "
    "chapter 5), by the times of the fills, else in steps of one fill, so that the bench's rhythm is part of "
    "the fitted loss. Heat capacity and loss start from the mold's mass (aluminium alloy 6061: 896 J/kgK, "
    "2700 kg/m³, UNS A96061 data sheets; 10 W/m²K to air of 20 °C, after Cengel, Heat Transfer) and are "
    "fitted to the measured fills. Lead gives 148 J/kgK liquid, 136 solid (Dinsdale 1991) and 23.0 kJ/kg on "
    "freezing (CRC Handbook); tin-bismuth 188, 167 and 45 (elements by mass; from memory). Sprues take half "
    "the castings' metal again: common practice, no source.",
    "Warm-up: two counts bracket it: castings leave as warm as the mold, or every fill gives only what one "
    "does at the target. Without a mold mass: the middle session's first fill at the target, less one.",
    "Fills without a reading: by the same balance, from the reading before, else from the usual first "
    "reading (else 20 °C). Estimates stand apart from readings throughout.",
    "Infrared: a gun takes what a surface radiates and mirrors for one of its own setting (Planck's law, 8 "
    "to 14 µm). Emissivities: CRC; Thermal Radiation Properties Survey 1960. Suspected where a remark names "
    "it, or readings lie over three times closer to the air than book values have it.",
)


@dataclass(frozen=True, slots=True)
class Show:
    """Prints quantities and sessions as this bench writes them."""

    season: Season

    @property
    def bench(self) -> Bench:
        """The standing facts."""
        return self.season.bench

    def temp(self, celsius: float | None) -> str:
        """Prints a temperature."""
        return self.bench.show(celsius, "degC")

    def temp_limits(self, low: float | None, high: float | None) -> str:
        """Prints the limits of a temperature."""
        return limits(self.temp, low, high) or "how exactly, the logs leave open"

    def share(self, value: float | None) -> str:
        """Prints a share in percent."""
        return self.bench.show(value, "1")

    def session(self, name: str, mold: str) -> str:
        """Returns the day of a session, and its own name if it has one."""
        day = name.removesuffix(f" {mold}")
        return day_words(date.fromisoformat(day[:10]), self.season.end) + day[10:]


def all_findings(result: BadCastings) -> Iterator[Finding]:
    """Yields the findings in their order: rates, temperature, heat, cavities, sessions."""
    show, molds = Show(result.season), result.molds
    yield _reject_rate(show, None, result.total, alone=len(molds) == 1)
    for mold in molds:
        yield _reject_rate(show, mold.name, mold.total, alone=len(molds) == 1)
    for mold in molds:
        yield from _temperature(show, mold)
    for mold in molds:
        yield from _heat(show, mold)
    for mold in molds:
        for cavity in mold.cavities:
            if cavity.often is not None:
                yield _worse_cavity(mold, cavity)
    for mold in molds:
        if mold.sessions.judged:
            yield _sessions(show, mold)


def all_actions(result: BadCastings) -> Iterator[Action]:
    """Yields what to do about temperatures, cavities and sessions."""
    show = Show(result.season)
    for mold in result.molds:
        yield from _temperature_advice(show, mold)
    for mold in result.molds:
        for cavity in mold.cavities:
            if cavity.often is not None:
                yield _cavity_advice(show, mold, cavity)
    for mold in result.molds:
        yield from _session_advice(show, mold)


def left_open(result: BadCastings) -> str:
    """Says of which metal molds the working temperature stays unknown, and what they lack."""
    bench = result.season.bench
    metals = {name for name, item in bench.items.items() if item.kind == "metal"}
    short = [
        mold.name
        for mold in result.molds
        if mold.window is None and bench.molds[mold.name].material in metals
    ]
    if not short:
        return ""
    need = (
        f"It takes {ENOUGH_CASTINGS} castings of each with their `mold_temp`, {ENOUGH_FLAWED} of them cold "
    )
    need += "or hot flaws, at different temperatures."
    return f"How warm {listed(short, 4)} must be. {need}"


def too_little(molds: Sequence[MoldResult]) -> str:
    """Says which molds have too little for a temperature, and what they have; empty where none has."""
    short = []
    for mold in molds:
        if mold.window is not None:
            continue
        fills = mold.by_temperature.fills
        castings, cold, hot = (int(fills[name].sum()) for name in ("castings", "cold", "hot"))
        temps = fills["mold_temp_c"].nunique()
        many = f"{counted(castings, 'such casting')} at {counted(temps, 'temperature')}"
        many += f", {cold} cold and {hot} hot"
        short.append(f"{mold.name} has {many}" if castings else f"{mold.name} has no mold temperatures")
    need = (
        f"It takes {ENOUGH_CASTINGS} castings at known, different mold temperatures and {ENOUGH_FLAWED} cold "
        "flaws (short fill, cold shut) or hot ones (flash, porosity)"
    )
    few = "Too few castings of known mold temperature, or too few flaws, to advise one."
    return f"{few} {need}: {'; '.join(short)}." if short else ""


def trend_words(trend: TrendTest, when: str) -> str:
    """Returns `falls as the mold warms (p = 0.01)`, where `when` is `as the mold warms`."""
    sure = "" if trend.p_value < 0.05 else ", though chance alone could do that"
    return f"{'falls' if trend.slope < 0 else 'rises'} {when}{sure} ({p_words(trend.p_value)})"


def _reject_rate(show: Show, mold: str | None, found: RejectRate, *, alone: bool) -> Finding:
    """The share of bad castings; `alone` says that the report has one mold only."""
    rate = found.rate
    text = f"{mold or 'All molds'}: {found.rejects} of {found.castings} castings were bad, "
    text += f"{show.share(rate.estimate)}{in_brackets(show.share, rate.low, rate.high)}."
    more: dict[str, Cell] = {"fills": found.fills, "design_effect": found.effect}
    quiet = mold is not None and alone
    return make_finding("reject_rate", text, rate, "1", n=found.castings, group=mold, more=more, quiet=quiet)


def _temperature(show: Show, mold: MoldResult) -> Iterator[Finding]:
    """The trend, the target temperature and the working window of a mold."""
    found, trend, window = mold.by_temperature, mold.by_temperature.trend, mold.window
    if trend is not None:
        text = f"{mold.name}: the share of bad castings {trend_words(trend, 'as the mold warms')}."
        more: dict[str, Cell] = {"chi2": trend.statistic, "df": 1, "slope_per_k": trend.slope}
        p, answered = trend.p_value, window is not None and window.first_met is not None
        yield make_finding(
            "trend_p", text, (p,), n=found.castings, group=mold.name, more=more, quiet=answered
        )
    if window is not None:
        yield from _window(show, mold, window)


def _window(show: Show, mold: MoldResult, found: FlawWindow) -> Iterator[Finding]:
    """The target temperature and the two ends of the window; the first says both ends in words."""
    window, goal = found.window, show.share(show.bench.plan.target_reject_rate)
    low = high = None
    hottest, top = show.temp(found.hottest), show.temp(found.top)
    until = f"on, up to the hottest logged, {hottest}"
    if found.top is not None and window is not None:
        until = f"to {top} ({show.temp_limits(*found.top_limits)}{_few(found.hot)}), best near "
        until += show.temp(window.best)
    if window is None:
        text = (
            f"flaws that temperature does not explain ({show.share(found.plain)}) already use up the {goal}."
        )
    elif window.first_met is None:
        text = f"no temperature logged keeps bad castings to {goal}: the best, {show.temp(window.best)}, "
        text += f"still gives {show.share(float(found.total([window.best])[0]))}."
        low = window.first_met_lower
    elif window.starts_before:
        text = f"no more than {goal} go bad from the coldest logged, {show.temp(found.coldest)}, {until}."
    else:
        low, high = window.first_met_lower, window.first_met_upper
        text = f"no more than {goal} go bad from {show.temp(window.first_met)} ({show.temp_limits(low, high)}"
        text += f"{_few(found.cold)}{_gap(show, mold, window.first_met)}) {until}."

    n, name = mold.by_temperature.castings, mold.name
    value: Sequence[float | None] = (found.first_met, low, high)
    yield make_finding("target_temp", f"{name}: {text}", value, "degC", n=n, group=name)
    if window is None or window.first_met is None:
        return
    edge: dict[str, Cell] = {"coldest_logged_c": found.coldest, "hottest_logged_c": found.hottest}
    lower = f"from {show.temp(found.first_met or found.coldest)}"
    upper = f"to {show.temp(found.top or found.hottest)}"
    kind = "the hottest logged" if found.top is None else f"best near {show.temp(window.best)}"
    text = f"{name}: the working window runs {lower} {upper} ({kind})."
    yield make_finding("window_low", text, value, "degC", n=n, group=name, more=edge, quiet=True)
    if found.top is None:
        text = f"{name}: up to the hottest logged, {hottest}, too much heat does not show."
    else:
        text = f"{name}: past {top} ({show.temp_limits(*found.top_limits)}{_few(found.hot)}) "
        text += f"flash and porosity take bad castings over {goal}."
    value = (found.top, *found.top_limits)
    yield make_finding("window_high", text, value, "degC", n=n, group=name, more=edge, quiet=True)


def _few(fit: LogisticFit | None) -> str:
    """Says how many flaws an end of the window rests on, where they are few."""
    flaws = 0 if fit is None else round(float(fit.events.sum()))
    return f"; by only {counted(flaws, 'flaw')}" if 0 < flaws < ENOUGH_FLAWED else ""


def _gap(show: Show, mold: MoldResult, temp: float) -> str:
    """Says between which temperatures nothing was poured, where `temp` lies in such a gap."""
    gap = gap_around(mold, temp)
    if gap is None:
        return ""
    below, above = (show.temp(edge) for edge in gap)
    return f"; nothing was poured between {below} and {above}, so pour a few there"


def _heat(show: Show, mold: MoldResult) -> Iterator[Finding]:
    """Infrared guns, castings without a thermometer, and the warm-up fills."""
    if mold.heat.gun_sessions:
        yield _infrared(show, mold)
    if mold.heat.unread is not None and mold.heat.model is not None:
        yield _unread(show, mold, mold.heat.model)
    if (found := _warm_up(show, mold)) is not None:
        yield found[0]


def _infrared(show: Show, mold: MoldResult) -> Finding:
    """Says where temperatures were likely read by infrared on bare metal."""
    heat = mold.heat
    why = f"the remarks of {counted(len(heat.gun_sessions), 'session')}, "
    why += f"{show.session(min(heat.gun_sessions), mold.name)} first, name an infrared gun"
    if heat.suspected:
        why = "readings stay far below what the metal poured must have warmed the mold to, as those of "
        why += "an infrared gun do (or minutes passed between fills: then write the time with the date)"
    hot = 150.0
    bare, dull, spot = (
        infrared_reading(hot, e, background=AIR_C) for e in (BARE_ALUMINIUM, OXIDISED_ALUMINIUM, MATT_BLACK)
    )
    text = f"{mold.name}: {why}. Bare aluminium radiates little and mirrors the room: at {show.temp(hot)} a "
    text += f"gun reads {limits(show.temp, bare, dull)} on it, and {show.temp(spot)} on a matt black spot. "
    text += "Paint one, aim there, and log how it was read. Until then take temperatures here as that gun's "
    text += "own."
    more: dict[str, Cell] = {"said": not heat.suspected}
    return make_finding("infrared_likely", text, n=len(heat.gun_sessions), group=mold.name, more=more)


def _unread(show: Show, mold: MoldResult, model: WarmingMold) -> Finding:
    """The share of bad castings of fills of which only the estimated temperature is known."""
    found = mold.heat.unread
    assert found is not None
    rate, trend = found.rate, found.trend
    text = f"{mold.name} without a thermometer: {found.rejects} of {found.castings} castings were bad, "
    text += f"{show.share(rate.estimate)}{in_brackets(show.share, rate.low, rate.high)}, at an estimated "
    text += f"{limits(show.temp, found.coolest_c, found.warmest_c)} (heat balance, {_source(model)}"
    text += f"{', begun cold' if mold.heat.usual_c is None else ''})."
    if trend is not None and trend.p_value < 0.05:
        text += f" The share {trend_words(trend, 'as it rises')}."
    p = None if trend is None else trend.p_value
    more: dict[str, Cell] = {"coolest_c": found.coolest_c, "warmest_c": found.warmest_c, "trend_p": p}
    return make_finding(
        *("reject_rate_unread", text, rate, "1"),
        n=found.castings,
        group=mold.name,
        more=more,
        quiet=found.castings < ENOUGH_UNREAD,
    )


def _source(model: WarmingMold) -> str:
    source = f"fitted to {counted(model.measured, 'measured fill')}" if model.fitted else "book values"
    pace = f"{model.seconds:.0f} s a fill by the log's times" if model.timed else "a fill a minute"
    return source if model.fitted and not model.timed else f"{source}, {pace}"


def _warm_up(show: Show, mold: MoldResult) -> tuple[Finding, str] | None:
    """Returns the finding on warm-up fills, and what an action may say of them."""
    warm_up, model, name = mold.warm_up, mold.heat.model, mold.name
    if warm_up is None:
        return None
    target = warm_up.target_c
    if model is None or mold.heat.gun_sessions:
        if not warm_up.as_logged:
            return None
        middle, n = float(np.median(warm_up.as_logged)), len(warm_up.as_logged)
        words = f"the middle one of {n} sessions took {middle:.0f} fills to get there"
        ends = min(warm_up.as_logged), max(warm_up.as_logged)
        more: dict[str, Cell] = {"method": "first fill at the target, as logged", "target_c": target}
        text, value = f"{name}: {words} ({ends[0]} to {ends[1]}).", (middle, *ends)
        return make_finding("warm_up_fills", text, value, "pieces", n=n, group=name, more=more), words
    low, high, usual = warm_up.low, warm_up.high, mold.heat.usual_c
    more = {"method": f"heat balance, {_source(model)}", "target_c": target}
    words = f"no number of fills at this pace warms a cold mold to {show.temp(target)}: "
    words += "pour faster, or preheat it"
    if low is not None:
        most = f"{low} or more" if high is None else f"{low}" if high == low else f"{low} to {high}"
        words = f"about {most} warm-up fills from cold"
    if begins_warm(mold.heat):
        more |= {"usual_start_c": usual, "from_usual_start": warm_up.from_usual}
        if warm_up.from_usual is not None:
            words += f", {warm_up.from_usual} from the usual {show.temp(usual)}"
    whence = (
        f" (the target of {warm_up.target_mold})" if warm_up.target_mold else " (customary for lead alloys)"
    )
    whence = "" if warm_up.target_mold == name else whence
    text = f"{name} to {show.temp(target)}{whence}: {words} (heat balance, {_source(model)})."
    finding = make_finding(
        "warm_up_fills", text, (low, low, high), "pieces", n=model.measured, group=name, more=more
    )
    return finding, words if model.fitted else ""


def _fails(mold: MoldResult, cavity: CavityRate) -> str:
    """Returns `fails 6 times as often as its neighbours in the same fill`."""
    often, stratum = cavity.often, STRATA[mold.stratum]
    if often is None or often.ratio is None or math.isinf(often.ratio):
        return f"fails {stratum}, and its neighbours never do"
    ratio = times(often.ratio, often.lower, often.upper)
    return f"fails {ratio} as often as its neighbours {stratum}"


def _worse_cavity(mold: MoldResult, cavity: CavityRate) -> Finding:
    assert cavity.often is not None
    assert cavity.p is not None
    text = f"{mold.name}: cavity {cavity.cavity} {_fails(mold, cavity)} ({p_words(cavity.p)})."
    value = (cavity.often.ratio, cavity.often.lower, cavity.often.upper)
    name, more = f"{mold.name} {cavity.cavity}", {"p_adjusted": cavity.p}
    return make_finding("worse_cavity", text, value, n=cavity.castings, group=name, more=more)


def _sessions(show: Show, mold: MoldResult) -> Finding:
    """The sessions beyond their limits; quiet where there is none."""
    table, chart = mold.sessions.table, mold.sessions.chart
    beyond = table[chart.signal][["session", "castings", "rejects"]]
    odd = [
        f"{show.session(session, mold.name)} ({bad} of {made} bad)"
        for session, made, bad in beyond.itertuples(index=False)
    ]
    usual = f"beyond what chance does around {show.share(chart.center)}"
    text = f"{mold.name}: none of {len(table)} sessions is {usual}."
    if odd:
        text = (
            f"{mold.name}: {len(odd)} of {len(table)} sessions {'is' if len(odd) == 1 else 'are'} {usual}: "
        )
        text += f"{listed(odd, MOST_SESSIONS_NAMED)}."
    return make_finding("session_signals", text, (len(odd),), n=len(table), group=mold.name, quiet=not odd)


def _temperature_advice(show: Show, mold: MoldResult) -> Iterator[Action]:
    """Pour hotter, wait until the mold is warm, rest it when it is too hot.

    Where the logs skip the temperature in question, the advice names the edge of the gap at which castings
    were good.
    """
    found, rows, name = mold.window, mold.rows, mold.name
    if found is None or found.window is None:
        return
    temps, goal = rows["mold_temp_c"], show.share(show.bench.plan.target_reject_rate)
    if found.falls and found.window.first_met is None and found.window.best == found.hottest:
        text = f"Pour {name} hotter than {show.temp(found.hottest)}, the hottest logged"
        because = f"short fills and cold shuts still fall there, and bad castings are not yet down to {goal}"
        worth = worth_of_rejects(show.season, name, rows, "cold")
        yield Action(id=f"hotter:{name}", text=text, because=because, **worth)
    if found.falls and found.first_met is not None and rows.loc[temps < found.first_met, "cold"].sum():
        below = rows[temps < found.first_met]
        bad, made = int(below["cold"].sum()), int(below["castings"].sum())
        from_on = (gap_around(mold, found.first_met) or (0, found.first_met))[1]
        warm_up = _warm_up(show, mold)
        text = f"Lay no inserts into {name} before it reads {show.temp(from_on)}"
        text += f": {warm_up[1]}" if warm_up and warm_up[1] else ""
        because = f"{bad} of the {made} castings poured colder were short fills or cold shuts. From there on "
        because += f"no more than {goal} of all castings go bad"
        worth = worth_of_rejects(show.season, name, below, "cold")
        yield Action(id=f"warm:{name}", text=text, because=because, **worth)
    if found.rises and found.top is not None and rows.loc[temps > found.top, "hot"].sum():
        above = rows[temps > found.top]
        bad, made = int(above["hot"].sum()), int(above["castings"].sum())
        up_to = (gap_around(mold, found.top) or (found.top,))[0]
        text = f"Rest {name} when it reads more than {show.temp(up_to)}"
        because = f"{bad} of the {made} castings poured hotter had flash or porosity"
        worth = worth_of_rejects(show.season, name, above, "hot")
        yield Action(id=f"rest:{name}", text=text, because=because, **worth)


def _cavity_advice(show: Show, mold: MoldResult, cavity: CavityRate) -> Action:
    """Vent a cavity that runs short, or look at how it closes."""
    assert cavity.often is not None
    rows, bad = cavity.rows, cavity.rejects
    flawed = rows[rows["rejects"] > 0]
    flaws = flawed["rejects"].groupby(flawed["flaw"].astype("str")).sum().sort_values(ascending=False)
    most = f", mostly {flaws.index[0]}" if len(flaws) else ""
    because = f"{bad} of its {cavity.castings} castings were bad{most}. It {_fails(mold, cavity)}"
    cold = rows["cold"].sum() >= bad / 2
    text = f"{'Vent or open up' if cold else 'Look at how it closes:'} cavity {cavity.cavity} of {mold.name}"
    worth = worth_of_rejects(
        show.season, mold.name, rows, "rejects", 1 - 1 / (cavity.often.ratio or math.inf)
    )
    return Action(id=f"cavity:{mold.name} {cavity.cavity}", text=text, because=because, **worth)


def _session_advice(show: Show, mold: MoldResult) -> Iterator[Action]:
    """Names each session that went worse than chance does, unless its temperature explains it."""
    table, chart = mold.sessions.table, mold.sessions.chart
    if not mold.sessions.judged or table["castings"].sum() < ENOUGH_CASTINGS:
        return
    found, usual = mold.window, chart.center
    odd = table[chart.signal & (table["rejects"] >= ENOUGH_FLAWED) & (chart.value > usual)]
    for session, made, bad, temp in odd.itertuples(index=False):
        if found is not None and (temp < (found.first_met or -273) or temp > (found.top or math.inf)):
            continue
        rows = mold.rows[mold.rows["session"] == session]
        because = f"{bad} of {made} castings were bad, where {show.share(usual)} are as a rule. "
        because += "The temperature " + (
            "was not logged" if math.isnan(temp) else f"({show.temp(temp)}) is no reason"
        )
        text = f"Look for what was different with {mold.name} on {show.session(session, mold.name)}"
        worth = worth_of_rejects(show.season, mold.name, rows, "rejects", 1 - usual * int(made) / int(bad))
        yield Action(id=f"session:{session}", text=text, because=because, **worth)
