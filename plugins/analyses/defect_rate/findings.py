"""Says what the numbers mean, and how each is made."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from benchwater.plugin import Bench, Cell, Finding, Season
from benchwater.words import counted, day_words, in_brackets, limits, listed, make_finding, times

from .compute import ENOUGH_CASTINGS, BadCastings, CavityRate, MoldResult, gap_around
from .logistic import LogisticFit
from .mold_heat import GUN_ON_C, GUN_READS_C, Fills, WarmingMold
from .rates import RejectRate
from .working_window import ENOUGH_FLAWED, FlawWindow

ENOUGH_UNREAD, MOST_SESSIONS_NAMED, MANY_BLANKS, WIDEST_SHARE = 10, 8, 12, 0.4
STRATA = {
    "fill": "in the same fill, whatever the heat",
    "temperature": "at the same heat",
    "session": "in the same session (how warm it was, the log does not tell)",
}
METHODS = (
    "A row of the pour log without a count is one casting. Shares: Wilson's score interval (Wilson 1927), "
    "the castings divided by the design effect of sessions (Rao and Scott 1992), the mold a stratum where "
    "molds are put together: at most the mean castings of a session, weighted by them; times (t/z)² for "
    "few sessions (Korn and Graubard 1998); at least 1. It is that of the season to date, for a month too. "
    "In a single session fills take the place of sessions. Where rows set aside could move a share out of "
    "its interval, the limits are those of all of them good and of all bad (Horowitz and Manski 2000); a "
    "row whose count is not known counts as the log's middle row, and a month has those without a date too.",
    "Trend over bins of temperature, scored by their middles: Cochran 1954 and Armitage 1955, over the "
    "design effect of sessions within bins.",
    "Cold flaws (short fill, cold shut) and hot ones (flash, porosity) are fitted apart over mold "
    "temperature by penalised logistic regression (Firth 1993; Heinze and Schemper 2002); other flaws are "
    "a constant share. Where most bad castings name no flaw, those are taken as cold ones. Dispersion: "
    "squares of what sessions lie beside the fit over what chance does to them, capped and with (t/z)² as "
    "above. That flaws change with temperature is tested within sessions (Mantel 1963) and over all, each "
    "at 2.5 %.",
    "Target temperature and the window's upper end: where the sum first and last meets the target, with "
    "profile likelihood limits (Williams 1986; the problem: Fieller 1954) for the doubt in all three "
    "shares. Where nothing was poured within 20 K of such an end, advice takes the reading next to it "
    "that is inside the window. Without a thermometer the number of the fill takes the place of the "
    "temperature.",
    "Cavities at equal temperature: ratio of shares within fills, or within bins of temperature or "
    "sessions where poured apart (Greenland and Robins 1985; limits as Sato 1990); p-values after Holm "
    "1979, and limits at the level that this leaves.",
    "Sessions: p-chart for unequal sizes (Shewhart 1931; Montgomery, Introduction to Statistical Quality "
    "Control), one a mold, limits widened by the design effect of fills within sessions.",
    "Worth of advice: the inserts of the bad castings of recent months (the report's and the one before), "
    "as far as they are lost with them, at the price that What each bait cost takes. Advice holds once "
    "recent months have at most half as many such flaws as the bench aims at.",
    "Heat balance: the mold as one lump (Incropera and DeWitt, Fundamentals of Heat and Mass Transfer, "
    "chapter 5); castings leave as warm as the mold. It goes by the times of the fills, else in steps of "
    "one fill, so that the bench's rhythm is part of the fitted loss. Book values: the mold's mass "
    "(aluminium alloy 6061: 896 J/kgK, 2700 kg/m³, UNS A96061 data sheets; 10 W/m²K to air of 20 °C, "
    "after Cengel, Heat Transfer). Fitted: logarithms of capacity and loss that make least the sum of "
    "((estimate − reading) / 5 K)² over all readings but the first of a session, from which it is "
    "estimated, and of (log(value/book) / log 2)². Lead gives 148 J/kgK liquid, 136 solid (Dinsdale 1991) "
    "and 23.0 kJ/kg on freezing (CRC Handbook); tin-bismuth 188, 167 and 45 (elements by mass; from "
    "memory). Sprues take half the castings' metal again: common practice, no source; the fit makes up "
    "for it.",
    "Warm-up fills: 95 % limits over 1000 draws of what the fit leaves open; with book values, of those, "
    "of the rhythm (each good to a factor of 2) and of the metal in sprues (to a third). Without a mold "
    "mass: the middle session's first fill at the target, less one.",
    "Fills without a reading: by the same balance, from the reading before, else from the usual first "
    "reading (else 20 °C). Estimates stand apart from readings throughout.",
    "Infrared: a gun takes what a surface radiates and mirrors for one of its own setting (Planck's law, "
    "8 to 14 µm). Emissivities: CRC; Thermal Radiation Properties Survey 1960. Suspected where a remark "
    "names it, or readings lie over three times closer to the air than book values have it.",
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
        """Prints a temperature as read."""
        return self.bench.show(celsius, "degC")

    def about(self, celsius: float | None) -> str:
        """Prints a temperature as well as a mold can be held at it: to 10 °F or 5 °C."""
        step, shift, factor = (10.0, 32.0, 1.8) if self.bench.system == "us" else (5.0, 0.0, 1.0)
        if celsius is None:
            return self.temp(None)
        return self.temp((round((celsius * factor + shift) / step) * step - shift) / factor)

    def between(self, low: float | None, high: float | None) -> str:
        """Prints the limits of a temperature in words."""
        shown = limits(self.about, low, high)
        if low is not None and high is not None:
            return f"somewhere between {shown.replace(' to ', ' and ')}"
        return shown or "how exactly, the logs leave open"

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
    rates = [_reject_rate(show, None, result.total, alone=len(molds) == 1)]
    rates += [_reject_rate(show, mold.name, mold.total, alone=len(molds) == 1) for mold in molds]
    over = [each for each in rates if (each.value or 0.0) > show.bench.plan.target_reject_rate]
    worst = max(over, key=lambda each: (each.value or 0.0) * (each.n or 0), default=rates[0])
    yield from (replace(each, headline=each is worst) for each in rates)
    if result.left_out:
        text = f"The {len(molds)} molds poured most are looked at one by one; {result.left_out} more are in "
        text += "the share of all molds only."
        yield make_finding("molds_left_out", text, (float(result.left_out),), "1")
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


def what_would_settle(result: BadCastings) -> Iterator[Finding]:
    """The castings that metal molds without a working temperature lack, in fills and evenings as before."""
    bench = result.season.bench
    for mold in result.molds:
        stated = bench.molds[mold.name]
        if mold.window is not None or bench.items[stated.material].kind != "metal":
            continue
        known, evening = mold.by_temperature.fills, mold.sessions.table["castings"].median()
        flaws = ENOUGH_FLAWED - float(known["cold"].sum() + known["hot"].sum())
        bad = max(mold.total.rejects, 1) / mold.total.castings
        castings = max(ENOUGH_CASTINGS - float(known["castings"].sum()), flaws / bad, 1.0)
        fills = math.ceil(castings / sum(cavity.per_fill for cavity in stated.cavities.values()))
        evenings = counted(math.ceil(castings / max(evening, 1.0)), "evening")
        text = f"How warm {mold.name} must be: it takes about {counted(fills, 'fill')} more with "
        text += f"`mold_temp`, some cool and some warm ({evenings} like those so far). "
        text += "Draw lots for it: `benchwater sheets --trial mold_temp`."
        n, name = mold.total.castings, mold.name
        yield make_finding("settled_by", text, (castings,), "pieces", n=n, group=name, quiet=True)


def is_sure(result: BadCastings) -> bool:
    """Whether enough was poured for a mold's temperature or fill, and no rows set aside could decide it."""
    enough = any(mold.window is not None or mold.by_fill is not None for mold in result.molds)
    return enough and result.left_open is None


def rows_decide(result: BadCastings) -> str:
    """Says how far rows set aside could move a share, and what settles it; empty where they could not."""
    found = result.left_open
    if found is None:
        return ""
    (mold, rate), show = found, Show(result.season)
    left = rate.left_open
    assert left is not None
    rows, castings = counted(left.rows, "row"), counted(left.castings, "casting")
    of = "" if mold == "All molds" else f" of {mold}"
    return (
        f"{rows} ({castings}) set aside could put the share of bad castings{of} anywhere from "
        f"{show.share(left.least)} to {show.share(left.most)}, so nothing is advised from it. To settle it, "
        f"{result.settles}."
    )


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


def _reject_rate(show: Show, mold: str | None, found: RejectRate, *, alone: bool) -> Finding:
    """The share of bad castings; `alone` says that the report has one mold only."""
    text = f"{mold or 'All molds'}: {_bad_castings(show, found)}."
    more: dict[str, Cell] = {"fills": found.fills, "sessions": found.sessions, "design_effect": found.effect}
    if (left := found.left_open) is not None:
        bounds = f"{show.share(left.least)} to {show.share(left.most)}"
        text = f"{mold or 'All molds'}: somewhere from {bounds} of castings were bad: {found.rejects} of the "
        text += f"{found.castings} that could be read, and {counted(left.castings, 'more is', 'more are')} "
        text += "set aside."
        more |= {"bound_low": left.least, "bound_high": left.most, "set_aside": left.castings}
    n, quiet = found.castings, mold is not None and alone
    return make_finding("reject_rate", text, found.rate, "1", n=n, group=mold, more=more, quiet=quiet)


def _bad_castings(show: Show, found: RejectRate) -> str:
    """Returns `9 of 97 castings were bad, 9.3 % (5 to 17 %)`, or that the limits are too far apart."""
    rate, were = found.rate, "was" if found.rejects == 1 else "were"
    sure = "; too few evenings to say more"
    if rate.high - rate.low <= WIDEST_SHARE:
        sure = in_brackets(show.share, rate.low, rate.high)
    of = counted(found.castings, "casting")
    return f"{found.rejects or 'none'} of {of} {were} bad, {show.share(rate.estimate)}{sure}"


def _temperature(show: Show, mold: MoldResult) -> Iterator[Finding]:
    """The trend, the target temperature and the working window of a mold."""
    found, trend, window = mold.by_temperature, mold.by_temperature.trend, mold.window
    if trend is not None:
        text = f"{mold.name}: {'fewer' if trend.slope < 0 else 'more'} bad castings the warmer the mold."
        if trend.p_value >= 0.05:
            text = f"{mold.name}: no clear trend of bad castings with the warmth of the mold."
        more: dict[str, Cell] = {"chi2": trend.statistic, "df": 1, "slope_per_k": trend.slope}
        p, answered = trend.p_value, window is not None and window.first_met is not None
        quiet = answered or p >= 0.05
        yield make_finding("trend_p", text, (p,), n=found.castings, group=mold.name, more=more, quiet=quiet)
    if window is not None:
        yield from _window(show, mold, window)
    if mold.by_fill is not None:
        by_fill = mold.by_fill
        text = f"{mold.name}: castings are good from {from_fill(mold)} (by {by_fill.castings} castings of "
        text += "numbered fills)."
        value = (by_fill.first, by_fill.low, by_fill.high)
        yield make_finding("first_good_fill", text, value, n=by_fill.castings, group=mold.name)


def from_fill(mold: MoldResult) -> str:
    """Returns `fill 9 on (somewhere between 7 and 12), in sessions begun as yours are`."""
    found = mold.by_fill
    assert found is not None
    sure = f" (somewhere between {found.low} and {found.high})" if found.low < found.high else ""
    return f"fill {found.first} on{sure}, in sessions begun as yours are"


def _window(show: Show, mold: MoldResult, found: FlawWindow) -> Iterator[Finding]:
    """The target temperature and the two ends of the window; the first says both ends in words."""
    window, goal = found.window, show.share(show.bench.plan.target_reject_rate)
    low = high = None
    stop = f"{_sure(show, found.top_limits, mold, found.top)}{_few(found.hot)}"
    until = f"on; up to {show.about(found.hottest)}, the hottest so far, too much heat does not show"
    if mold.stop_at is not None and window is not None:
        until = f"to about {stop_words(show, mold)} ({stop}), best near {show.about(window.best)}"
    if window is None:
        text = f"flaws that temperature does not explain ({show.share(found.plain)}) already use up the "
        text += f"{goal}."
    elif window.first_met is None:
        text = f"no temperature so far keeps bad castings to {goal}: the best, {show.temp(window.best)}, "
        text += f"still gives {show.share(float(found.total([window.best])[0]))}."
        low = window.first_met_lower
    elif window.starts_before:
        text = f"at most {goal} go bad from the coldest so far, {show.about(found.coldest)}, {until}."
    else:
        low, high = window.first_met_lower, window.first_met_upper
        start = f"{_sure(show, (low, high), mold, found.first_met)}{_few(found.cold)}"
        text = f"at most {goal} go bad from about {start_words(show, mold)} ({start}) {until}."
    n, name = mold.by_temperature.castings, mold.name
    value: Sequence[float | None] = (found.first_met, low, high)
    edge: dict[str, Cell] = {
        "coldest_logged_c": found.coldest,
        "hottest_logged_c": found.hottest,
        "start_at_c": mold.start_at,
        "stop_at_c": mold.stop_at,
        "best_c": None if window is None else window.best,
    }
    yield make_finding("target_temp", f"{name}: {text}", value, "degC", n=n, group=name, more=edge)
    if window is None or window.first_met is None:
        return
    lower = f"from about {start_words(show, mold) if mold.start_at else show.about(found.coldest)}"
    upper = f"to about {stop_words(show, mold) if mold.stop_at else show.about(found.hottest)}"
    text = f"{name}: the working window runs {lower} {upper}."
    yield make_finding("window_low", text, value, "degC", n=n, group=name, more=edge, quiet=True)
    text = f"{name}: up to {show.about(found.hottest)}, the hottest so far, too much heat does not show."
    if mold.stop_at is not None:
        text = f"{name}: above about {stop_words(show, mold)} ({stop}) "
        text += f"flash and porosity take bad castings over {goal}."
    value = (found.top, *found.top_limits)
    yield make_finding("window_high", text, value, "degC", n=n, group=name, more=edge, quiet=True)


def _few(fit: LogisticFit | None) -> str:
    """Says how many flaws an end of the window rests on, where they are few."""
    flaws = 0 if fit is None else round(float(fit.events.sum()))
    return f"; by only {counted(flaws, 'flaw')}" if 0 < flaws < ENOUGH_FLAWED else ""


def start_words(show: Show, mold: MoldResult) -> str:
    """Prints where to start: the reading at the edge of a gap as read."""
    return _edge(show, mold, mold.start_at, mold.window.first_met if mold.window else None)


def stop_words(show: Show, mold: MoldResult) -> str:
    """Prints where to stop: the reading at the edge of a gap as read."""
    return _edge(show, mold, mold.stop_at, mold.window.top if mold.window else None)


def _edge(show: Show, mold: MoldResult, at: float | None, met: float | None) -> str:
    return show.about(at) if met is None or gap_around(mold, met) is None else show.temp(at)


def _sure(show: Show, ends: tuple[float | None, float | None], mold: MoldResult, temp: float | None) -> str:
    """Prints the limits of an end, and between which temperatures nothing was poured, where it lies there."""
    gap = None if temp is None else gap_around(mold, temp)
    if gap is None:
        return show.between(*ends)
    below, above = (show.temp(edge) for edge in gap)
    where = "" if None in ends else f"the very end lies {show.between(*ends)}; "
    return f"{where}nothing was poured between {below} and {above}, so pour a few there"


def _heat(show: Show, mold: MoldResult) -> Iterator[Finding]:
    """Infrared guns, castings without a thermometer, and the warm-up fills."""
    if mold.heat.gun_sessions:
        yield _infrared(show, mold)
    if mold.heat.unread is not None and mold.heat.model is not None:
        yield _unread(show, mold, mold.heat.model)
    if (found := warm_up_finding(show, mold)) is not None:
        yield found[0]


def _infrared(show: Show, mold: MoldResult) -> Finding:
    """Says where temperatures were likely read by infrared on bare metal."""
    heat = mold.heat
    why = f"the remarks of {counted(len(heat.gun_sessions), 'session')}, "
    why += f"{show.session(min(heat.gun_sessions), mold.name)} first, name an infrared gun"
    if heat.suspected:
        why = "readings stay far below what the metal poured must have warmed the mold to, as those of "
        why += "an infrared gun do (or minutes passed between fills: then write the time with the date)"
    bare, dull, spot = GUN_READS_C
    text = (
        f"{mold.name}: {why}. Bare aluminium radiates little and mirrors the room: at {show.temp(GUN_ON_C)} "
        f"a gun reads {limits(show.temp, bare, dull)} on it, and {show.temp(spot)} on a matt black spot. "
        "Paint one, aim there, and log how it was read. Until then take temperatures here as that gun's own."
    )
    more: dict[str, Cell] = {"said": not heat.suspected}
    return make_finding("infrared_likely", text, n=len(heat.gun_sessions), group=mold.name, more=more)


def _unread(show: Show, mold: MoldResult, model: WarmingMold) -> Finding:
    """The share of bad castings of fills of which only the estimated temperature is known."""
    found = mold.heat.unread
    assert found is not None
    total, trend = found.total, found.trend
    text = f"{mold.name} without a thermometer: {_bad_castings(show, total)}, at an estimated "
    text += f"{limits(show.temp, found.coolest_c, found.warmest_c)} (heat balance, {_source(model)}"
    text += f"{', begun cold' if mold.heat.usual_c is None else ''})."
    if trend is not None and trend.p_value < 0.05:
        text += f" {'Fewer' if trend.slope < 0 else 'More'} were bad the warmer it was."
    p = None if trend is None else trend.p_value
    more: dict[str, Cell] = {"coolest_c": found.coolest_c, "warmest_c": found.warmest_c, "trend_p": p}
    n, quiet = total.castings, total.castings < ENOUGH_UNREAD
    id, rate, name = "reject_rate_unread", total.rate, mold.name
    return make_finding(id, text, rate, "1", n=n, group=name, more=more, quiet=quiet)


def _source(model: WarmingMold) -> str:
    source = f"fitted to {counted(model.measured, 'measured fill')}" if model.fitted else "book values"
    pace = f"{model.seconds:.0f} s a fill by the log's times" if model.timed else "a fill a minute"
    return source if model.fitted and not model.timed else f"{source}, {pace}"


def warm_up_finding(show: Show, mold: MoldResult) -> tuple[Finding, str] | None:
    """Returns the finding on warm-up fills, and what a card or an action may say of them."""
    warm_up, model, name = mold.warm_up, mold.heat.model, mold.name
    if warm_up is None:
        return None
    target = warm_up.target_c
    if model is None or mold.heat.gun_sessions or warm_up.from_cold is None:
        if not warm_up.as_logged:
            return None
        middle, n = float(np.median(warm_up.as_logged)), len(warm_up.as_logged)
        low, high = min(warm_up.as_logged), max(warm_up.as_logged)
        words = f"about {counted(round(middle), 'blank fill')}, as in the middle one of {n} sessions"
        words += f" ({low} to {high})" if low < high else ""
        more: dict[str, Cell] = {"method": "first fill at the target, as logged", "target_c": target}
        text = f"{name}: {words}, until it is warm."
        return make_finding("warm_up_fills", text, (middle,), "pieces", n=n, group=name, more=more), words
    cold, usual, of = warm_up.from_cold, warm_up.from_usual, warm_up.target_mold
    more = {"method": f"heat balance, {_source(model)}", "target_c": target}
    words = f"{_fills(cold)} from cold"
    if cold.count is None:
        words = f"no number of fills at this pace warms a cold mold to {show.about(target)}: pour faster, or "
        words += "warm the dry mold first"
    elif cold.count >= MANY_BLANKS:
        words += "; warming the dry mold first saves most of them"
    if usual is not None:
        more |= {"usual_start_c": mold.heat.usual_c, "from_usual_start": usual.count}
        if usual.count is not None:
            words = f"{_fills(usual)} from its usual {show.about(mold.heat.usual_c)}, {words}"
    whence = (
        f" (the target of {of})" if of not in ("", name) else "" if of else " (customary for lead alloys)"
    )
    text = f"{name} to {show.about(target)}{whence}: {words} (heat balance, {_source(model)})."
    value = (cold.count, cold.low, cold.high)
    finding = make_finding("warm_up_fills", text, value, "pieces", n=model.measured, group=name, more=more)
    return finding, words if model.fitted else ""


def _fills(found: Fills) -> str:
    """Returns `about 27 blank fills (24 to 31)`."""
    sure = "" if found.low == found.high else in_brackets(lambda n: f"{n:.0f}", found.low, found.high)
    return f"about {counted(found.count or 0, 'blank fill')}{sure}"


def how_it_fails(mold: MoldResult, cavity: CavityRate) -> str:
    """Returns `fails about 6 times (3 to 12) as often as its neighbors in the same fill`."""
    often, stratum = cavity.often, STRATA[mold.stratum]
    assert often is not None
    if math.isinf(often.ratio):
        return f"fails {stratum}, and its neighbors never do"
    return f"fails {times(often.ratio, *often.limits(cavity.level))} as often as its neighbors {stratum}"


def _worse_cavity(mold: MoldResult, cavity: CavityRate) -> Finding:
    assert cavity.often is not None
    text = f"{mold.name}: cavity {cavity.cavity} {how_it_fails(mold, cavity)}."
    value = (cavity.often.ratio, *cavity.often.limits(cavity.level))
    name, more = f"{mold.name} {cavity.cavity}", {"p_adjusted": cavity.p}
    found = make_finding("worse_cavity", text, value, n=cavity.castings, group=name, more=more)
    return replace(found, level=cavity.level)


def _sessions(show: Show, mold: MoldResult) -> Finding:
    """The sessions worse than their limits; quiet where there is none."""
    table, chart = mold.sessions.table, mold.sessions.chart
    usual, of = show.share(chart.center), f"{len(table)} sessions"
    worse = table.loc[chart.above, ["session", "castings", "rejects"]]
    odd = [
        f"{show.session(session, mold.name)} ({bad} of {made} bad)"
        for session, made, bad in worse.itertuples(index=False)
    ]
    were = "was" if len(odd) < 2 else "were"
    text = f"{mold.name}: {len(odd) or 'none'} of {of} {were} worse than chance makes them around the usual "
    text += f"{usual}: {listed(odd, MOST_SESSIONS_NAMED)}." if odd else f"{usual}."
    n, quiet, more = len(table), not odd, {"better": int(chart.below.sum())}
    return make_finding("session_signals", text, (len(odd),), n=n, group=mold.name, more=more, quiet=quiet)
