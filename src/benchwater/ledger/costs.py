"""What an item costs by what was paid for it, and what one bait of each build costs."""

import math
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from benchwater.ledger import computed_once, log_table, midnight, rows_by, sum_in_order, sums_by
from benchwater.ledger.castings import Castings, Piece, casting_mass, castings_made
from benchwater.ledger.made import Dressed, Steps, baits_dressed, coats_made, dressing_steps, spoilt_share
from benchwater.ledger.stock import COAT_SHARE, stock_counts, stock_movements
from benchwater.plugin.bench import Build
from benchwater.plugin.season import Season
from benchwater.statistics.interval import Interval, normal_quantile
from benchwater.statistics.proportions import wilson_interval
from benchwater.statistics.uncertainty import rectangular_uncertainty

if TYPE_CHECKING:
    import pandas as pd

LEVEL = 0.95


@computed_once
def unit_prices(season: Season, up_to: datetime) -> Mapping[str, float | None]:
    """What one canonical unit (1 g, 1 mL, 1 piece) of every item costs, by what was received before `up_to`.

    Perpetual weighted average (cost formula of IAS 2, paragraphs 25 and 27, from memory): each receipt with a
    cost averages with the stock on hand just before it, at the average it then has. That stock is the last
    count rolled forward by the season's books, or what the rows add up to where nothing was counted yet, and
    never below 0. Stock that no receipt has priced (the opening, gifts, what was recovered) takes the average
    in force: the first receipt with a cost is the price of all that was there before it. Counts and what
    leaves do not move the average. An item no receipt of which states a cost falls back on the price per pack
    of bench.toml; None where that says nothing either.
    """
    table = log_table(season, "inventory", ("item", "move"), ("amount", "cost"))
    receipts = table[(table["move"] == "received") & (table["date"] < up_to)]
    columns = [receipts[name].to_numpy() for name in ("date", "amount", "cost")]
    rows, levels = rows_by(receipts, "item"), _Levels(season)
    prices: dict[str, float | None] = {}
    for name, item in season.bench.items.items():
        when, amounts, costs = (column[rows.get(name, slice(0))] for column in columns)
        average: float | None = None
        latest, earlier, received = np.datetime64("NaT"), 0.0, 0.0
        for moment, amount, cost in zip(when, amounts.tolist(), costs.tolist(), strict=True):
            earlier = earlier + received if moment == latest else 0.0
            latest, received = moment, amount
            if not math.isfinite(cost) or amount <= 0:
                continue
            before = 0.0 if average is None else levels.before(name, moment) + earlier
            average = ((average or 0.0) * before + cost) / (before + amount)
        if average is None and item.price is not None and item.pack:
            average = item.price / item.pack
        prices[name] = average
    return prices


def cost_of_reject(season: Season, mold: str, cavity: str) -> float | None:
    """What one reject of this cavity costs by its insert, at the report's end: 0 where it takes none.

    The insert at its `unit_prices`, as far as it is lost with the reject (`spoilt_share`); the metal goes
    back to the pot. None where nothing tells the price.
    """
    insert = season.bench.cavity(mold, cavity).insert
    if insert is None:
        return 0.0
    price = unit_prices(season, midnight(season.end))[insert]
    return None if price is None else price * spoilt_share(season, insert)


class _Levels:
    """The stock of each item just before a moment: the last count rolled forward, or the sum of its rows.

    A movement of unknown size is left to the next count.
    """

    def __init__(self, season: Season) -> None:
        counts = stock_counts(season)
        moved = stock_movements(season)
        moved = moved[moved["amount"].notna()]
        self._counts = _by_item(counts[~counts["replaced"]], "moment")
        self._moved = _by_item(moved, "date")
        self._known: dict[tuple[str, np.datetime64], float] = {}

    def before(self, item: str, moment: np.datetime64) -> float:
        """Never below 0."""
        if (item, moment) not in self._known:
            counted, found = self._counts.get(item, _NOTHING)
            moved, amounts = self._moved.get(item, _NOTHING)
            last = int(counted.searchsorted(moment, side="right")) - 1
            begin = int(moved.searchsorted(counted[last])) if last >= 0 else 0
            since = sum_in_order(amounts[begin : int(moved.searchsorted(moment))])
            self._known[item, moment] = max(0.0, (float(found[last]) if last >= 0 else 0.0) + since)
        return self._known[item, moment]


_InTime = tuple[NDArray[np.datetime64], NDArray[np.float64]]
_NOTHING: _InTime = np.zeros(0, dtype="datetime64[us]"), np.zeros(0)


def _by_item(table: "pd.DataFrame", time: str) -> dict[str, _InTime]:
    """Times in order, and amounts, by item."""
    table = table.sort_values(time, kind="stable")
    when, amounts = table[time].to_numpy(), table["amount"].to_numpy()
    return {item: (when[rows], amounts[rows]) for item, rows in rows_by(table, "item").items()}


@dataclass(frozen=True, kw_only=True)
class Facts:
    """What the costs of a season rest on: prices, castings, coated pieces (good, bad), and dressed baits.

    `castings` and `coats` are this season's, those of all seasons where it has no good one; `good_of` counts
    by mold the good castings of all seasons. `spoilt` is the share of the inserts in rejects that are lost
    with them, `consumables` the amount of each item outside every recipe that goes into a bait. `steps` say
    when baits were dressed.
    """

    prices: Mapping[str, float | None]
    castings: Mapping[Piece, Castings]
    coats: Mapping[tuple[str, str, str], tuple[int, int]]
    dressed: Mapping[str, Dressed]
    steps: Mapping[str, Steps]
    good_of: Mapping[str, int]
    spoilt: Mapping[str, float]
    consumables: Mapping[str, float]


@dataclass(kw_only=True)
class BaitCost:
    """The cost of one bait, put together part by part.

    `in_it` are the parts of its material, `borne` what spoilt pieces add to a good one, `shares` what each
    casting bears of its mold. `unpriced` names items without a price; the other lists say in words what else
    keeps the material, the rejects or the share from being known. An unknown sum is None.
    """

    build: Build
    in_it: list[Interval] = field(default_factory=list)
    borne: list[Interval] = field(default_factory=list)
    shares: list[float] = field(default_factory=list)
    unpriced: list[str] = field(default_factory=list)
    unweighed: list[str] = field(default_factory=list)
    untried: list[str] = field(default_factory=list)
    unshared: list[str] = field(default_factory=list)

    @cached_property
    def material(self) -> Interval | None:
        """What is in one bait."""
        known = self.in_it and not self.unpriced and not self.unweighed
        return sum_of_estimates(self.in_it) if known else None

    @cached_property
    def rejects(self) -> Interval | None:
        """What the spoilt ones add to a good one."""
        known = not self.unpriced and not self.unweighed and not self.untried
        return sum_of_estimates([exactly(0.0), *self.borne]) if known else None

    @cached_property
    def mold_share(self) -> float | None:
        """What it bears of its molds, spread over the good castings made so far."""
        return None if self.unshared or self.untried else sum(self.shares, 0.0)

    @cached_property
    def make(self) -> Interval | None:
        """What one more costs, the molds being there."""
        if self.material is None or self.rejects is None:
            return None
        return sum_of_estimates([self.material, self.rejects])

    @cached_property
    def cost(self) -> Interval | None:
        """What one costs with its share of the molds."""
        if self.make is None or self.mold_share is None:
            return None
        return sum_of_estimates([self.make, exactly(self.mold_share)])

    @cached_property
    def gain(self) -> Interval | None:
        """What one saves against the bought one before the molds are paid for."""
        return _bought_less(self.build.bought_price, self.make)

    @cached_property
    def saving(self) -> Interval | None:
        """What one saves against the bought one, its share of the molds taken off."""
        return _bought_less(self.build.bought_price, self.cost)

    @property
    def why_unknown(self) -> str:
        """What is missing, in words; empty where the cost is known."""
        priced = [f"{item} has no receipt with a cost and no price" for item in self.unpriced]
        return "; ".join(dict.fromkeys([*priced, *self.unweighed, *self.untried, *self.unshared]))

    def add(self, parts: list[Interval], item: str, facts: Facts, amount: Interval) -> None:
        """An amount of an item at its price, or the item among the unpriced."""
        price = facts.prices[item]
        if price is None:
            self.unpriced.append(item)
        else:
            parts.append(scaled(amount, price))


def season_facts(season: Season) -> Facts:
    """What the costs of a season rest on, at the report's end."""
    bench, start = season.bench, midnight(season.start)
    dressed, before = baits_dressed(season, midnight(season.end)), baits_dressed(season, start)
    cavities = [cavity for mold in bench.molds.values() for cavity in mold.cavities.values()]
    inserts = dict.fromkeys(cavity.insert for cavity in cavities if cavity.insert is not None)
    of_all, recent = castings_made(season), castings_made(season, start)
    castings = {piece: recent[piece] if recent[piece].good else cast for piece, cast in of_all.items()}
    good_of: Counter[str] = Counter()
    for (mold, _), cast in of_all.items():
        good_of[mold] += cast.good
    coats = {body: pieces for body, pieces in coats_made(season, start).items() if pieces[0]}
    in_recipes = {*inserts, *(mold.material for mold in bench.molds.values())}
    in_recipes |= {material for cast in castings.values() for material in cast.good_of}
    for build in bench.builds.values():
        in_recipes |= {*build.fittings, build.coat or ""}
    total = sum(each.number - before[name].number for name, each in dressed.items())
    consumables: dict[str, float] = {}
    if season.holds("inventory") and total:
        rows = season.log("inventory")
        rows = rows[rows["date"] >= start]
        taken = sums_by(rows[rows["move"] == "used"], "amount", "item")
        consumables = {item: amount / total for item, amount in taken.items() if item not in in_recipes}
    return Facts(
        prices=unit_prices(season, midnight(season.end)),
        castings=castings,
        coats=coats_made(season) | coats,
        dressed=dressed,
        steps=dressing_steps(season),
        good_of=good_of,
        spoilt={insert: spoilt_share(season, insert) for insert in inserts},
        consumables=consumables,
    )


def bait_costs(season: Season, facts: Facts) -> dict[str, BaitCost]:
    """The cost of one bait of every build."""
    found = {}
    for name, build in season.bench.builds.items():
        bait = found[name] = BaitCost(build=build)
        for piece in (build.head, build.trailer):
            if piece is not None:
                _add_casting(season, facts, bait, piece)
                _add_mold_share(season, facts, bait, piece[0])
        _add_coat(facts, bait)
        for item, amount in [*build.fittings.items(), *facts.consumables.items()]:
            bait.add(bait.in_it, item, facts, exactly(amount))
    return found


def _add_casting(season: Season, facts: Facts, bait: BaitCost, piece: Piece) -> None:
    """Metal or plastic in the mix that was poured, the insert, and the inserts spoilt in rejects."""
    cast, name = facts.castings[piece], " ".join(piece)
    mix = cast.good_of or {season.bench.molds[piece[0]].material: 1}
    for material, pieces in mix.items():
        each = casting_mass(season, piece, material)
        mass = from_uncertainty(each.mass_g, each.u)
        item = season.bench.items[material]
        if item.unit == "g":
            bait.add(bait.in_it, material, facts, scaled(mass, pieces / sum(mix.values())))
        else:
            bait.unweighed.append(f"{material} is kept by volume without a density")
    if not cast.good:
        bait.untried.append(f"no good casting of {name} yet")
    insert = season.bench.cavity(*piece).insert
    if insert is not None:
        bait.add(bait.in_it, insert, facts, exactly(1.0))
    if insert is not None and cast.good:
        lost = scaled(rejects_per_good(cast.good, cast.rejects), facts.spoilt[insert])
        bait.add(bait.borne, insert, facts, lost)


def _add_mold_share(season: Season, facts: Facts, bait: BaitCost, mold: str) -> None:
    price, good = season.bench.molds[mold].price, facts.good_of[mold]
    if price is None:
        bait.unshared.append(f"mold {mold} has no price")
    elif good:
        bait.shares.append(price / good)


def _add_coat(facts: Facts, bait: BaitCost) -> None:
    """The coat on a good piece, and what went onto those that have to be stripped."""
    coat, body = bait.build.coat, bait.build.head or bait.build.trailer
    if coat is None or body is None:
        return
    if bait.build.coat_mass_g is None:
        bait.unweighed.append(f"no build says how much {coat} a piece takes")
        return
    mass = bait.build.coat_mass_g
    each = from_uncertainty(mass, rectangular_uncertainty(COAT_SHARE * mass))
    bait.add(bait.in_it, coat, facts, each)
    good, bad = facts.coats.get((*body, coat), (0, 0))
    if bad and not good:
        bait.untried.append(f"none of {bad} pieces of {' '.join(body)} coated with {coat} came out good")
    elif bad:
        bait.add(bait.borne, coat, facts, scaled(rejects_per_good(good, bad), mass))


def _bought_less(bought: float | None, cost: Interval | None) -> Interval | None:
    if bought is None or cost is None:
        return None
    return Interval(
        estimate=bought - cost.estimate, low=bought - cost.high, high=bought - cost.low, level=LEVEL
    )


def exactly(value: float) -> Interval:
    """A value that is known."""
    return Interval(estimate=value, low=value, high=value, level=LEVEL)


def from_uncertainty(value: float, u: float) -> Interval:
    """A value with limits from its standard uncertainty `u`, taken as normal; GUM 6.3.3 (JCGM 100:2008)."""
    reach = normal_quantile(LEVEL) * u
    return Interval(estimate=value, low=value - reach, high=value + reach, level=LEVEL)


def scaled(interval: Interval, factor: float) -> Interval:
    """An estimate times a known factor of at least 0. Raises ValueError for a factor below 0."""
    if not factor >= 0:
        raise ValueError(f"the factor must be at least 0, not {factor}")
    high = interval.high * factor if factor else 0.0
    return Interval(estimate=interval.estimate * factor, low=interval.low * factor, high=high, level=LEVEL)


def product(number: Interval, factor: float) -> Interval:
    """A number times a factor that is taken as known, and may be below 0."""
    ends = sorted((number.low * factor, number.high * factor))
    return Interval(estimate=number.estimate * factor, low=ends[0], high=ends[1], level=LEVEL)


def less_estimate(interval: Interval) -> Interval:
    """How far the truth may lie from an estimate: the same limits about 0."""
    low, high = interval.low - interval.estimate, interval.high - interval.estimate
    return Interval(estimate=0.0, low=low, high=high, level=LEVEL)


def sum_of_estimates(parts: Iterable[Interval]) -> Interval:
    """The sum of independent estimates, with limits from theirs, which need not be symmetric.

    Each side's distances from the estimate are squared and added: L = sum(t) - sqrt(sum((t - l)**2)), and
    likewise above. Of normal limits it is the law of propagation, JCGM 100:2008, 5.1.2.

    Source: Zou & Donner 2008, Statistics in Medicine 27:1693-1702 (method of variance estimates recovery), as
    Newcombe 1998 does for two proportions (from memory).
    """
    terms = list(parts)
    total = math.fsum(term.estimate for term in terms)
    return Interval(
        estimate=total,
        low=total - math.hypot(*(term.estimate - term.low for term in terms)),
        high=total + math.hypot(*(term.high - term.estimate for term in terms)),
        level=LEVEL,
    )


def rejects_per_good(good: int, rejects: int) -> Interval:
    """Rejects per good piece: (1 - p) / p of the yield p, with Wilson's limits of p.

    The estimate is rejects / good. Raises ValueError without a good piece, for then it has no bound.
    """
    if good < 1:
        raise ValueError("without a good piece nothing bears the rejects")
    found = wilson_interval(good, good + rejects)
    return Interval(
        estimate=rejects / good,
        low=(1 - found.high) / found.high,
        high=(1 - found.low) / found.low,
        level=LEVEL,
    )


def sum_erring_together(parts: Iterable[tuple[float, Interval]]) -> Interval:
    """The sum of factors (at least 0) times estimates that share their errors: the limits add, too.

    Correlation 1, GUM 5.2.2, note 1 (JCGM 100:2008); the widest that the parts allow. 0 without a part.
    """
    terms = [scaled(interval, factor) for factor, interval in parts]
    return Interval(
        estimate=math.fsum(term.estimate for term in terms),
        low=math.fsum(term.low for term in terms),
        high=math.fsum(term.high for term in terms),
        level=LEVEL,
    )
