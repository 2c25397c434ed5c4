"""Says what to do next, and writes the card of each mold."""

import math
from collections.abc import Iterator
from typing import Any

import numpy as np
import pandas as pd

from benchwater.ledger.costs import cost_of_reject
from benchwater.plugin import Action, Card, CardLine, Season
from benchwater.words import in_brackets, times

from .compute import ENOUGH_CASTINGS, BadCastings, CavityRate, MoldResult, by_name, gap_around
from .findings import (
    MANY_BLANKS,
    WIDEST_SHARE,
    Show,
    from_fill,
    how_it_fails,
    start_words,
    stop_words,
    warm_up_finding,
)
from .working_window import ENOUGH_FLAWED


def all_actions(result: BadCastings) -> Iterator[Action]:
    """Yields what to do about temperatures, cavities and sessions."""
    show, months = Show(result.season), result.months
    for mold in result.molds:
        yield from _temperature_advice(show, mold, months)
    for mold in result.molds:
        for cavity in mold.cavities:
            if cavity.often is not None:
                yield _cavity_advice(show, mold, cavity, months)
    for mold in result.molds:
        yield from _session_advice(show, mold)


def all_cards(result: BadCastings) -> tuple[Card, ...]:
    """Returns a card a mold: where to start and stop, blank fills, worst cavity and yield."""
    show = Show(result.season)
    return tuple(
        Card(id=f"mold:{mold.name}", title=mold.name, order=30, lines=tuple(_card_lines(show, mold)))
        for mold in result.molds
    )


def _card_lines(show: Show, mold: MoldResult) -> Iterator[CardLine]:
    found, warm_up = mold.window, warm_up_finding(show, mold)
    window = None if found is None else found.window
    if found is not None and window is not None and window.first_met is not None:
        ends = (window.first_met_lower, window.first_met_upper)
        start = _card_end(show, mold, start_words(show, mold), window.first_met, ends, "warm enough")
        if mold.start_at is None:
            start = f"{show.about(found.coldest)}, the coldest so far"
        yield CardLine(label="Start at", text=start, findings=("target_temp",))
        if found.coldest < window.best < found.hottest:
            yield CardLine(label="Best", text=f"near {show.about(window.best)}", findings=("target_temp",))
        stop = _card_end(show, mold, stop_words(show, mold), found.top, found.top_limits, "too hot")
        if mold.stop_at is None:
            stop = f"not known: {show.about(found.hottest)}, the hottest so far, was not too hot"
        yield CardLine(label="Stop at", text=stop, findings=("window_high",))
    if mold.by_fill is not None:
        yield CardLine(label="Start at", text=from_fill(mold), findings=("first_good_fill",))
    elif warm_up is not None and warm_up[1]:
        yield CardLine(label="Blank fills", text=_card_blanks(show, mold), findings=("warm_up_fills",))
    for each in mold.cavities:
        if each.often is not None:
            often = times(each.often.ratio, *each.often.limits(each.level))
            text = f"{each.cavity} fails {often} as often as the others"
            yield CardLine(label="Worst cavity", text=text, findings=("worse_cavity",))
    rate, made = mold.total.rate, mold.total.castings
    good = f"{made - mold.total.rejects} of {made} good this season, {show.share(1 - rate.estimate)}"
    if rate.high - rate.low <= WIDEST_SHARE:
        good += in_brackets(show.share, 1 - rate.high, 1 - rate.low)
    yield CardLine(label="Yield", text=good, findings=("reject_rate",))


def _card_end(
    show: Show,
    mold: MoldResult,
    at: str,
    met: float | None,
    ends: tuple[float | None, float | None],
    why: str,
) -> str:
    """Returns `320 °F (310 to 340 °F)`; at the edge of a gap in the readings, where in it the end may lie."""
    if met is not None and gap_around(mold, met) is not None and any(each is not None for each in ends):
        return f"{at}; {why} from {show.between(*ends)}"
    return f"{at}{in_brackets(show.about, *ends) or ' (how sure, the logs leave open)'}"


def _card_blanks(show: Show, mold: MoldResult) -> str:
    """Returns `5 from its usual 280 °F, 25 from cold (24 to 27): warm a cold mold dry first`."""
    warm_up = mold.warm_up
    assert warm_up is not None
    cold, usual = warm_up.from_cold, warm_up.from_usual
    if cold is None:
        return f"{np.median(warm_up.as_logged):.0f}, as in the middle session"
    text = "from cold never at this pace: pour faster, or warm the mold dry first"
    if cold.count is not None:
        text = f"{cold.count} from cold{in_brackets(lambda n: f'{n:.0f}', cold.low, cold.high)}"
        text += ": warm a cold mold dry first" if cold.count >= MANY_BLANKS else ""
    if usual is not None and usual.count is not None:
        text = f"{usual.count} from its usual {show.about(mold.heat.usual_c)}, {text}"
    return text


def worth_of_rejects(
    season: Season, mold: str, rows: pd.DataFrame, column: str, part: float = 1.0
) -> dict[str, Any]:
    """Returns an action's worth: what the inserts of these bad castings cost, else their number.

    Their number stands where an insert has no price or no cavity takes one. The result is empty where every
    insert is cut out of them and used again.
    """
    counts = {cavity: int(own[column].sum()) for cavity, own in by_name(rows, "cavity").items()}
    bad = {cavity: count for cavity, count in counts.items() if count > 0}
    if not bad:
        return {}
    costs = {cavity: cost_of_reject(season, mold, cavity) for cavity in bad}
    no_insert = all(season.bench.cavity(mold, cavity).insert is None for cavity in bad)
    if None in costs.values() or no_insert:
        return {"worth": part * float(sum(bad.values())), "worth_unit": "baits"}
    money = sum((costs[cavity] or 0.0) * count for cavity, count in bad.items())
    return {"worth": part * money, "worth_unit": "money"} if money > 0 else {}


def few_bad(show: Show, made: int, bad: int) -> bool:
    """Whether bad castings are at most half of what the bench aims at."""
    return bad <= show.bench.plan.target_reject_rate / 2 * made


def _hooks(show: Show, mold: MoldResult) -> str:
    inserts = any(each.insert for each in show.bench.molds[mold.name].cavities.values())
    return "set hooks" if inserts else "count on its castings"


def _temperature_advice(show: Show, mold: MoldResult, months: str) -> Iterator[Action]:
    """Pour hotter, wait until the mold is warm (or by fills), rest it when it is too hot."""
    found, rows, name, late = mold.window, mold.rows, mold.name, mold.recent
    if mold.by_fill is not None:
        yield from _first_fill_advice(show, mold, months)
    if found is None or found.window is None:
        return
    temps = rows["mold_temp_c"]
    if found.falls and found.window.first_met is None and found.window.best == found.hottest:
        text = f"Pour {name} hotter than {show.temp(found.hottest)}, the hottest so far"
        target = show.share(show.bench.plan.target_reject_rate)
        because = f"short fills and cold shuts still fall there, and more than {target} go bad"
        worth = worth_of_rejects(show.season, name, late, "cold")
        yield Action(id=f"hotter:{name}", text=text, because=because, **worth)
    start, stop, lately = mold.start_at, mold.stop_at, f"In {months}, at any heat"
    if start is not None and found.falls:
        text = f"{name}: wait for {start_words(show, mold)} before you {_hooks(show, mold)}"
        warm_up = warm_up_finding(show, mold)
        text += f". That is {warm_up[1]}" if warm_up and warm_up[1].startswith("about") else ""
        because = "Colder than that, {} of {} castings of the season were short fills or cold shuts. "
        outside = rows[temps < start], late[late["mold_temp_c"] < start]
        yield from _end_advice(show, mold, f"warm:{name}", "cold", outside, text, because + lately)
    if stop is not None and found.rises:
        text = f"Rest {name} when it reads more than {stop_words(show, mold)}"
        because = "Hotter than that, {} of {} castings of the season had flash or porosity. "
        outside = rows[temps > stop], late[late["mold_temp_c"] > stop]
        yield from _end_advice(show, mold, f"rest:{name}", "hot", outside, text, because + lately)


def _end_advice(
    show: Show,
    mold: MoldResult,
    id: str,
    flaw: str,
    outside: tuple[pd.DataFrame, pd.DataFrame],
    text: str,
    because: str,
) -> Iterator[Action]:
    """Advice to stay within one end, if any of the season's rows `outside` it has the flaw.

    `outside` holds these rows, and the recent ones of them. It holds once recent months have few such flaws.
    """
    season, late = outside
    if not season[flaw].sum():
        return
    made, bad = int(mold.recent["castings"].sum()), int(mold.recent[flaw].sum())
    because = because.format(int(season[flaw].sum()), int(season["castings"].sum()))
    holds, worth = few_bad(show, made, bad), worth_of_rejects(show.season, mold.name, late, flaw)
    yield Action(id=id, text=text, because=f"{because}: {bad} of {made}", holds=holds, **worth)


def _first_fill_advice(show: Show, mold: MoldResult, months: str) -> Iterator[Action]:
    """Set hooks from the fill on from which the fills themselves meet the target."""
    assert mold.by_fill is not None
    first, name = mold.by_fill.first, mold.name
    text = f"{name}: {_hooks(show, mold)} from {from_fill(mold)}. Pour the {first - 1} before it blank"
    text += ", or warm the dry mold first to save most of them" if first > MANY_BLANKS else ""
    because = "Before that, {} of {} castings of the season were short fills or cold shuts. "
    outside = mold.rows[mold.rows["number"] < first], mold.recent[mold.recent["number"] < first]
    because += f"In {months}, of any fill"
    yield from _end_advice(show, mold, f"warm:{name}", "cold", outside, text, because)


def _cavity_advice(show: Show, mold: MoldResult, cavity: CavityRate, months: str) -> Action:
    """Vent a cavity that runs short, or look at how it closes."""
    assert cavity.often is not None
    rows, bad = cavity.rows, cavity.rejects
    flawed = rows[rows["rejects"] > 0]
    flaws = flawed["rejects"].groupby(flawed["flaw"].astype("str")).sum().sort_values(ascending=False)
    most = f", mostly {flaws.index[0]}" if len(flaws) else ""
    late = mold.recent[mold.recent["cavity"] == cavity.cavity]
    made, lately = int(late["castings"].sum()), int(late["rejects"].sum())
    because = f"It {how_it_fails(mold, cavity)}: {bad} of {cavity.castings} castings of the season were bad"
    because += f"{most}. In {months}: {lately} of {made}"
    cold = rows["cold"].sum() >= bad / 2
    text = f"{'Vent or open up' if cold else 'Look at how it closes:'} cavity {cavity.cavity} of {mold.name}"
    worth = worth_of_rejects(show.season, mold.name, late, "rejects", 1 - 1 / cavity.often.ratio)
    holds, id = few_bad(show, made, lately), f"cavity:{mold.name} {cavity.cavity}"
    return Action(id=id, text=text, because=because, holds=holds, **worth)


def _session_advice(show: Show, mold: MoldResult) -> Iterator[Action]:
    """Names each recent session that went worse than chance does, unless its temperature explains it."""
    table, chart = mold.sessions.table, mold.sessions.chart
    if not mold.sessions.judged or table["castings"].sum() < ENOUGH_CASTINGS:
        return
    found, usual, recent = mold.window, chart.center, set(mold.recent["session"].astype("str"))
    odd = table[chart.above & (table["rejects"] >= ENOUGH_FLAWED) & table["session"].isin(recent)]
    for session, made, bad, temp in odd.itertuples(index=False):
        if found is not None and (temp < (found.first_met or -273) or temp > (found.top or math.inf)):
            continue
        rows = mold.rows[mold.rows["session"] == session]
        because = f"{bad} of {made} castings were bad, where {show.share(usual)} are as a rule. "
        heat = "was not logged" if math.isnan(temp) else f"({show.temp(temp)}) is no reason"
        because += f"The temperature {heat}"
        text = f"Look for what was different with {mold.name} on {show.session(session, mold.name)}"
        worth = worth_of_rejects(show.season, mold.name, rows, "rejects", 1 - usual * int(made) / int(bad))
        yield Action(id=f"session:{session}", text=text, because=because, **worth)
