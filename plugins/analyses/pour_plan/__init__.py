"""What to pour and buy next: the losses to expect until the next report, less what is on hand.

A worked example from the bench. 17 guarded pond jigs ended in 66 hours of fishing, and the next month is to
see 40 more: about 10 will go, and to be 90 % sure of not running out takes 16. 11 are there, so 5 are to be
made. With 5 bare castings in the box nothing is poured. With none: a fill makes one, 8 of 10 come out good,
so it takes 7 fills, 7 hooks and 20 g of alloy. 3 hooks on hand stop that; one pack of 50 lifts it.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date, timedelta
from functools import partial
from math import isnan
from typing import TYPE_CHECKING

from benchwater.ledger import known
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
    TableColumn,
    hookimpl,
)
from benchwater.words import counted, day_words, listed

if TYPE_CHECKING:
    from .bait_plan import Need, Part, Plan

LEAST_ENDS, MOST_DRAWN = 5, 16
MONTH = timedelta(days=30)
_listed = partial(listed, most=8)
METHODS = (
    "Losses: baits lost and worn per bait-hour, over all logged trips. The builds share a gamma prior (mean: "
    "all losses over all hours; strength by empirical Bayes, Clayton & Kaldor 1987, Biometrics 43:671-681): "
    "one fished little is drawn to the rate of all. The losses to come are then negative binomial (Gelman et "
    "al. 2013, Bayesian Data Analysis, section 2.6) and taken as independent: where one spot takes several "
    "baits of a trip, more can go than foreseen.",
    "Hours to come: `planned_hours` where bench.toml states them for the build, else its bait-hours a month "
    "in the season so far. The target stock is the smallest that suffices at bench.toml's service level.",
    "On hand, by the logs: good castings, less good coated ones; good coated ones; each less the baits lost "
    "or worn, and as many trailers. What was cast before the logs began is not known: as few are taken as "
    "the logs call for. A reject of the coat is taken as stripped and bare again, unless its oven was as hot "
    "as its metal melts. Builds of one head and coat share what there is, in proportion to their targets.",
    "Yield of a cavity: its good share, drawn to the bench's as by 10 castings more (beta-binomial posterior "
    "mean); of a coat likewise. Fills: fewest, then least surplus, all cavities of a mold filled, warm-up "
    "fills not counted (integer programme, HiGHS, Huangfu & Hall 2018, Math. Prog. Comp. 10:119-142). First "
    "with the inserts and metal on hand; where those do not do, without that limit, to be bought.",
    "Parts: inserts for every casting, metal and plastic in the good ones at their mean mass (rejects go "
    "back to the pot), coat for every dip, fittings less those already on baits (used less gone). Less the "
    "stock on hand (the balance's closing), in whole packs at the moving average price of the receipts.",
)


def analyse(season: Season, span: Span) -> Section:
    """The plan from the season's end on; for a month, what the plan at its start would have foreseen."""
    if not season.bench.builds:
        return Section.empty("bench.toml names no build to plan for.")
    return _look_back(season, span) if span.name == "period" else _look_forward(season, span)


def _look_forward(season: Season, span: Span) -> Section:
    from .bait_plan import make_plan

    bench, plan = season.bench, make_plan(season, span.start, span.end, LEAST_ENDS)
    if plan.ends < LEAST_ENDS:
        few = f"{counted(plan.ends, 'bait')} ended so far: to foresee losses by them takes {LEAST_ENDS}."
        tables = (_demand_table(plan, foreseen=False), _pieces_table(plan))
        return Section(status="thin", why=few, tables=tables, methods=METHODS)
    return Section(
        status="ok",
        findings=(
            _in_a_sentence(plan, bench, span),
            *_stops(plan, bench),
            *_fills(plan, bench),
            _spend(plan, bench),
            *_left_out(plan),
            *_not_known(plan, bench),
        ),
        tables=(_demand_table(plan), _fills_table(plan), _buy_table(plan), _pieces_table(plan)),
        figures=_figure(plan),
        actions=tuple(_actions(plan, bench, span)),
        methods=METHODS,
    )


# --- the plan in words -----------------------------------------------------------------------------------


def _in_a_sentence(plan: "Plan", bench: Bench, span: Span) -> Finding:
    pours = [f"{counted(fills, 'fill')} of {mold}" for mold, fills in plan.pour.fills.items() if fills]
    baits = [f"{need.to_make} {need.build.name}" for need in plan.to_make]
    total = sum(need.to_make for need in plan.needs)
    steps = [f"pour {listed(pours)}"] if pours else []
    steps += [f"finish {listed(baits)}"] if baits else []
    steps += [f"buy {listed([_packs(part, bench) for part in plan.to_buy])}"] if plan.to_buy else []
    todo, sure = "; ".join(steps) or "nothing needs to be poured, made or bought", bench.show(plan.level, "1")
    text = (
        f"{todo[0].upper()}{todo[1:]}. {'Then it' if steps else 'It'} is {sure} sure that no build runs out "
    )
    text += f"in the month from {_day(span.end, span)}."
    more = {"service_level": plan.level, "expected_losses": sum(need.outlook.expected for need in plan.needs)}
    return Finding(
        id="plan", text=text, value=float(total), unit="pieces", n=plan.ends, more=more, headline=True
    )


def _stops(plan: "Plan", bench: Bench) -> Iterator[Finding]:
    """What is on hand does not do: which stock stops the pour, and what would lift it."""
    pour = plan.pour
    for part in (part for part in plan.parts if part.item.name in pour.short):
        name, unit, lacks = part.item.name, part.item.unit, pour.short[part.item.name]
        takes, there = bench.show(pour.takes[name], unit), bench.show(max(0.0, part.on_hand), unit)
        how = "stops the pour" if name in pour.alone else "and what else lacks stop the pour"
        text = f"{name} {how}: it takes {takes}, {there} on hand. {bench.show(lacks, unit)} more lift it"
        text += f" ({counted(part.packs, 'pack')})." if part.packs else "."
        yield Finding(id="stopped_by", text=text, value=lacks, unit=unit, group=name)


def _fills(plan: "Plan", bench: Bench) -> Iterator[Finding]:
    pour, beyond = plan.pour, 0.0
    for mold in bench.molds:
        castings = [(mold, cavity) for cavity in bench.molds[mold].cavities if pour.fills.get(mold)]
        gives = [f"{pour.yielded[c]:.1f} good {c[1]} ({pour.needed[c]} needed)" for c in castings]
        beyond += sum(pour.yielded[casting] - pour.needed[casting] for casting in castings)
        fills = pour.fills.get(mold, 0)
        text = f"{mold}: {counted(fills, 'fill')} after warming up, to give about {listed(gives)}."
        for casting in (casting for casting in castings if not pour.poured[casting]):
            good = bench.show(pour.good[casting], "1")
            text += f" No casting of {casting[1]} is logged: {good} good are assumed."
        n = sum(pour.poured[casting] for casting in castings)
        text = text if fills else f"{mold} needs no fill."
        yield Finding(
            id="fills", text=text, value=float(fills), unit="pieces", n=n, group=mold, quiet=not fills
        )
    text = f"About {counted(round(beyond), 'good casting')} beyond what is needed come of these fills."
    yield Finding(id="surplus", text=text, value=beyond, unit="pieces", quiet=round(beyond) == 0)


def _spend(plan: "Plan", bench: Bench) -> Finding:
    costs = [part.cost for part in plan.to_buy if part.cost is not None]
    unpriced = [part.item.name for part in plan.to_buy if part.cost is None]
    spend = sum(costs) if costs or not unpriced else None
    text = f"The packs to buy cost {bench.show(spend, 'money')}."
    if unpriced:
        known_part = f"{text} On top comes" if costs else "Not known is what to pay for"
        text = f"{known_part} {listed(unpriced)}: no receipt and no price on the bench."
    n, more = len(plan.to_buy), {"unpriced": len(unpriced)}
    return Finding(id="spend", text=text, value=spend, unit="money", n=n, more=more, quiet=n == 0)


def _left_out(plan: "Plan") -> Iterator[Finding]:
    for outlook in (need.outlook for need in plan.needs if need.outlook.left_out):
        yield Finding(id="left_out", text=outlook.left_out, group=outlook.build.name)


def _not_known(plan: "Plan", bench: Bench) -> Iterator[Finding]:
    for part in (part for part in plan.parts if isnan(part.short)):
        text = f"How much {part.item.name} the plan takes is not known: no build gives the grams of a piece, "
        text += "or the bench no density."
        if not isnan(part.needed):
            needed = bench.show(part.needed, part.item.unit)
            text = (
                f"{part.item.name} was never counted: see whether the {needed} that the plan takes are there."
            )
        yield Finding(id="not_known", text=text, group=part.item.name)


# --- what to do ------------------------------------------------------------------------------------------


def _actions(plan: "Plan", bench: Bench, span: Span) -> Iterator[Action]:
    """One for each mold and what is finished from its castings; what is finished without a pour; purchases.

    So none waits for another that the front page may leave out, and a bait missed counts in one of the first.
    """
    needs = {need.build.name: need for need in plan.needs}
    later = {name: plan.to_pour_for(need.build) for name, need in needs.items()}
    for mold, fills in plan.pour.fills.items():
        if fills:
            lacking = {name: by for (of, name), by in plan.lacking.items() if of == mold and by}
            words = listed(
                [f"{sum(by.values())} of {name} for {listed(list(by))}" for name, by in lacking.items()]
            )
            worth = sum(needs[name].spared(count) for by in lacking.values() for name, count in by.items())
            dressed = {
                need.build.name: later[need.build.name]
                for need in plan.to_make
                if later[need.build.name]
                and (need.build.coat or need.build.fittings)
                and (need.build.head or need.build.trailer or ("",))[0] == mold
            }
            text = f"Pour {counted(fills, 'fill')} of {mold}, after its warm-up fills"
            text += f"; then coat and dress {_baits(dressed, needs)}." if dressed else "."
            taken = {bench.molds[mold].material, *(c.insert for c in bench.molds[mold].cavities.values())}
            because = f"Good castings lack: {words}.{_first_buy(plan, taken, dressed)}"
            yield _action(f"pour-{mold}", text, because, worth)
    now = {need.build.name: need.to_make - later[need.build.name] for need in plan.to_make}
    now = {name: count for name, count in now.items() if count > 0}
    if now:
        gone = counted(round(sum(needs[name].outlook.expected for name in now)), "bait")
        which = "this build" if len(now) == 1 else "these builds"
        because = f"About {gone} of {which} may go in the month from {_day(span.end, span)}."
        worth = sum(needs[name].spared(needs[name].to_make, later[name]) for name in now)
        because += _first_buy(plan, set(), now)
        yield _action("finish-baits", f"Coat and dress {_baits(now, needs)}.", because, worth)
    for part in plan.to_buy:
        cost = "no price known" if part.cost is None else bench.show(part.cost, "money")
        lacking_of = {name: part.lacking(name) for name, pieces in part.pieces.items() if pieces}
        needed, there = (bench.show(each, part.item.unit) for each in (part.needed, max(0.0, part.on_hand)))
        because = f"{needed} needed, {there} on hand.{_order_by(plan, part, span)}"
        worth = sum(needs[name].spared(count) for name, count in lacking_of.items())
        yield _action(f"buy-{part.item.name}", f"Buy {_packs(part, bench)} ({cost}).", because, worth)


def _baits(number: Mapping[str, int], needs: "Mapping[str, Need]") -> str:
    return listed([f"{count} {name} ({needs[name].on_hand} on hand)" for name, count in number.items()])


def _first_buy(plan: "Plan", taken: set[str | None], dressed: Iterable[str]) -> str:
    """What must be there before a step can be taken, and is not: of `taken` and of what these builds wear."""
    wears = {need.build.name: {need.build.coat, *need.build.fittings} for need in plan.needs}
    items = taken.union(*(wears[name] for name in dressed))
    short = [part.item.name for part in plan.to_buy if part.item.name in items]
    return f" First buy {listed(short)}." if short else ""


def _order_by(plan: "Plan", part: "Part", span: Span) -> str:
    """When to order: as many days before the first build runs out without it as it takes to come."""
    if part.item.lead_time_d is None:
        return ""
    start, lead, ends = span.end, timedelta(days=part.item.lead_time_d), []
    for need in (need for need in plan.needs if part.pieces[need.build.name] and need.outlook.expected):
        lasts = (need.target - part.lacking(need.build.name)) / need.outlook.expected
        ends.append((start + min(1.0, lasts) * MONTH, need.build.name))
    day, build = min(ends, default=(start + MONTH, ""))
    when = f"order by {_day(day - lead, span)}" if day - lead > start else "order now"
    lasts_to = f", and {build} lasts to about {_day(day, span)} without" if day < start + MONTH else ""
    return f" It takes {lead.days} days to come{lasts_to}: {when}."


def _action(id: str, text: str, because: str, worth: float) -> Action:
    """Advice worth the baits that are not missed by it, where there are any."""
    if worth <= 0:
        return Action(id=id, text=text, because=because)
    return Action(id=id, text=text, because=because, worth=worth, worth_unit="baits")


# --- the month behind ------------------------------------------------------------------------------------


def _look_back(season: Season, span: Span) -> Section:
    """What was to be expected at the start of the month, and what happened."""
    from benchwater.ledger.log_columns import in_days, moments, numbers, words

    from .bait_plan import look_ahead, service_level

    bench, level = season.bench, service_level(season.bench)
    outlooks, before = look_ahead(season, span.start)
    inside = in_days(moments(season, "fishing"), span.start, span.end)
    builds, count = words(season, "fishing", "build"), numbers(season, "fishing", "count")
    gone = count * ~words(season, "fishing", "fate").are("kept")
    none = dict.fromkeys(bench.builds, 0.0)
    fished = none | builds.sums(numbers(season, "fishing", "fished_h") * count, inside)
    ended = {name: round(number) for name, number in (none | builds.sums(gone, inside)).items()}
    lost, hours, thin = sum(ended.values()), sum(fished.values()), before < LEAST_ENDS
    text, more = f"{counted(lost, 'bait')} ended in {bench.show(hours, 'h')} of fishing.", {"fished_h": hours}
    if not thin:
        planned, expected = sum(o.hours for o in outlooks), sum(o.expected for o in outlooks)
        likely = sum(replace(o, hours=fished[o.build.name]).expected for o in outlooks)
        text += f" By the record before, about {likely:.0f} were to be expected in these hours, and about "
        text += f"{expected:.0f} in the {bench.show(planned, 'h')} planned."
        more |= {"planned_h": planned, "expected_planned": expected, "expected_fished": likely}
        beyond = [o.build.name for o in outlooks if ended[o.build.name] > o.at(level)]
        if beyond:
            text += f" A stock for {bench.show(level, '1')} would not have covered {listed(beyond)}."
        elif planned > 2 * hours and expected > 2 * lost:
            text += " State fewer `planned_hours` if you fish less: the plan will then ask for less."
    rows: list[tuple[Cell, ...]] = []
    for outlook in outlooks:
        foreseen = (None, None) if thin else (outlook.expected, outlook.at(level))
        name = outlook.build.name
        rows.append((name, outlook.hours, *foreseen, fished[name], ended[name]))
    columns_said = "build planned_hours expected_losses target_stock fished_hours ended"
    return Section(
        status="thin" if thin else "ok",
        why=f"{counted(before, 'bait')} had ended before: too few to have foreseen these." if thin else "",
        findings=(Finding(id="losses", text=text, value=float(lost), unit="pieces", n=lost, more=more),),
        tables=(_table("losses", "Losses foreseen at the start, and what happened", columns_said, rows),),
        methods=METHODS,
    )


# --- tables and figure -----------------------------------------------------------------------------------


LABELS = {"on_hand": "On hand", "expected_losses": "Losses expected", "target_stock": "Target"}
LABELS |= {"planned_hours": "Hours planned", "fished_hours": "Hours fished", "yielded": "Good castings"}
UNITS = {"planned_hours": "h", "fished_hours": "h", "cost": "money"}
DIGITS = {"expected_losses": 1, "yielded": 1, "surplus": 1, "planned_hours": 1, "fished_hours": 1}


def _table(id: str, title: str, columns: str, rows: Sequence[tuple[Cell, ...]], note: str = "") -> Table:
    made = []
    for name in columns.split():
        label = LABELS.get(name, name.capitalize().replace("_", " "))
        made.append(TableColumn(name=name, label=label, unit=UNITS.get(name), digits=DIGITS.get(name)))
    return Table(id=id, title=title, columns=tuple(made), rows=tuple(rows), note=note, print_rows=60)


def _demand_table(plan: "Plan", foreseen: bool = True) -> Table:
    rows: list[tuple[Cell, ...]] = []
    for need in plan.needs:
        ahead = (need.outlook.expected, need.target, need.to_make) if foreseen else (None, None, None)
        rows.append((need.build.name, need.on_hand, *ahead))
    idle = [need.build.name for need in plan.needs if not (need.outlook.hours or need.outlook.left_out)]
    note = "A build without a coat has every bare casting of its head on hand that no other needs."
    note += f" No hours are planned for {listed(idle)}." if idle and foreseen else ""
    if earlier := sum(plan.pieces.earlier.values()):
        note += f" {counted(earlier, 'casting')} used so far must be from before the logs began."
    title = "Baits: on hand, and to have" if foreseen else "Baits on hand"
    return _table("demand", title, "build on_hand expected_losses target_stock to_make", rows, note)


def _fills_table(plan: "Plan") -> Table:
    pour = plan.pour
    rows = [
        (cast[0], pour.fills[cast[0]], cast[1], given, pour.needed[cast], given - pour.needed[cast])
        for cast, given in pour.yielded.items()
        if pour.fills[cast[0]]
    ]
    return _table("fills", "Fills", "mold fills cavity yielded needed surplus", rows)


def _buy_table(plan: "Plan") -> Table:
    amount = {"needed": "Needed", "on_hand": "On hand"}
    return Table(
        id="buy",
        title="Parts of the plan, and packs to buy",
        columns=(
            TableColumn(name="item", label="Item"),
            *(TableColumn(name=name, label=label, unit_from="unit") for name, label in amount.items()),
            TableColumn(name="packs", label="Packs"),
            TableColumn(name="cost", label="Cost", unit="money"),
            TableColumn(name="unit", label="Unit", hidden=True),
        ),
        rows=tuple(
            (part.item.name, known(part.needed), known(part.on_hand), part.packs, part.cost, part.item.unit)
            for part in plan.parts
        ),
        print_units=tuple(None if p.item.unit == "pieces" else p.item.print_unit for p in plan.parts),
        print_rows=sum(part.needed != 0 for part in plan.parts),
    )


def _pieces_table(plan: "Plan") -> Table:
    bodies = plan.pieces.bodies.items()
    rows = [(mold, cavity, coat or "bare", count) for (mold, cavity, coat), count in bodies]
    note = "Those on baits are among them."
    return _table("pieces", "Castings on hand", "mold cavity coat on_hand", rows, note)


def _figure(plan: "Plan") -> tuple[Figure, ...]:
    needs = [need for need in plan.needs if need.on_hand is not None]
    needs = sorted(needs, key=lambda need: -need.outlook.expected)[:MOST_DRAWN]
    if not needs:
        return ()
    from benchwater import plots

    names, outlooks = [need.build.name for need in needs], [need.outlook for need in needs]
    figure, axes = plots.new_figure(plots.HALF_MM, 24 + 5.5 * max(4, len(needs)))
    low, high = ([outlook.at(level) for outlook in outlooks] for level in (1 - plan.level, plan.level))
    there = [need.on_hand or 0 for need in needs]
    most = max(
        2, *(2 * each for each in high), *sorted(there)[:-1]
    )  # one long bar does not flatten the others
    plots.bars(axes, names, [min(most, count) for count in there], series=2, label="on hand")
    middle, label = [outlook.expected for outlook in outlooks], "losses to expect, up to the target"
    plots.interval_points(axes, range(len(needs)), middle, low, high, series=1, label=label, horizontal=True)
    plots.legend(axes)
    axes.set_xlabel("baits" + (f"; longer bars are cut off at {most}" if max(there) > most else ""))
    words = [f"{need.build.name} {need.on_hand} and {need.outlook.expected:.1f}" for need in needs]
    short = [need.build.name for need in needs if need.to_make]
    alt = f"Short of what the month may take: {listed(short)}. " if short else "No build is short. "
    alt += f"Baits on hand, and losses expected in the coming month: {listed(words)}."
    title = "On hand, and what the coming month may take"
    return (Figure(id="stock_and_losses", title=title, alt=alt, svg=plots.to_svg(figure)),)


# --- small things ----------------------------------------------------------------------------------------


def _packs(part: "Part", bench: Bench) -> str:
    """`2 packs of hook-2`, or the bare amount where no pack is stated."""
    if part.packs is not None:
        return f"{counted(part.packs, 'pack')} of {part.item.name}"
    return f"{bench.show(part.short, part.item.unit)} of {part.item.name}"


def _day(day: date, span: Span) -> str:
    return day_words(day, span.end)


@hookimpl
def analyses() -> Iterable[Analysis]:
    """What to pour and buy next."""
    return [
        Analysis(
            id="pour_plan",
            title="What to pour and buy next",
            question="What must I pour, finish and buy so that I do not run out before the next report?",
            order=700,
            needs=("pour",),
            analyse=analyse,
        )
    ]
