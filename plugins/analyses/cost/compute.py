"""The numbers of the section: costs, mold accounts, savings, losses and purchases."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

import numpy as np

from benchwater.ledger import LOSSES, computed_once, midnight, sum_in_order, sums_by
from benchwater.ledger.costs import (
    BaitCost,
    Facts,
    bait_costs,
    exactly,
    less_estimate,
    product,
    season_facts,
    sum_erring_together,
    sum_of_estimates,
)
from benchwater.ledger.fish import is_count_in_doubt
from benchwater.ledger.made import NO_STEPS, Dressed, Steps, baits_dressed
from benchwater.ledger.stock import coat_masses
from benchwater.plugin import Season, Span
from benchwater.plugin.bench import Item, Mold
from benchwater.statistics.interval import Interval

FEWEST_CASTINGS = 20
_ROUNDING = 1e-9
_LONGEST_PROJECTION_D = 3 * 365


@dataclass(frozen=True, slots=True, kw_only=True)
class Account:
    """A mold's account at the report's end.

    `gain` is what one bait saves towards it, None where no bait's saving is known; `made` those baits, and
    `steps` what they saved, step by step. `day` is the day it was paid, or at this season's pace will be;
    None where that is years off, or never.
    """

    mold: Mold
    castings: int
    gain: Interval | None = None
    made: float = 0.0
    steps: Steps = NO_STEPS
    day: date | None = None

    @property
    def saved(self) -> float:
        """What its baits saved towards it."""
        return math.fsum(self.steps.number)

    @property
    def remaining(self) -> float | None:
        """The part of its price not yet saved; None where price or gain are not known."""
        if self.mold.price is None or self.gain is None:
            return None
        return 0.0 if self.saved >= self.mold.price - _ROUNDING else self.mold.price - self.saved

    @property
    def to_go(self) -> int | None:
        """How many more baits pay the rest; None where they never do."""
        if self.remaining is None or self.gain is None:
            return None
        return baits_to_break_even(self.remaining, self.gain.estimate)

    def owed(self, since: datetime) -> float:
        """The part of its price that no bait dressed before had saved; 0 where no price is known."""
        if self.mold.price is None:
            return 0.0
        return max(0.0, self.mold.price - self.steps.between(datetime.min, since))


@dataclass(frozen=True, slots=True, kw_only=True)
class Losses:
    """Baits lost and worn in a span, those of them whose making has a known cost, and that cost together."""

    baits: int
    priced: int
    cost: Interval
    hours: float
    fish: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Savings:
    """Baits dressed in a span with a known gain, what they saved, and what they cost in a shop (both money).

    `unknown` are builds of which baits were dressed without a known gain; `untold` those of which no log
    says whether any was dressed.
    """

    baits: Interval
    saved: Interval
    shop: Interval
    unknown: list[str]
    untold: list[str]


def baits_to_break_even(price: float, gain: float) -> int | None:
    """The baits after which a price is saved, rounded up: price / (bought - made); None where never."""
    if price <= 0:
        return 0
    return math.ceil(price / gain - _ROUNDING) if gain > 0 else None


def mold_account(season: Season, facts: Facts, baits: Mapping[str, BaitCost], mold: Mold) -> Account:
    """The account of a mold from the baits that take it; of two molds each counts by its price."""
    gains: dict[str, tuple[float, Interval]] = {}
    for name, bait in baits.items():
        share = _share(season, bait, mold)
        if share and bait.gain is not None:
            gains[name] = share, bait.gain
    account = Account(mold=mold, castings=facts.good_of[mold.name])
    if not gains:
        return account
    steps_of = [(facts.steps[name], share * gain.estimate) for name, (share, gain) in gains.items()]
    when = np.concatenate([steps.when for steps, _ in steps_of])
    gained = np.concatenate([steps.number * each for steps, each in steps_of])
    order = np.lexsort((gained, when))
    numbers = {name: facts.steps[name].total for name in gains}
    made = sum(numbers.values())
    weights = {name: number / made if made else 1 / len(gains) for name, number in numbers.items()}
    gain = sum_erring_together((weights[name] * share, gain) for name, (share, gain) in gains.items())
    found = replace(account, gain=gain, made=made, steps=Steps(when[order], gained[order]))
    return replace(found, day=_day_paid(season, found))


def _share(season: Season, bait: BaitCost, mold: Mold) -> float:
    """A mold's part in what its bait saves: by price among the bait's molds, equal where all were free."""
    prices = {name: season.bench.molds[name].price or 0.0 for name in molds_of(bait)}
    total = sum(prices.values())
    return prices[mold.name] / total if total else 1 / len(prices)


def molds_of(bait: BaitCost) -> list[str]:
    """The molds that a bait's castings come from."""
    pieces = (bait.build.head, bait.build.trailer)
    return list(dict.fromkeys(piece[0] for piece in pieces if piece is not None))


def _day_paid(season: Season, account: Account) -> date | None:
    """The day the running total reached the price, else the day it will at the pace of this season."""
    steps, left = account.steps, account.remaining
    if left is None or account.mold.price is None:
        return None
    paid = np.flatnonzero(np.cumsum(steps.number) >= account.mold.price - _ROUNDING)
    if not left and len(paid):
        day: date = steps.when[paid[0]].astype("datetime64[D]").item()
        return day
    now = math.fsum(steps.number[steps.when >= np.datetime64(season.start)])
    days = left / now * (season.end - season.start).days if now > 0 else math.inf
    return season.end + timedelta(days=math.ceil(days)) if days <= _LONGEST_PROJECTION_D else None


def saved_in(season: Season, span: Span, facts: Facts, baits: Mapping[str, BaitCost]) -> Savings:
    """What the baits dressed in a span saved; its limits carry those of the number of baits and of the gain.

    Numbers of builds err apart, their gains together.
    """
    before, by_then = (baits_dressed(season, midnight(day)) for day in (span.start, span.end))
    numbers = {name: _between(before[name], by_then[name]) for name in baits}
    known = _compared(baits)
    by_count = [product(numbers[name], gain.estimate) for name, (gain, _) in known.items()]
    by_gain = sum_erring_together((numbers[name].estimate, gain) for name, (gain, _) in known.items())
    return Savings(
        baits=sum_of_estimates(numbers[name] for name in known),
        saved=sum_of_estimates([sum_of_estimates(by_count), less_estimate(by_gain)]),
        shop=sum_of_estimates(product(numbers[name], price) for name, (_, price) in known.items()),
        unknown=[name for name in baits if name not in known and numbers[name].estimate > 0],
        untold=[name for name, each in facts.dressed.items() if not each.number and each.high],
    )


def _compared(baits: Mapping[str, BaitCost]) -> dict[str, tuple[Interval, float]]:
    """What a bait saves, and what it costs in a shop, by build where both are known."""
    return {
        name: (gain, price)
        for name, bait in baits.items()
        if (gain := bait.gain) is not None and (price := bait.build.bought_price) is not None
    }


def _between(before: Dressed, by_then: Dressed) -> Interval:
    """The baits dressed between two days; for its size as uncertain as the number so far, where that is."""
    number = max(0.0, by_then.number - before.number)
    low = high = number
    if before.known and number:
        low, high = (max(0.0, limit - before.number) for limit in (by_then.low, by_then.high))
    elif by_then.number and not before.known:
        low, high = (number * limit / by_then.number for limit in (by_then.low, by_then.high))
    return Interval(estimate=number, low=low, high=high, level=0.95)


def losses_in(season: Season, span: Span, baits: Mapping[str, BaitCost]) -> Losses:
    """What was lost and worn in a span, over its bait-hours and its fish."""
    ended: dict[str, int] = {}
    hours, fish = 0.0, 0
    if season.holds("fishing"):
        rows = season.rows("fishing", span)
        hours = sum_in_order(rows["count"] * rows["fished_h"])
        gone = sums_by(rows[rows["fate"].isin(LOSSES)], "count", "build")
        ended = {build: round(number) for build, number in gone.items()}
    if season.holds("catch"):
        catch = season.rows("catch", span)
        fish = int(catch.loc[~is_count_in_doubt(catch), "count"].sum())
    known = [(n, make) for build, n in ended.items() if (make := baits[build].make) is not None]
    return Losses(
        baits=sum(ended.values()),
        priced=sum(n for n, _ in known),
        cost=sum_erring_together(known),
        hours=hours,
        fish=fish,
    )


def spoilt_in(season: Season, span: Span, facts: Facts) -> float:
    """What rejects of a span cost: the inserts lost in them and the coat on those to strip, where priced."""
    cost = 0.0
    if season.holds("pour"):
        rows = season.rows("pour", span)
        rejects = sums_by(rows[rows["outcome"] == "reject"], "count", "mold", "cavity")
        for (mold, cavity), number in rejects.items():
            insert = season.bench.cavity(mold, cavity).insert
            if insert is not None:
                cost += number * facts.spoilt[insert] * (facts.prices[insert] or 0.0)
    if season.holds("finishing"):
        coated = sums_by(season.rows("finishing", span), "rejects", "mold", "cavity", "coat")
        masses = coat_masses(season)
        for key, number in coated.items():
            mass, _ = masses.get(key, masses.get(key[2:], (0.0, 0.0)))
            cost += number * mass * (facts.prices[key[2]] or 0.0)
    return cost


@dataclass(frozen=True, slots=True, kw_only=True)
class Bought:
    """What was received of an item, in its unit; `spent` is None where no receipt states its cost."""

    item: Item
    received: float
    spent: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Sold:
    """Baits sold for a known price: how many, what they brought, and what those of known gain cost in a shop.

    Both sums are money.
    """

    baits: int
    got: float
    shop: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Costs:
    """`facts`, `baits` and `accounts` are those at the report's end, the rest those of the span.

    `spoilt` is the cost of the span's rejects, `owed` what of the price of the molds was not yet saved when
    the span began (both money). `why_thin` says why nothing can be concluded; it is
    empty where something can.
    """

    facts: Facts
    baits: Mapping[str, BaitCost]
    accounts: Sequence[Account]
    savings: Savings
    losses: Losses
    spoilt: float
    owed: float
    bought: Sequence[Bought]
    sold: Sold
    why_thin: str

    @property
    def spent(self) -> float:
        """Money paid for what was received in the span."""
        return math.fsum(each.spent or 0.0 for each in self.bought)

    @property
    def rest(self) -> Interval:
        """What the dressed baits of the span cost in a shop, less what was bought, less what molds owed.

        A bait that was sold counts for what it brought.
        """
        sold = self.sold.got - self.sold.shop
        return sum_of_estimates([self.savings.shop, exactly(sold - self.spent - self.owed)])


def compute(season: Season, span: Span) -> Costs | None:
    """The numbers of the section; None where no log has a row in the span."""
    if not _any_rows(season, span, "inventory", "pour", "finishing", "fishing"):
        return None
    facts, baits = _priced(season)
    of_mold: dict[str, dict[str, BaitCost]] = {name: {} for name in season.bench.molds}
    for name, bait in baits.items():
        for mold in molds_of(bait):
            of_mold[mold][name] = bait
    accounts = [mold_account(season, facts, of_mold[mold.name], mold) for mold in season.bench.molds.values()]
    return Costs(
        facts=facts,
        baits=baits,
        accounts=accounts,
        owed=math.fsum(account.owed(midnight(span.start)) for account in accounts),
        savings=saved_in(season, span, facts, baits),
        losses=losses_in(season, span, baits),
        spoilt=spoilt_in(season, span, facts),
        bought=_bought_in(season, span),
        sold=sold_in(season, span, baits),
        why_thin=_too_little(facts, baits),
    )


def saved_to_date(season: Season, span: Span) -> tuple[int, float | None]:
    """Baits dressed from the season's start to the span's end, and the money saved; None where not known."""
    whole = Span(name="season", label=span.label, start=season.start, end=span.end)
    facts, baits = _priced(season)
    savings = saved_in(season, whole, facts, baits)
    known = savings.baits.estimate > 0 and not _too_little(facts, baits)
    return round(savings.baits.estimate), savings.saved.estimate if known else None


def _any_rows(season: Season, span: Span, *kinds: str) -> bool:
    return any(season.holds(kind) and len(season.rows(kind, span)) for kind in kinds)


@computed_once
def _priced(season: Season) -> tuple[Facts, dict[str, BaitCost]]:
    """Facts and costs at the report's end: every span rests on the same."""
    facts = season_facts(season)
    return facts, bait_costs(season, facts)


def _too_little(facts: Facts, baits: Mapping[str, BaitCost]) -> str:
    """Why nothing can be concluded; empty where something can."""
    castings = sum(cast.good + cast.rejects for cast in facts.castings.values())
    if castings < FEWEST_CASTINGS:
        return f"{castings} castings so far: a yield, and with it a cost, takes {FEWEST_CASTINGS}."
    if any(bait.cost is not None for bait in baits.values()):
        return ""
    reasons = [bait.why_unknown for bait in baits.values()]
    return f"No bait's cost is known: {reasons[0] if reasons else 'bench.toml names no build'}."


def _bought_in(season: Season, span: Span) -> list[Bought]:
    """What came in, most money first; finished baits among it in pieces."""
    items = dict(season.bench.items)
    found = []
    for log, column in (("inventory", "item"), ("builds", "build")):
        if season.holds(log):
            rows = season.rows(log, span)
            came = rows[rows["move"] == "received"]
            spent = sums_by(came[came["cost"] >= 0], "cost", column)
            for name, received in sums_by(came, "amount", column).items():
                item = items[name] if log == "inventory" else _finished(name)
                found.append(Bought(item=item, received=received, spent=spent.get(name)))
    return sorted(found, key=lambda each: (-(each.spent or 0.0), each.item.name))


def _finished(name: str) -> Item:
    """A bait as something that is bought by the piece."""
    return Item(name=name, kind="fitting", unit="pieces", print_unit="pieces")


def sold_in(season: Season, span: Span, baits: Mapping[str, BaitCost]) -> Sold:
    """The baits sold for a known price in a span, by both logs that may say so."""
    number, got, shop, known = 0, 0.0, 0.0, _compared(baits)
    for log, word, count, price in (
        ("builds", "move", "amount", "cost"),
        ("fishing", "fate", "count", "price"),
    ):
        if season.holds(log):
            rows = season.rows(log, span)
            rows = rows[(rows[word] == "sold") & rows[price].notna()]
            got += sum_in_order(rows[price])
            number += int(rows[count].sum())
            of_build = sums_by(rows, count, "build")
            shop += sum(each * known[name][1] for name, each in of_build.items() if name in known)
    return Sold(baits=number, got=got, shop=shop)
