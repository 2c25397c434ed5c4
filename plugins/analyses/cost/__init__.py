"""What each bait cost: its material, the rejects it bears, its share of the mold, and what it saves.

A worked example from the bench. A quarter-ounce head takes 7.1 g of alloy at 0.012 a gram and a hook at 0.22:
0.31. Of 96 poured 20 were bad; their metal went back to the pot, their hooks did not: 20 hooks over 76 good
heads, 0.06 each. Pearl powder 0.02, two eyes 0.10 and a skirt 0.29: 0.78 to make. One costs 3.29 in the shop,
so each one made and not bought saves 2.51, and a mold for 42.00 is paid after 17 of them. Spread over the 76
good heads so far it is 0.55 a bait, and less with every further head.
"""

from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from weakref import WeakKeyDictionary

import numpy as np

from benchwater.ledger import midnight
from benchwater.ledger.castings import FEWEST_WEIGHED
from benchwater.ledger.log_columns import in_days, moments, numbers, words
from benchwater.ledger.stock import COAT_SHARE
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
    Vital,
    hookimpl,
)
from benchwater.statistics.interval import Interval
from benchwater.statistics.rates import poisson_interval, poisson_rate, rate_ratio
from benchwater.words import counted, day_words, make_finding

from .bait_costs import BaitCost, Facts, bait_costs, season_facts
from .savings import (
    Account,
    Losses,
    baits_to_break_even,
    losses_in,
    mold_account,
    saved_in,
    spoilt_in,
)

FEWEST_CASTINGS, FEWEST_LOST, FEWEST_BARS, MOST_CURVES = 20, 5, 2, 4
_PRICED: WeakKeyDictionary[Season, tuple[Facts, dict[str, BaitCost]]] = WeakKeyDictionary()
BARS = ("material", "rejects", "mold's share so far")
UNSAID = "Your hours, and the power for pot and oven: they are in no log, and so in no cost."
METHODS = (
    "Prices: perpetual weighted average of what was paid (a cost formula of IAS 2), each receipt with a cost "
    "averaged with the stock on hand at that time; without one, the price per pack of bench.toml; with "
    "neither no cost is given, never zero. Prices, yields and masses are those at the report's end.",
    "Material: mean mass of this season's weighed good castings "
    f"({FEWEST_WEIGHED} or more, else nominal with its tolerance) in the mix that was poured, insert, coat "
    f"(the recipe's mass ±{COAT_SHARE:.0%}), fittings, and what is `used` outside every recipe, such as "
    "glue, spread over the baits made.",
    "Rejects: a good piece bears (1 − p) / p spoilt ones, p the yield of its cavity or coat, with Wilson's "
    "limits (1927). Metal and plastic go back to the pot; inserts cost as far as `discarded` rows say that "
    "they were thrown away (all of them where no row tells); coat is lost. Dross and spills are in what was "
    "bought and in no bait.",
    "Limits (95 %): mass, coat and yields combined by squaring and adding each side's distances (JCGM "
    "100:2008, 5.1.2; for uneven limits Zou & Donner 2008, Statistics in Medicine 27:1693-1702); sums over "
    "builds as if all erred together. Prices count as exact.",
    "Mold's share: its price over all its good castings so far. What a mold has saved is bought less made, "
    "before that share; a bait from two molds counts for each by its price.",
    "A saving is made when a bait is made and not bought; a spare casting saves nothing yet. No log says "
    "when a bait is finished: one with a coat counts once that came out good, any other once it must have "
    "been on the water (so at least so many), or once cast where neither log is kept. Baits to break even = "
    "price of the mold over saving per bait, rounded up; a day to come takes this season's pace to go on.",
    "Lost baits: those that “What became of the baits” counts as lost or worn, at what another one costs to "
    "make. Limits per hour: exact Poisson, Garwood 1936; per fish: exact, Przyborowski & Wilenski 1940; both "
    "take the mean cost of one as known.",
)


def analyse(season: Season, span: Span) -> Section:
    """What the baits cost at the report's end, and what was saved, spent and lost in the span."""
    kinds = ("inventory", "pour", "finishing", "fishing")
    if not any(season.holds(kind) and len(season.rows(kind, span)) for kind in kinds):
        return Section.empty("Nothing was bought, poured, coated or fished in these days.")
    bench, told = season.bench, span.name == "season"
    facts, baits = _priced(season)
    accounts = [mold_account(season, facts, baits, mold) for mold in bench.molds.values()]
    losses = losses_in(season, span, baits)
    why = _too_little(facts, baits)
    advice = _standing_advice(bench, facts, baits) if told and not why else ()
    return Section(
        status="thin" if why else "ok",
        why=why,
        unsaid="" if why else UNSAID,
        findings=(
            _saved(bench, span, facts, baits),
            *_lost(bench, losses),
            *(() if why else _where_it_goes(season, span, facts, losses)),
            *(entry for account in accounts for entry in _break_even(bench, account, told, season.end)),
            *(_cost(bench, facts, bait, told) for bait in baits.values()),
        ),
        tables=(_builds_table(baits, told), _molds_table(accounts, told), _spent_table(season, span)),
        figures=(*_figure(bench, baits), *_break_even_figure(season, accounts, baits)) if told else (),
        actions=tuple(advice),
        methods=METHODS,
    )


def _too_little(facts: Facts, baits: Mapping[str, BaitCost]) -> str:
    """Why nothing can be concluded; empty where it can."""
    castings = sum(cast.good + cast.rejects for cast in facts.castings.values())
    if castings < FEWEST_CASTINGS:
        return f"{castings} castings so far: a yield, and with it a cost, takes {FEWEST_CASTINGS}."
    if any(bait.cost is not None for bait in baits.values()):
        return ""
    reasons = [bait.why_unknown for bait in baits.values()]
    return f"No bait's cost is known: {reasons[0] if reasons else 'bench.toml names no build'}."


# --- findings ------------------------------------------------------------------------------------------


def _money(bench: Bench, value: float) -> str:
    """Whole where it is whole or 20 and more: what a sum over many baits is sure of."""
    return bench.show(value, "money", 0 if abs(value) >= 20 or value == round(value) else None)


def _saved(bench: Bench, span: Span, facts: Facts, baits: Mapping[str, BaitCost]) -> Finding:
    number, saved, unknown = saved_in(span, facts, baits)
    text = "No bait with a known cost and a `bought_price` was made in these days."
    if number:
        text = f"{counted(round(number), 'bait')} made and not bought saved {_money(bench, saved.estimate)}, "
        text += f"{bench.show(saved.estimate / number, 'money')} each, before the cost of the molds."
    if unknown:
        text += f" Made too, but not counted: {', '.join(unknown)}."
    return make_finding("saved", text, saved if number or not unknown else None, "money", n=round(number))


def _lost(bench: Bench, losses: Losses) -> Iterator[Finding]:
    """All lost and worn baits, and their cost as far as it is known."""
    if not losses.hours and not losses.baits:
        return
    cost, n = losses.cost.estimate, losses.priced
    said = f"{counted(losses.baits, 'bait')} lost or worn"
    if not n:
        text = f"{said}; what another costs is not known." if losses.baits else "No bait was lost or worn."
        yield make_finding("lost_cost", text, None if losses.baits else losses.cost, "money", n=losses.baits)
        return
    hourly = poisson_rate(n, losses.hours) if losses.hours else None
    by_fish = rate_ratio(n, 1.0, losses.fish, 1.0) if losses.fish else None
    said += f", {n} of them of known cost" if n < losses.baits else ""
    text, rates = f"{said}: {_money(bench, cost)} to make again", []
    for id, over, exposure, found in (
        ("hour", "bait-hour fished", losses.hours, hourly),
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
    yield make_finding("lost_cost", f"{text}.", losses.cost, "money", n=losses.baits)
    yield from rates


def _where_it_goes(season: Season, span: Span, facts: Facts, losses: Losses) -> Iterator[Finding]:
    """Losses on the water or rejects at the bench, where one clearly takes more money."""
    n, lost, spoilt = losses.priced, losses.cost.estimate, spoilt_in(season, span, facts)
    if not n:
        return
    limits = poisson_interval(n)
    on_water = n >= FEWEST_LOST and limits.low * lost / n > spoilt
    if on_water or limits.high * lost / n < spoilt:
        water, bench = (_money(season.bench, each) for each in (lost, spoilt))
        text = f"The water takes more than the bench: lost and worn baits {water}, rejects {bench}"
        if not on_water:
            text = f"The bench takes more than the water: rejects {bench}, lost and worn baits {water}"
        more: dict[str, Cell] = {"lost": lost, "rejects": spoilt, "more_on": "water" if on_water else "bench"}
        yield make_finding("where_money_goes", f"{text} (inserts and coat).", n=n, more=more)


def _break_even(bench: Bench, account: Account, told: bool, end: date) -> Iterator[Finding]:
    mold, gain, made = account.mold, account.gain, round(account.made)
    ids = "break_even_baits", "break_even_date"
    if mold.price is None or gain is None or account.remaining is None:
        lacks = "a price" if mold.price is None else "a bait with a known cost and a `bought_price`"
        for id in ids:
            text = f"{mold.name}: when it has paid for itself cannot be said without {lacks}."
            yield make_finding(id, text, group=mold.name, quiet=not told or id == ids[1])
        return
    price, saved = _money(bench, mold.price), _money(bench, account.saved or 0.0)
    baits = baits_to_break_even(mold.price, gain.estimate)
    low, high = (baits_to_break_even(mold.price, limit) for limit in (gain.high, gain.low))
    text = f"{mold.name} for {price} never pays for itself: making its baits costs no less than buying them."
    if baits is not None:
        text = f"{mold.name} for {price} pays for itself with {counted(baits, 'bait')}, each of which saves "
        text += f"{bench.show(gain.estimate, 'money')} towards it."
    name, quiet = mold.name, not told or baits is not None
    yield Finding(
        id=ids[0], text=text, value=baits, low=low, high=high, unit="pieces", n=made, group=name, quiet=quiet
    )
    so_far, paid = f"{counted(made, 'bait')} saved {saved} of its {price}", account.remaining == 0
    text = f"{mold.name}: {so_far}; at this season's pace it is not paid within three years."
    if account.day is not None:
        day = day_words(account.day, end)
        text = f"{mold.name}: {so_far}; {account.to_go} more to go, at this season's pace by {day}."
        if paid:
            text = f"{mold.name} paid for itself by {day}: {counted(made, 'bait')} saved {saved}, "
            text += f"it cost {price}."
    more: dict[str, Cell] = {"date": account.day, "paid": paid, "to_go": account.to_go}
    quiet = not told or baits is None
    yield make_finding(ids[1], text, n=made, group=mold.name, quiet=quiet, more=more)


def _cost(bench: Bench, facts: Facts, bait: BaitCost, told: bool) -> Finding:
    name, cost, bought = bait.build.name, bait.cost, bait.build.bought_price
    text = f"{name} has no known cost: {bait.why_unknown or 'bench.toml gives it no part'}."
    if bait.material is not None:
        text += f" What is in it costs {bench.show(bait.material.estimate, 'money')}."
    if cost is not None and bait.make is not None:
        text = f"{name} costs {bench.show(cost.estimate, 'money')}: "
        text += f"{bench.show(bait.make.estimate, 'money')} to make and "
        text += f"{bench.show(bait.mold_share, 'money')} its molds' share so far; "
        text += "no `bought_price`." if bought is None else f"{bench.show(bought, 'money')} bought."
    body = bait.build.head or bait.build.trailer
    castings = facts.castings[body].good if body is not None else None
    quiet = not told or (bait.saving is not None and bait.gain is not None and bait.gain.low > 0)
    return make_finding("cost_per_bait", text, cost, "money", n=castings, group=name, quiet=quiet)


# --- what to do ----------------------------------------------------------------------------------------


def _standing_advice(bench: Bench, facts: Facts, baits: Mapping[str, BaitCost]) -> Iterator[Action]:
    for name, bait in baits.items():
        if bait.make is not None and bait.gain is not None and bait.gain.high < 0:
            number = facts.made[name].total
            make, bought = (bench.show(m, "money") for m in (bait.make.estimate, bait.build.bought_price))
            yield Action(
                id=f"buy-{name}",
                text=f"Buy {name} rather than make it.",
                because=f"Making one costs {make}, the mold not counted; it is {bought} in a shop.",
                worth=-number * bait.gain.estimate if number else None,
                worth_unit="money" if number else None,
            )
    for item in dict.fromkeys(item for bait in baits.values() for item in bait.unpriced):
        yield Action(
            id=f"price-{item}",
            text=f"Say what {item} cost: in its `received` row, or by `price` and `pack` in bench.toml.",
            because="Without it the baits it goes into have no cost.",
        )


# --- tables and figure ---------------------------------------------------------------------------------


def _columns(*named: tuple[str, str, str | None]) -> tuple[TableColumn, ...]:
    return tuple(TableColumn(name=name, label=label, unit=unit) for name, label, unit in named)


def _builds_table(baits: Mapping[str, BaitCost], told: bool) -> Table:
    rows = []
    for name, bait in baits.items():
        parts = [each and each.estimate for each in (bait.material, bait.rejects)]
        saving = bait.saving
        limits = (saving.estimate, saving.low, saving.high) if saving is not None else (None, None, None)
        cost = bait.cost.estimate if bait.cost is not None else None
        rows.append((name, *parts, bait.mold_share, cost, bait.build.bought_price, *limits))
    return Table(
        id="per_build",
        title="What one bait costs",
        columns=_columns(
            ("build", "Build", None),
            ("material", "Material", "money"),
            ("rejects_share", "Rejects", "money"),
            ("mold_share", "Molds, so far", "money"),
            ("cost", "Cost", "money"),
            ("bought_price", "Bought", "money"),
            ("saving", "Saving", "money"),
            ("low", "Low", "money"),
            ("high", "High", "money"),
        ),
        rows=tuple(rows),
        note="Saving is bought less cost, with its 95 % limits. The molds' share, their price over the good "
        "castings so far, falls with each further one.",
        print_rows=40 if told else 0,
    )


def _molds_table(accounts: Sequence[Account], told: bool) -> Table:
    return Table(
        id="by_mold",
        title="What the molds have paid back",
        columns=_columns(
            ("mold", "Mold", None),
            ("price", "Price", "money"),
            ("made", "Good castings", "pieces"),
            ("saved", "Saved", "money"),
            ("remaining", "Still to save", "money"),
        ),
        rows=tuple((a.mold.name, a.mold.price, a.castings, a.saved, a.remaining) for a in accounts),
        note="Saved counts finished baits, not spare castings.",
        print_rows=40 if told else 0,
    )


def _spent_table(season: Season, span: Span) -> Table:
    """What came in, by item; money spent is not known where no receipt of an item states its cost."""
    inside = in_days(moments(season, "inventory"), span.start, span.end)
    came = inside & words(season, "inventory", "move").are("received")
    items_of, costs = words(season, "inventory", "item"), numbers(season, "inventory", "cost")
    received = items_of.sums(numbers(season, "inventory", "amount"), came)
    spent = items_of.sums(costs, came & (costs >= 0))
    items = [season.bench.items[name] for name in sorted(received, key=lambda n: (-spent.get(n, 0.0), n))]
    return Table(
        id="spent",
        title="What was bought",
        columns=(
            TableColumn(name="item", label="Item"),
            TableColumn(name="received", label="Received", unit_from="unit"),
            TableColumn(name="spent", label="Spent", unit="money"),
            TableColumn(name="unit", label="Unit", hidden=True),
        ),
        rows=tuple((item.name, received[item.name], spent.get(item.name), item.unit) for item in items),
        print_units=tuple(None if item.unit == "pieces" else item.print_unit for item in items),
        each_span=True,
    )


def _figure(bench: Bench, baits: Mapping[str, BaitCost]) -> tuple[Figure, ...]:
    """Cost by its parts against the bought price, one bar a build."""
    bars, said = [], []
    for name, bait in baits.items():
        if bait.material is not None and bait.make is not None and bait.cost is not None:
            tops = [part.estimate for part in (bait.material, bait.make, bait.cost)]
            bars.append((name, tops, bait.build.bought_price))
            bought = bench.show(bait.build.bought_price, "money")
            said.append(f"{name} {bench.show(tops[-1], 'money')} (bought {bought})")
    if len(bars) < FEWEST_BARS:
        return ()
    from benchwater import plots

    figure, axes = plots.new_figure(plots.HALF_MM, 26 + 5 * max(6, len(bars)))
    names = [name for name, *_ in bars]
    for series in reversed(range(len(BARS))):  # the longest first, so that each shorter one lies on it
        plots.bars(axes, names, [tops[series] for _, tops, _ in bars], series=series, label=BARS[series])
    shops = [(bought, row) for row, (*_, bought) in enumerate(bars) if bought is not None]
    prices, rows = [bought for bought, _ in shops], [row for _, row in shops]
    plots.points(axes, prices, rows, series=3, label="a bought one")
    plots.legend(axes)
    axes.set_xlabel(bench.currency)
    axes.set_xlim(left=0)
    cheaper = sum(tops[-1] < bought for _, tops, bought in bars if bought is not None)
    alt = f"{cheaper} of {len(shops)} builds cost less to make than to buy: {', '.join(said)}."
    title = "What one bait costs, and a bought one"
    return (Figure(id="cost", title=title, alt=alt, svg=plots.to_svg(figure)),)


def vitals(season: Season, span: Span) -> tuple[Vital, ...]:
    """Saved from the season's start to the span's end, where any row up to then could have saved anything."""
    whole = Span(name="season", label=span.label, start=season.start, end=span.end)
    kinds = ("pour", "finishing", "fishing")
    logged = any(season.holds(kind) and len(season.rows(kind, whole)) for kind in kinds)
    facts, baits = _priced(season)
    number, saved, _ = saved_in(whole, facts, baits)
    value = saved.estimate if logged and not _too_little(facts, baits) else None
    return (
        Vital(id="saved", label="saved to date", value=value, unit="money", better="up", n=round(number)),
    )


def _priced(season: Season) -> tuple[Facts, dict[str, BaitCost]]:
    """Facts and costs at the report's end, worked out once a season: every span rests on the same."""
    if season not in _PRICED:
        facts = season_facts(season)
        _PRICED[season] = facts, dict(bait_costs(season, facts))
    return _PRICED[season]


def _break_even_figure(
    season: Season, accounts: Sequence[Account], baits: Mapping[str, BaitCost]
) -> tuple[Figure, ...]:
    """What each mold has saved so far as a share of its price, day by day, against the whole of it."""
    told = [each for each in accounts if each.mold.price and each.saved is not None and len(each.steps)]
    told = sorted(told, key=lambda each: (-each.castings, each.mold.name))[:MOST_CURVES]
    if not told:
        return ()
    from benchwater import plots

    figure, axes = plots.new_figure(plots.HALF_MM, 26 + 5 * max(6, len(baits)))
    start, end = midnight(season.start), midnight(season.end)
    ends, said = [], []
    for series, account in enumerate(told):
        price, saved = account.mold.price or 0.0, account.saved or 0.0
        begin, close = np.array([[start], [end]], dtype="datetime64[us]")
        days = np.concatenate([begin, np.maximum(account.steps.when, begin), close])
        saved_by = np.cumsum(np.concatenate([[0.0], account.steps.number, [0.0]]))
        drawn = plots.thinned_steps(days, saved_by)
        plots.steps(axes, days[drawn], 100 * saved_by[drawn] / price, series=series)
        ends.append((100 * float(saved_by[-1]) / price, account.mold.name))
        share = f"{account.mold.name} has saved {season.bench.show(saved / price, '1')} of its price"
        paid = account.day if account.remaining == 0 else None
        said.append(f"{share}, paid by {day_words(paid, season.end)}" if paid else f"{share}, not yet paid")
    top = max(110.0, *(1.05 * share for share, _ in ends))
    axes.set_ylim(min(0.0, *(share for share, _ in ends)), top)
    plots.reference_line(axes, "paid", y=100)
    plots.date_axis(axes)
    axes.set_ylabel("saved, % of the mold's price")
    plots.name_ends(axes, end, ends)
    alt = f"{'; '.join(said)}."
    title = "How far each mold has paid for itself"
    return (Figure(id="break_even", title=title, alt=alt[0].upper() + alt[1:], svg=plots.to_svg(figure)),)


@hookimpl
def analyses() -> list[Analysis]:
    """What the baits cost."""
    return [
        Analysis(
            id="cost",
            title="What each bait cost",
            question="What does a bait cost me, what have I saved, and has each mold paid for itself?",
            order=600,
            analyse=analyse,
            vitals=vitals,
        )
    ]
