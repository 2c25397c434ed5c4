"""What the section says: findings, advice and the methods behind them."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from datetime import date, timedelta
from math import floor, isnan

from benchwater.plugin import Action, Bench, Cell, Finding, Span
from benchwater.words import counted, day_words, listed, make_finding

from .compute import LEAST_DAYS, LEAST_ENDS, WORKING_YIELD, LookBack, Need, Part, Plan, wanted
from .promise import MOST_FILLS, are_drawn

MONTH = timedelta(days=30)
ENOUGH_MONTHS = 12
MOST_NAMED = 12
METHODS = (
    "Losses: baits lost and worn per bait-hour, over all logged trips, earlier seasons' too. The builds "
    "share a gamma prior (mean: all losses over all hours; strength by empirical Bayes, Clayton & Kaldor "
    "1987, Biometrics 43:671-681, no surer than all losses seen, and less so for few builds, Morris 1983, "
    "J. Amer. Statist. Assoc. 78:47-55): one fished little is drawn to the rate of all. The losses to come "
    "are then negative binomial (Gelman et al. 2013, Bayesian Data Analysis, section 2.6) and taken as "
    "independent: where one spot takes several baits of a trip, more can go than foreseen.",
    "Hours to come: `planned_hours` where bench.toml states them for the build, else its bait-hours a month "
    "in the season so far. The service level of bench.toml holds for all builds together: from what each "
    "needs by itself, one bait after the other goes where it helps most (marginal analysis, Fox 1966, "
    "Management Science 13:210-216); what others have beyond their need is taken into account.",
    "On hand, by the logs: good castings, less good coated ones; good coated ones; each less the baits lost "
    "or worn, and as many trailers. What was cast before the logs began is not known: as few are taken as "
    "the logs call for. A reject of the coat is taken as stripped and bare again, unless its oven was as hot "
    "as its metal melts. Builds of one head and coat share what there is, in proportion to their targets.",
    "Yield of a cavity: its good share in all seasons logged, drawn to the bench's as by 10 castings more "
    "(beta-binomial posterior mean); of a coat likewise. How many castings of one coming session come out "
    "good is a draw of its own (random yield, Yano & Lee 1995, Operations Research 43:311-334): "
    "beta-binomial, as uncertain as the mean and the sessions so far are, alike to 0.02 at least in a "
    "session (project choice, no source). Where castings must be poured the targets hold with the square "
    "root of the service level, and each mold gets the fewest fills with which losses and yields together "
    "keep it (yields drawn 4096 times from a fixed seed, as a Latin hypercube; for more than 200 cavities "
    "none is drawn, and each is made sure by itself, so that the promise is the least it can be). Warm-up "
    "fills come on top. A cavity that gives less than 1 good casting in 10 is not planned with (project "
    "choice, no source).",
    "Parts: inserts for every casting, metal and plastic in the good ones at their mean mass (rejects go "
    "back to the pot), coat for every dip, fittings less those already on baits (used less gone). Less the "
    "stock on hand (the balance's closing), in whole packs at the moving average price of the receipts.",
)


def why_no_plan(plan: Plan) -> str:
    """Why nothing can be foreseen; empty where something can."""
    return _too_few(plan.ends, plan.days, "so far") if plan.thin else ""


def why_not_foreseen(found: LookBack) -> str:
    """Why no losses were to be foreseen at the span's start; empty where some were."""
    before = found.before
    return _too_few(sum(before.ended.values()), before.days, "before") if found.thin else ""


def _too_few(ends: int, days: int, when: str) -> str:
    on = f" on {counted(days, 'day')}" if ends else ""
    need = f"{LEAST_ENDS} on {LEAST_DAYS} days"
    return f"{counted(ends, 'bait')} ended{on} {when}: to foresee losses takes {need}."


def findings(plan: Plan, bench: Bench, span: Span) -> Iterator[Finding]:
    """The plan in a sentence, what stops it, fills, spending, what is left out and what is not known."""
    yield _in_a_sentence(plan, bench, span)
    yield from _molds_first(plan)
    yield from _enough(plan)
    yield from _stops(plan, bench)
    yield from _fills(plan, bench)
    yield _spend(plan, bench)
    yield from _left_out(plan)
    yield from _not_known(plan, bench)


def losses_finding(found: LookBack, bench: Bench) -> Finding:
    """Losses in the span beside those that were to be expected."""
    lost, hours = sum(found.ended.values()), sum(found.hours.values())
    text = f"{counted(lost, 'bait')} ended in {bench.show(hours, 'h')} of fishing."
    more: dict[str, Cell] = {"fished_h": hours}
    if not found.thin:
        planned, expected, likely = found.planned_h, found.expected_planned, found.expected_fished
        text += f" By all trips logged before, about {likely:.0f} were to be expected in these hours, and "
        text += f"about {expected:.0f} in the {bench.show(planned, 'h')} planned."
        more |= {"planned_h": planned, "expected_planned": expected, "expected_fished": likely}
        if found.beyond:
            covered = f"A stock for {bench.show(found.level, '1')} would not have covered"
            text += f" {covered} {listed(found.beyond)}."
        elif planned > 2 * hours and expected > 2 * lost:
            text += " State fewer `planned_hours` if you fish less: the plan will then ask for less."
    return make_finding("losses", text, (float(lost),), "pieces", n=lost, more=more)


def actions(plan: Plan, bench: Bench, span: Span) -> Iterator[Action]:
    """One action for each cavity to get to work, one for each mold to pour or dress from, one a purchase.

    So no action depends on another that the front page may leave out, and each bait counts in one of them.
    """
    for (mold, cavity), of_build in plan.waiting.items():
        text = f"Get good castings out of {mold} {cavity} before you pour it for stock."
        because = f"{listed(_by_build(of_build))} wait for it."
        yield make_action(f"mold-first-{mold}-{cavity}", text, because, float(sum(of_build.values())))
    builds_of = _builds_by_mold(plan)
    lacking: defaultdict[str, dict[str, Mapping[str, int]]] = defaultdict(dict)
    for (mold, cavity), of_build in plan.lacking.items():
        if plan.pour.fills.get(mold):
            lacking[mold][cavity] = of_build
    for mold in dict.fromkeys([*plan.pour.fills, *builds_of]):
        if plan.pour.fills.get(mold) or mold in builds_of:
            yield _make(plan, mold, builds_of.get(mold, []), lacking[mold], bench, span)
    for part in plan.to_buy:
        needed, there = (bench.show(each, part.item.unit) for each in (part.needed, max(0.0, part.on_hand)))
        because = f"{needed} needed, {there} on hand.{_order_by(plan, part, span)}"
        worth = sum(
            need.spared(part.lacking(need.build.name)) for need in plan.needs if part.pieces[need.build.name]
        )
        yield make_action(
            f"buy-{part.item.name}", f"Buy {packs(part, bench)} ({cost_words(part, bench)}).", because, worth
        )


def _builds_by_mold(plan: Plan) -> dict[str, list[Need]]:
    """The builds to make, each with the mold that holds it up, or else with the one it begins with."""
    held_up_by: dict[str, str] = {}
    for (mold, _), by in plan.lacking.items():
        if plan.pour.fills.get(mold):
            for name in by:
                held_up_by.setdefault(name, mold)
    builds: defaultdict[str, list[Need]] = defaultdict(list)
    for need in plan.needs:
        first, name = need.build.head or need.build.trailer, need.build.name
        if name in held_up_by:
            builds[held_up_by[name]].append(need)
        elif need.to_make and first is not None:
            builds[first[0]].append(need)
    return dict(builds)


def _make(
    plan: Plan,
    mold: str,
    builds: Sequence[Need],
    lacking: Mapping[str, Mapping[str, int]],
    bench: Bench,
    span: Span,
) -> Action:
    """What to pour of a mold, and what to coat and dress of its castings."""
    fills = plan.pour.fills.get(mold)
    dressed = [need for need in builds if need.to_make and (_is_dressed(need) or not fills)]
    baits = listed([f"{need.to_make} {need.build.name} ({need.on_hand} on hand)" for need in dressed])
    taken: set[str | None] = set()
    if fills:
        text = f"Pour {counted(fills, 'fill')} of {mold}, after its warm-up fills"
        text += f"; then coat and dress {baits}." if dressed else "."
        pieces = [
            f"{sum(by.values())} of {name} for {listed(list(by))}" for name, by in lacking.items() if by
        ]
        because = f"Good castings lack: {listed(pieces)}."
        taken = {bench.molds[mold].material, *(c.insert for c in bench.molds[mold].cavities.values())}
    else:
        text = f"Coat and dress {baits}."
        gone = counted(round(sum(need.outlook.expected for need in dressed)), "bait")
        which = "this build" if len(dressed) == 1 else "these builds"
        because = f"About {gone} of {which} may go in the month from {_day(span.end, span)}."
    for need in dressed:
        taken |= {need.build.coat, *need.build.fittings}
    if short := [part.item.name for part in plan.to_buy if part.item.name in taken]:
        because += f" First buy {listed(short)}."
    worth = sum(need.spared(max(need.to_make, _most(lacking, need.build.name))) for need in builds)
    return make_action(f"make-{mold}", text, because, worth)


def _is_dressed(need: Need) -> bool:
    return bool(need.build.coat or need.build.fittings)


def _most(lacking: Mapping[str, Mapping[str, int]], build: str) -> int:
    """How many baits of a build lack a casting of some cavity."""
    return max((by.get(build, 0) for by in lacking.values()), default=0)


def _order_by(plan: Plan, part: Part, span: Span) -> str:
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


def make_action(id: str, text: str, because: str, worth: float) -> Action:
    """Advice worth the baits that are not missed by it, where there are any."""
    if worth <= 0:
        return Action(id=id, text=text, because=because)
    return Action(id=id, text=text, because=because, worth=worth, worth_unit="baits")


def _in_a_sentence(plan: Plan, bench: Bench, span: Span) -> Finding:
    pours = [f"{counted(fills, 'fill')} of {mold}" for mold, fills in plan.pour.fills.items() if fills]
    baits = [f"{need.to_make} {need.build.name}" for need in plan.to_make]
    total = sum(need.to_make for need in plan.needs)
    waiting = listed([" ".join(casting) for casting in plan.waiting], MOST_NAMED)
    steps = [f"get {waiting} to work"] if waiting else []
    steps += [f"pour {listed(pours, MOST_NAMED)}"] if pours else []
    steps += [f"finish {listed(baits, MOST_NAMED)}"] if baits else []
    buys = listed([packs(part, bench) for part in plan.to_buy], MOST_NAMED)
    steps += [f"buy {buys}"] if buys else []
    todo = "; ".join(steps) or "pour nothing, make nothing, buy nothing"
    text = f"{todo[0].upper()}{todo[1:]}. {promise(plan, bench, span, done=bool(steps))}"
    if resting := years_on_hand(plan):
        text += f" Pour none of {listed(resting, MOST_NAMED)}: what is on hand lasts a year or more."
    more = {
        "service_level": plan.level,
        "sure": plan.sure,
        "expected_losses": sum(need.outlook.expected for need in plan.needs),
    }
    return Finding(
        id="plan",
        text=text,
        value=float(total),
        unit="pieces",
        n=plan.ends,
        more=more,
        headline=True,
        ahead=True,
    )


def promise(plan: Plan, bench: Bench, span: Span, *, done: bool) -> str:
    """How sure it is that no build runs out, once the plan is `done`."""
    waits = sorted({build for of in plan.waiting.values() for build in of})
    if waits and len(waits) == sum(need.outlook.expected > 0 for need in plan.needs):
        return "Nothing can be promised before the mold works."
    sure = bench.show(min(0.99, floor(100 * plan.sure) / 100), "1", 0)
    if not are_drawn(wanted(plan.pour.needed)):
        sure = f"at least {sure}"
    none = "no build runs out" if not waits else f"none but {listed(waits, MOST_NAMED)} runs out"
    start = "Then it" if done else "It"
    return f"{start} is {sure} sure that {none} in the month from {_day(span.end, span)}."


def _molds_first(plan: Plan) -> Iterator[Finding]:
    """Cavities that give next to no good castings: to plan fills with them would ask for hundreds."""
    for (mold, cavity), of_build in plan.waiting.items():
        poured = plan.pour.poured[mold, cavity]
        text = f"Get {mold} {cavity} to work first: of {counted(poured, 'casting')} fewer than "
        text += f"1 in {round(1 / WORKING_YIELD)} can be counted on to be good. "
        text += f"{listed(_by_build(of_build))} wait for it."
        waiting = (float(sum(of_build.values())),)
        yield make_finding("mold_first", text, waiting, "pieces", n=poured, group=f"{mold} {cavity}")


def _by_build(number: Mapping[str, int]) -> list[str]:
    return [f"{count} {build}" for build, count in number.items() if count]


def years_on_hand(plan: Plan) -> dict[str, float]:
    """The molds that need no fill as their castings last a year and more, and how many months these last."""
    least: dict[str, float] = {}
    for (mold, _), months in plan.months_on_hand.items():
        least[mold] = min(months, least.get(mold, months))
    return {mold: months for mold, months in least.items() if months >= ENOUGH_MONTHS}


def _enough(plan: Plan) -> Iterator[Finding]:
    """Molds whose castings on hand last a year and more: a reason to pour none."""
    for mold, months in years_on_hand(plan).items():
        have = {name: plan.castings_on_hand[of, name] for of, name in plan.months_on_hand if of == mold}
        pieces = listed([f"{count} of {name}" for name, count in have.items()])
        text = f"{mold}: you have {pieces}, enough for {how_long(months)} at this pace. Pour none."
        value, more = (float(sum(have.values())),), {"months": months}
        yield make_finding("enough", text, value, "pieces", group=mold, more=more)


def how_long(months: float) -> str:
    """`about 5 years` or `more than a year`; no more than ten, as nobody knows what they fish then."""
    years = floor(months / 12)
    if years > 10:
        return "more than 10 years"
    return "more than a year" if years == 1 else f"about {years} years"


def _stops(plan: Plan, bench: Bench) -> Iterator[Finding]:
    """What is on hand does not do: which stock stops the pour, and what would lift it."""
    pour = plan.pour
    for part in (part for part in plan.parts if part.item.name in pour.short):
        name, unit, lacks = part.item.name, part.item.unit, pour.short[part.item.name]
        takes, there = bench.show(pour.takes[name], unit), bench.show(max(0.0, part.on_hand), unit)
        text = f"{name} stops the pour: it takes {takes}, {there} on hand. "
        text += f"{bench.show(lacks, unit)} more lift it"
        text += f" ({counted(part.packs, 'pack')})." if part.packs else "."
        yield make_finding("stopped_by", text, (lacks,), unit, group=name)


def _fills(plan: Plan, bench: Bench) -> Iterator[Finding]:
    pour, beyond = plan.pour, 0.0
    for mold in bench.molds:
        castings = [(mold, cavity) for cavity in bench.molds[mold].cavities if pour.fills.get(mold)]
        gives = [f"{pour.yielded[c]:.0f} good {c[1]} ({pour.needed[c]} needed)" for c in castings]
        beyond += sum(pour.yielded[casting] - pour.needed[casting] for casting in castings)
        fills = pour.fills.get(mold, 0)
        text = f"{mold}: {counted(fills, 'fill')} after warming up, to give about {listed(gives)}"
        text += f"; no more than {MOST_FILLS} are planned." if fills == MOST_FILLS else "."
        for casting in (casting for casting in castings if not pour.poured[casting]):
            good = bench.show(pour.good[casting], "1")
            text += f" No casting of {casting[1]} is logged: {good} good are assumed."
        n = sum(pour.poured[casting] for casting in castings)
        text = text if fills else f"{mold} needs no fill."
        yield make_finding("fills", text, (float(fills),), "pieces", n=n, group=mold, quiet=not fills)
    text = f"About {counted(round(beyond), 'good casting')} beyond what is needed come of these fills."
    yield make_finding("surplus", text, (beyond,), "pieces", quiet=round(beyond) == 0)


def _spend(plan: Plan, bench: Bench) -> Finding:
    costs = [part.cost for part in plan.to_buy if part.cost is not None]
    unpriced = [part.item.name for part in plan.to_buy if part.cost is None]
    spend = sum(costs) if costs or not unpriced else None
    text = f"The packs to buy cost {bench.show(spend, 'money')}."
    if unpriced:
        known_part = f"{text} On top comes" if costs else "Not known is what to pay for"
        text = f"{known_part} {listed(unpriced)}: no receipt and no price on the bench."
    n, more = len(plan.to_buy), {"unpriced": len(unpriced)}
    return make_finding("spend", text, (spend,), "money", n=n, more=more, quiet=n == 0)


def _left_out(plan: Plan) -> Iterator[Finding]:
    for outlook in (need.outlook for need in plan.needs if need.outlook.left_out):
        yield make_finding("left_out", outlook.left_out, group=outlook.build.name)


def _not_known(plan: Plan, bench: Bench) -> Iterator[Finding]:
    for part in (part for part in plan.parts if isnan(part.short)):
        text = f"How much {part.item.name} the plan takes is not known: no build gives the grams of a piece, "
        text += "or the bench no density."
        if not isnan(part.needed):
            needed = bench.show(part.needed, part.item.unit)
            text = f"{part.item.name} was never counted: see whether the {needed} that the plan takes are "
            text += "there."
        yield make_finding("not_known", text, group=part.item.name)


def packs(part: Part, bench: Bench) -> str:
    """`2 packs of hook-2`, or the bare amount where no pack is stated."""
    if part.packs is not None:
        return f"{counted(part.packs, 'pack')} of {part.item.name}"
    return f"{bench.show(part.short, part.item.unit)} of {part.item.name}"


def cost_words(part: Part, bench: Bench) -> str:
    """What the packs of a part cost."""
    return "no price known" if part.cost is None else bench.show(part.cost, "money")


def _day(day: date, span: Span) -> str:
    return day_words(day, span.end)
