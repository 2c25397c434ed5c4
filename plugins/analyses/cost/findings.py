"""What the section says: findings, advice and the methods behind them."""

import math
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, datetime

from benchwater.ledger.castings import FEWEST_WEIGHED, other_unit
from benchwater.ledger.costs import BaitCost, Facts
from benchwater.ledger.stock import COAT_SHARE
from benchwater.plugin import Action, Bench, Card, CardLine, Cell, Finding, Season
from benchwater.statistics.interval import Interval
from benchwater.statistics.rates import poisson_interval, poisson_rate, rate_ratio
from benchwater.words import counted, day_words, in_brackets, listed, make_finding

from .compute import Account, Costs, Losses, Savings, baits_to_break_even

FEWEST_LOST = 5
UNSAID = "Your hours, and the power for pot and oven: they are in no log, and so in no cost."
METHODS = (
    "Prices: perpetual weighted average of what was paid (a cost formula of IAS 2), each receipt with a cost "
    "averaged with the stock on hand at that time; what was there before the first receipt with a cost takes "
    "that receipt's price; without one, the price per pack of bench.toml; with "
    "neither no cost is given, never zero. Prices, yields and masses are those at the report's end.",
    "Material: mean mass of this season's weighed good castings "
    f"({FEWEST_WEIGHED} or more, else nominal with its tolerance) in the mix that was poured, insert, coat "
    f"(the recipe's mass ±{COAT_SHARE:.0%}), fittings, and what is `used` outside every recipe, such as "
    "glue, spread over the baits made.",
    "Rejects: a good piece bears (1 − p) / p spoilt ones, p the yield of its cavity or coat this season (in "
    "all seasons where this one has no good one), with Wilson's limits (1927). Metal and plastic go back to "
    "the pot; inserts are lost, but for the share that `recovered` rows bring back; coat is lost. Dross and "
    "spills are in what was bought and in no bait.",
    "Limits (95 %): mass, coat and yields combined by squaring and adding each side's distances (JCGM "
    "100:2008, 5.1.2; for uneven limits Zou & Donner 2008, Statistics in Medicine 27:1693-1702); sums over "
    "builds as if all erred together. Prices count as exact.",
    "Mold's share: its price over all its good castings, earlier seasons' too. What a mold has saved is "
    "bought less made, before that share; a bait from two molds counts for each by its price.",
    "A saving is made when a bait is dressed and not bought; a spare casting saves nothing yet, nor a coated "
    "head. No log says when a bait is dressed, so the number is bounded: at least those that must have been "
    "on the water; at most the good castings, and good pieces with its coat; together as many as the "
    "fittings `used` make (rows that allow fewer than were fished bound nothing). Where the bounds differ, "
    "the share of the season's dressed baits that were on the water is taken from the builds of known number "
    "(beta-negative binomial, Johnson, Kemp & Kotz 2005). Numbers of builds err apart, their gains together. "
    "Baits to break even = price of the mold over saving per bait, rounded up; a day to come takes this "
    "season's pace to go on.",
    "The rest: what the dressed baits of the season cost in a shop, less all that was bought in it, less "
    "what the molds had not yet paid back when it began; a bait sold for a known price counts for that. "
    "What was bought before the season is in no sum, and what is still on the shelf is in what was bought.",
    "Lost baits: those that “What became of the baits” counts as lost or worn, at what another one costs to "
    "make. Limits per hour: exact Poisson, Garwood 1936; per fish: exact, Przyborowski & Wilenski 1940; both "
    "take the mean cost of one as known.",
)


def findings(found: Costs, season: Season, whole_season: bool) -> Iterator[Finding]:
    """Savings, losses, where money goes, each mold's account and each bait's cost."""
    bench = season.bench
    yield _saved(bench, found.savings)
    if whole_season and not found.why_thin and found.savings.baits.estimate:
        yield from _netted(bench, found)
    yield from _lost(bench, found.losses)
    if not found.why_thin:
        yield from _where_it_goes(bench, found.losses, found.spoilt)
    for account in found.accounts:
        yield from _break_even(bench, account, whole_season, season.end)
    for bait in found.baits.values():
        yield _cost(bench, found.facts, bait, whole_season)
    if (doubted := other_unit(season)) is not None:
        text = (
            f"Are the {doubted.castings} weighed castings {doubted.unit}? So they look, and the costs take "
        )
        text += "the nominal masses."
        yield Finding(
            id="masses_in_another_unit", text=text, value=doubted.times, unit="1", n=doubted.castings
        )


def actions(found: Costs, bench: Bench) -> Iterator[Action]:
    """Buy what costs more to make, and say what unpriced items cost."""
    for name, bait in found.baits.items():
        if bait.make is not None and bait.gain is not None and bait.gain.high < 0:
            number = found.facts.dressed[name].number
            make, bought = (bench.show(m, "money") for m in (bait.make.estimate, bait.build.bought_price))
            yield Action(
                id=f"buy-{name}",
                text=f"Buy {name} rather than make it.",
                because=f"Making one costs {make}, the mold not counted; it is {bought} in a shop.",
                worth=-number * bait.gain.estimate if number else None,
                worth_unit="money" if number else None,
            )
    for item in dict.fromkeys(item for bait in found.baits.values() for item in bait.unpriced):
        yield Action(
            id=f"price-{item}",
            text=f"Say what {item} cost: in its `received` row, or by `price` and `pack` in bench.toml.",
            because="Without it the baits it goes into have no cost.",
        )


def money(bench: Bench, value: float) -> str:
    """Money, whole where it is whole or 20 and more: what a sum over many baits is sure of."""
    return bench.show(value, "money", 0 if abs(value) >= 20 or value == round(value) else None)


def how_many(number: Interval) -> str:
    """`125 baits` where that is known, else `about 125 baits (118 to 132)`."""
    words, low, high = counted(round(number.estimate), "bait"), round(number.low), round(number.high)
    return words if low == high else f"about {words} ({low} to {high})"


def _saved(bench: Bench, savings: Savings) -> Finding:
    number, saved = savings.baits.estimate, savings.saved
    text = "No log says that a bait of known cost and shop price was dressed in these days."
    if number:
        range_ = in_brackets(lambda value: money(bench, value), saved.low, saved.high)
        text = (
            f"{how_many(savings.baits)} dressed and not bought saved {money(bench, saved.estimate)}{range_}, "
        )
        text += f"{bench.show(saved.estimate / number, 'money')} each, before the cost of the molds."
        text = text[0].upper() + text[1:]
    if savings.unknown:
        text += f" Dressed too, but without a known saving: {listed(savings.unknown)}."
    if savings.untold and not number:
        text += (
            f" Whether any {listed(savings.untold, 4)} was dressed, a fishing log tells, or `used` fittings."
        )
    found = saved if number else None
    return make_finding("saved", text, found, "money", n=round(number), more=_baits_more(savings.baits))


def _baits_more(baits: Interval) -> dict[str, Cell]:
    return {"baits": baits.estimate, "baits_low": baits.low, "baits_high": baits.high}


def _netted(bench: Bench, found: Costs) -> Iterator[Finding]:
    """Money of the season: what was bought, the molds, what the baits cost in a shop, and the rest."""
    shop, rest, number = found.savings.shop, found.rest, found.savings.baits.estimate
    spent, owed = money(bench, found.spent), money(bench, found.owed)
    text = (
        f"This season {spent} was spent on material."
        if found.spent
        else "No purchase with its price is logged this season."
    )
    yield make_finding("bought", text, (found.spent,), "money")
    text = f"The molds cost {owed}."
    if found.owed < math.fsum(account.owed(datetime.min) for account in found.accounts):
        text = f"Of the price of the molds, {owed} was still to be earned when the season began."
    yield make_finding("molds", text, (found.owed,), "money", n=len(found.accounts))
    text = f"In a shop the baits dressed this season cost {money(bench, shop.estimate)}."
    yield make_finding("shop_value", text, shop, "money", n=round(number))
    each = bench.show(abs(rest.estimate) / number, "money")
    range_ = in_brackets(lambda value: money(bench, value), rest.low, rest.high)
    if found.sold.baits:
        text = f"{counted(found.sold.baits, 'bait')} sold brought {money(bench, found.sold.got)}."
        yield make_finding("sold", text, (found.sold.got,), "money", n=found.sold.baits)
    text = (
        f"After what was bought and the molds, {money(bench, rest.estimate)}{range_} is left: {each} a bait."
    )
    if rest.estimate < 0:
        text = (
            f"What was bought and the molds are not yet earned back: {money(bench, -rest.estimate)} to go, "
        )
        text += f"{each} a bait."
    yield make_finding("rest", text, rest, "money", n=round(number))


def cards(found: Costs, bench: Bench, end: date) -> Iterator[Card]:
    """Money netted, and on each mold's card what it has paid back."""
    for account in found.accounts:
        if account.remaining is not None and account.gain is not None:
            line = CardLine(
                label="Paid back", text=_paid_back(bench, account, end), findings=("break_even_date",)
            )
            yield Card(id=f"mold:{account.mold.name}", title=account.mold.name, order=30, lines=(line,))
    baits, shop, rest = found.savings.baits, found.savings.shop, found.rest
    if not baits.estimate:
        return
    end_word = "Left over" if rest.estimate >= 0 else "Still to earn"
    each = bench.show(abs(rest.estimate) / baits.estimate, "money")
    sold = f"{counted(found.sold.baits, 'bait')} for {money(bench, found.sold.got)}"
    rows = (
        ("Bought this season", money(bench, found.spent), "bought"),
        ("Molds", money(bench, found.owed), "molds"),
        ("Baits dressed", f"{how_many(baits)}, {money(bench, shop.estimate)} in a shop", "shop_value"),
        *([("Sold", sold, "sold")] if found.sold.baits else []),
        (end_word, f"{money(bench, abs(rest.estimate))}, {each} for each bait dressed", "rest"),
        ("Saved", f"{money(bench, found.savings.saved.estimate)}, before the cost of the molds", "saved"),
    )
    lines = tuple(CardLine(label=label, text=text, findings=(id,)) for label, text, id in rows)
    yield Card(id="money", title="Money so far", order=50, lines=lines)


def _paid_back(bench: Bench, account: Account, end: date) -> str:
    price, saved = money(bench, account.owed(datetime.min)), money(bench, account.saved)
    if account.remaining == 0 and account.day is not None:
        return f"its {price}, by {day_words(account.day, end)}"
    more = f", {counted(account.to_go, 'bait')} to go" if account.to_go is not None else ""
    return f"{saved} of {price}{more}"


def _lost(bench: Bench, losses: Losses) -> Iterator[Finding]:
    """All lost and worn baits, and their cost as far as it is known."""
    if not losses.hours and not losses.baits:
        return
    cost, n = losses.cost.estimate, losses.priced
    gone = f"{counted(losses.baits, 'bait')} lost or worn"
    if not n:
        text = f"{gone}; what another costs is not known." if losses.baits else "No bait was lost or worn."
        yield make_finding("lost_cost", text, None if losses.baits else losses.cost, "money", n=losses.baits)
        return
    hourly = poisson_rate(n, losses.hours) if losses.hours else None
    by_fish = rate_ratio(n, 1.0, losses.fish, 1.0) if losses.fish else None
    gone += f", {n} of them of known cost" if n < losses.baits else ""
    text, rates = f"{gone}: {money(bench, cost)} to make again", []
    for id, over, exposure, found in (
        ("hour", "hour a bait is fished", losses.hours, hourly),
        ("fish", "fish landed", losses.fish, by_fish),
    ):
        if found is not None:
            each = Interval(
                estimate=cost / exposure, low=found.low * cost / n, high=found.high * cost / n, level=0.95
            )
            shown = f"{bench.show(each.estimate, 'money')} per {over}"
            unit, text = f"money/{id if id == 'fish' else 'h'}", f"{text}, {shown}"
            say = f"Baits lost or worn cost {shown}."
            rates.append(make_finding(f"lost_cost_per_{id}", say, each, unit, n=losses.baits, quiet=True))
    worst = make_finding("lost_cost", f"{text}.", losses.cost, "money", n=losses.baits)
    yield replace(worst, headline=True)
    yield from rates


def _where_it_goes(bench: Bench, losses: Losses, spoilt: float) -> Iterator[Finding]:
    """Losses on the water or rejects at the bench, where one clearly takes more money."""
    n, lost = losses.priced, losses.cost.estimate
    if not n:
        return
    limits = poisson_interval(n)
    on_water = n >= FEWEST_LOST and limits.low * lost / n > spoilt
    if on_water or limits.high * lost / n < spoilt:
        water, rejects = (money(bench, each) for each in (lost, spoilt))
        text = f"The water takes more than the bench: lost and worn baits {water}, rejects {rejects}"
        if not on_water:
            text = f"The bench takes more than the water: rejects {rejects}, lost and worn baits {water}"
        more: dict[str, Cell] = {"lost": lost, "rejects": spoilt, "more_on": "water" if on_water else "bench"}
        yield make_finding("where_money_goes", f"{text} (inserts and coat).", n=n, more=more)


def _break_even(bench: Bench, account: Account, whole_season: bool, end: date) -> Iterator[Finding]:
    mold, gain, made = account.mold, account.gain, round(account.made)
    ids = "break_even_baits", "break_even_date"
    if mold.price is None or gain is None or account.remaining is None:
        lacks = "a price" if mold.price is None else "a bait with a known cost and a shop price"
        for id in ids:
            text = f"{mold.name}: when it has paid for itself cannot be said without {lacks}."
            yield make_finding(id, text, group=mold.name, quiet=not whole_season or id == ids[1])
        return
    price, saved = money(bench, mold.price), money(bench, account.saved)
    baits = baits_to_break_even(mold.price, gain.estimate)
    low, high = (baits_to_break_even(mold.price, limit) for limit in (gain.high, gain.low))
    text = f"{mold.name} for {price} never pays for itself: making its baits costs no less than buying them."
    if baits is not None:
        text = f"{mold.name} for {price} pays for itself with {counted(baits, 'bait')}, each of which saves "
        text += f"{bench.show(gain.estimate, 'money')} towards it."
    name, quiet = mold.name, not whole_season or baits is not None
    yield Finding(
        id=ids[0], text=text, value=baits, low=low, high=high, unit="pieces", n=made, group=name, quiet=quiet
    )
    so_far, paid = f"{counted(made, 'bait')} saved {saved} of its {price}", account.remaining == 0
    text = f"{mold.name}: {so_far}; at this season's pace it is not paid within three years."
    if not account.made:
        text = (
            f"{mold.name}: no log says that a bait of it was dressed, so nothing of its {price} is saved yet."
        )
    if account.day is not None:
        day = day_words(account.day, end)
        text = f"{mold.name}: {so_far}; {account.to_go} more to go, at this season's pace by {day}."
        if paid:
            text = f"{mold.name} paid for itself by {day}: {counted(made, 'bait')} saved {saved}, "
            text += f"it cost {price}."
    more: dict[str, Cell] = {"date": account.day, "paid": paid, "to_go": account.to_go}
    quiet = not whole_season or baits is None
    yield make_finding(ids[1], text, n=made, group=mold.name, quiet=quiet, more=more)


def _cost(bench: Bench, facts: Facts, bait: BaitCost, whole_season: bool) -> Finding:
    name, cost, bought = bait.build.name, bait.cost, bait.build.bought_price
    text = f"{name} has no known cost: {bait.why_unknown or 'bench.toml gives it no part'}."
    if bait.material is not None:
        text += f" What is in it costs {bench.show(bait.material.estimate, 'money')}."
    if cost is not None and bait.make is not None:
        text = f"{name} costs {bench.show(cost.estimate, 'money')}: "
        text += f"{bench.show(bait.make.estimate, 'money')} to make and "
        text += f"{bench.show(bait.mold_share, 'money')} its molds' share so far; "
        text += "no shop price is known." if bought is None else f"{bench.show(bought, 'money')} bought."
    body = bait.build.head or bait.build.trailer
    castings = facts.castings[body].good if body is not None else None
    quiet = not whole_season or (bait.saving is not None and bait.gain is not None and bait.gain.low > 0)
    return make_finding("cost_per_bait", text, cost, "money", n=castings, group=name, quiet=quiet)
