"""Computes the losses to come, the pieces they need, the fills that make these, and the parts to buy."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from math import ceil, isfinite, isnan, nan

import pandas as pd

from benchwater.ledger import midnight, sums_by
from benchwater.ledger.castings import casting_mass, castings_made
from benchwater.ledger.made import coats_made
from benchwater.ledger.pieces import Casting, Pieces, body_of, pieces_on_hand, share_pieces
from benchwater.ledger.prices import unit_prices
from benchwater.ledger.stock import on_hand
from benchwater.plugin import Season, Span
from benchwater.plugin.bench import Bench, Build, Item
from benchwater.statistics.stock_level import (
    GammaRate,
    expected_shortage,
    posterior_share,
    predictive_quantile,
    shared_rate,
)

from .fill_plan import plan_fills, what_stops

MONTH_DAYS = 365.25 / 12
PRIOR_PIECES = 10.0
LEAST_YIELD = 0.01
HIGHEST_LEVEL = 0.999
LEAST_ENDS = 5


@dataclass(frozen=True, slots=True)
class Outlook:
    """One build: the hours to come and its rate of loss, None where nothing foretells it.

    `left_out` says why there are no hours to come though the maker may have planned some.
    """

    build: Build
    hours: float
    rate: GammaRate | None
    left_out: str = ""

    @property
    def expected(self) -> float:
        """Baits expected to end."""
        return self.hours * self.rate.mean if self.rate is not None else 0.0

    def at(self, level: float) -> int:
        """How many ends are not exceeded with that probability."""
        return predictive_quantile(self.rate, self.hours, level) if self.rate is not None else 0

    def missed(self, stock: int) -> float:
        """Baits expected to be missed with so many at hand."""
        return expected_shortage(self.rate, self.hours, max(0, stock)) if self.rate is not None else 0.0


@dataclass(frozen=True, slots=True)
class Need:
    """What one build should have and has: `on_hand` is None where it has no casting."""

    outlook: Outlook
    target: int
    on_hand: int | None

    @property
    def build(self) -> Build:
        """The build of the outlook."""
        return self.outlook.build

    @property
    def to_make(self) -> int:
        """Baits to make."""
        return max(0, self.target - self.on_hand) if self.on_hand is not None else 0

    def spared(self, lacking: int, still: int = 0) -> float:
        """Baits expected not to be missed where `still` are less than the target, and not `lacking`."""
        return self.outlook.missed(self.target - lacking) - self.outlook.missed(self.target - still)


@dataclass(slots=True)
class Pour:
    """What is to be poured: `needed` good castings, the `fills` of each mold, and what these give and take.

    `poured` castings were logged so far. `good` is the share of a cavity's castings that will be. `short` is
    what stock lacks where what is on hand does not do; those in `alone` stop the plan by themselves.
    """

    needed: Mapping[Casting, int]
    poured: Mapping[Casting, int]
    fills: dict[str, int] = field(default_factory=dict)
    good: dict[Casting, float] = field(default_factory=dict)
    yielded: dict[Casting, float] = field(default_factory=dict)
    takes: dict[str, float] = field(default_factory=dict)
    short: dict[str, float] = field(default_factory=dict)
    alone: tuple[str, ...] = ()


@dataclass(slots=True)
class Part:
    """One item: how much of it the plan takes, for how many pieces of each build, and what must be bought."""

    item: Item
    on_hand: float
    price: float | None
    needed: float = 0.0
    pieces: Counter[str] = field(default_factory=Counter)

    @property
    def short(self) -> float:
        """What is not there, nan where that is not known."""
        if self.needed == 0:
            return 0.0
        if isnan(self.needed + self.on_hand):
            return nan
        lack = self.needed - max(0.0, self.on_hand)
        return lack if lack > 1e-9 * self.needed else 0.0

    @property
    def packs(self) -> int | None:
        """Whole packs that cover it; None where that cannot be said."""
        if self.short == 0:
            return 0
        return ceil(self.short / self.item.pack - 1e-9) if self.item.pack and isfinite(self.short) else None

    @property
    def cost(self) -> float | None:
        """Money for the packs, or for the bare amount where no pack is stated; None where not known."""
        if self.short == 0:
            return 0.0
        amount = self.short if self.packs is None else self.packs * (self.item.pack or 0.0)
        return None if self.price is None or isnan(amount) else amount * self.price

    def lacking(self, build: str) -> int:
        """How many pieces of that build go without it, all going short alike."""
        share = self.short / self.needed if self.short > 0 else 0.0
        return ceil(self.pieces[build] * share - 1e-9)


@dataclass(frozen=True, slots=True)
class Plan:
    """The plan of a month. `ends` baits have ended so far; `lacking` counts castings by casting and build."""

    ends: int
    level: float
    pieces: Pieces
    needs: tuple[Need, ...]
    lacking: Mapping[Casting, Mapping[str, int]]
    pour: Pour
    parts: tuple[Part, ...]

    @property
    def thin(self) -> bool:
        """Whether too few baits have ended to foresee any loss."""
        return self.ends < LEAST_ENDS

    @property
    def to_make(self) -> list[Need]:
        """The builds of which baits are to be made, most first."""
        return sorted((need for need in self.needs if need.to_make), key=lambda need: -need.to_make)

    def to_pour_for(self, build: Build) -> int:
        """How many of its baits to make have their own casting still to be poured; the rest need no pour."""
        body = body_of(build)
        return self.lacking.get(body[:2], {}).get(build.name, 0) if body is not None else 0

    @property
    def to_buy(self) -> list[Part]:
        """The items of which there is known to be too little."""
        return [part for part in self.parts if part.short > 0]


def ends_and_hours(season: Season, start: date | None, end: date) -> tuple[dict[str, int], dict[str, float]]:
    """Baits lost or worn, and bait-hours, of every build from `start` (the first row for None) to `end`."""
    ended: dict[str, int] = dict.fromkeys(season.bench.builds, 0)
    hours = dict.fromkeys(season.bench.builds, 0.0)
    if season.holds("fishing"):
        rows = season.before("fishing", end)
        rows = rows if start is None else rows[rows["date"] >= pd.Timestamp(start)]
        rows = rows.assign(hours=rows["fished_h"] * rows["count"])
        gone = sums_by(rows[rows["fate"] != "kept"], "count", "build")
        ended |= {build: round(number) for build, number in gone.items()}
        hours |= sums_by(rows, "hours", "build")
    return ended, hours


def look_ahead(season: Season, until: date) -> tuple[list[Outlook], int]:
    """What every build is to lose in the month after `until`, and the number of ends that rests on.

    The hours to come are those planned on the bench, else its bait-hours a month in the season so far.
    """
    bench = season.bench
    ended, hours = ends_and_hours(season, None, until)
    _, lately = ends_and_hours(season, season.start, until)
    prior = shared_rate([ended[name] for name in bench.builds], [hours[name] for name in bench.builds])
    months = max(1.0, (until - season.start).days / MONTH_DAYS)
    outlooks = []
    for name, build in bench.builds.items():
        planned = lately[name] / months if build.planned_hours is None else build.planned_hours
        rate = prior.after(ended[name], hours[name]) if prior is not None else None
        why = _cannot_be_made(build, bench)
        outlooks.append(Outlook(build, 0.0 if why else max(0.0, planned), rate, why))
    return outlooks, sum(ended.values())


def service_level(bench: Bench) -> float:
    """The level the maker asks for; certainty would take an endless stock."""
    return min(bench.plan.service_level, HIGHEST_LEVEL)


def make_plan(season: Season, start: date, end: date) -> Plan:
    """The plan for the month after `end`, with the stock that the balance from `start` to `end` closes with.

    With fewer than LEAST_ENDS baits ended nothing is foreseen: every target is 0, nothing is to be made.
    """
    bench, level = season.bench, service_level(season.bench)
    outlooks, ends = look_ahead(season, end)
    pieces = pieces_on_hand(season)
    targets = [0 if ends < LEAST_ENDS else outlook.at(level) for outlook in outlooks]
    shares = share_pieces(pieces, [(each.build, want) for each, want in zip(outlooks, targets, strict=True)])
    needs = tuple(
        Need(outlook, target, shares.on_hand.get(outlook.build.name))
        for outlook, target in zip(outlooks, targets, strict=True)
    )
    stock = on_hand(season, midnight(start), midnight(end))
    pour = _pour(season, shares.lacking, stock)
    prices = unit_prices(season, midnight(end))
    blank = {name: Part(item, stock[name], prices[name].per_unit) for name, item in bench.items.items()}
    parts = _parts(season, pieces, needs, shares.lacking, pour, blank)
    return Plan(ends, level, pieces, needs, shares.lacking, pour, parts)


def _cannot_be_made(build: Build, bench: Bench) -> str:
    """Why a build cannot be made as the bench stands: it has no casting, or its cure would melt it."""
    body, coat = body_of(build), bench.items[build.coat] if build.coat is not None else None
    if body is None:
        return f"{build.name} is left out: bench.toml gives it neither head nor trailer."
    metal = bench.items[bench.molds[body[0]].material]
    coolest = coat.cure.min_temp_c if coat is not None and coat.cure is not None else None
    if coat is None or coolest is None or metal.melts_c is None or coolest < metal.melts_c:
        return ""
    cures, melts = bench.show(coolest, "degC"), bench.show(metal.melts_c, "degC")
    return f"{build.name} is left out: {coat.name} cures at {cures} or more, {metal.name} melts at {melts}."


def _pour(season: Season, lacking: Mapping[Casting, Mapping[str, int]], stock: Mapping[str, float]) -> Pour:
    """The fills that make up for what lacks: with what is on hand, or else without that limit."""
    bench, made_so_far = season.bench, castings_made(season)
    counts = {casting: (made.good, made.good + made.rejects) for casting, made in made_so_far.items()}
    needed = {casting: sum(of_build.values()) for casting, of_build in lacking.items()}
    pour = Pour(needed, {casting: poured for casting, (_, poured) in counts.items()})
    molds = [name for name in bench.molds if any(pour.needed[name, c] for c in bench.molds[name].cavities)]
    castings = [(name, cavity) for name in molds for cavity in bench.molds[name].cavities]
    if not molds:
        return pour
    usual = _usual_share(counts.values(), bench)
    takes: dict[str, dict[str, float]] = {name: defaultdict(float) for name in molds}
    yields: dict[Casting, float] = {}
    for mold, name in castings:
        material, cavity = bench.items[bench.molds[mold].material], bench.cavity(mold, name)
        pour.good[mold, name] = posterior_share(*counts[mold, name], usual, PRIOR_PIECES)
        yields[mold, name] = cavity.per_fill * pour.good[mold, name]
        mass_g = casting_mass(season, (mold, name), material.name).mass_g
        takes[mold][material.name] += yields[mold, name] * mass_g if material.unit == "g" else nan
        if cavity.insert is not None:
            takes[mold][cavity.insert] += cavity.per_fill
    items = sorted({item for taken in takes.values() for item, each in taken.items() if isfinite(each)})
    held = [item for item in items if isfinite(stock[item])]
    made = [[yields[casting] if casting[0] == mold else 0.0 for mold in molds] for casting in castings]
    uses = [[takes[mold].get(item, 0.0) for mold in molds] for item in held]
    demand, limits = [pour.needed[casting] for casting in castings], [max(0.0, stock[item]) for item in held]
    found = plan_fills(made, demand, uses, limits)
    if found is None:
        stops = what_stops(made, demand, uses, limits)
        pour.short = {held[place]: amount for place, amount in stops.short.items()}
        pour.alone = tuple(held[place] for place in stops.alone)
        found = plan_fills(made, demand)
    assert found is not None
    pour.fills = dict(zip(molds, found.fills, strict=True))
    pour.yielded = dict(zip(castings, found.yielded, strict=True))
    for mold, fills in pour.fills.items():
        for item, amount in takes[mold].items():
            pour.takes[item] = pour.takes.get(item, 0.0) + fills * amount
    return pour


def _parts(
    season: Season,
    pieces: Pieces,
    needs: Sequence[Need],
    lacking: Mapping[Casting, Mapping[str, int]],
    pour: Pour,
    parts: Mapping[str, Part],
) -> tuple[Part, ...]:
    """The parts list: every item that a mold or a build of the bench takes; what lacks comes first."""
    bench = season.bench
    taken = {mold.material for mold in bench.molds.values()}
    for (mold, name), of_build in lacking.items():
        insert = bench.cavity(mold, name).insert
        for item in (bench.molds[mold].material, *([] if insert is None else [insert])):
            taken.add(item)
            parts[item].pieces.update(of_build)
    for item, amount in pour.takes.items():
        parts[item].needed += amount
    dipped = {body: (good, good + bad) for body, (good, bad) in coats_made(season).items()}
    usual = _usual_share(dipped.values(), bench)
    fitted: defaultdict[str, float] = defaultdict(float)
    for need in needs:
        build, body = need.build, body_of(need.build)
        if build.coat is not None and body is not None:
            taken.add(build.coat)
            share = posterior_share(*dipped.get((body[0], body[1], build.coat), (0, 0)), usual, PRIOR_PIECES)
            by_mass = build.coat_mass_g if parts[build.coat].item.unit == "g" else None
            dips = need.to_make / share
            parts[build.coat].needed += dips * (nan if by_mass is None else by_mass) if dips else 0.0
            parts[build.coat].pieces[build.name] += need.to_make
        for item, number in build.fittings.items():
            taken.add(item)
            parts[item].needed += number * need.to_make
            parts[item].pieces[build.name] += need.to_make
            fitted[item] += number * (need.target if need.on_hand is not None else 0)
    for item, wanted in fitted.items():
        parts[item].needed = max(parts[item].needed, wanted - pieces.fitted.get(item, 0.0))
    used = [part for name, part in parts.items() if name in taken]
    return tuple(sorted(used, key=lambda part: (part.short == 0, part.needed == 0)))


def _usual_share(counts: Iterable[tuple[int, int]], bench: Bench) -> float:
    """The good share of all pieces, and of one more as good as the maker aims at."""
    pairs = list(counts)
    good, total = sum(good for good, _ in pairs), sum(total for _, total in pairs)
    return max(LEAST_YIELD, posterior_share(good, total, 1 - bench.plan.target_reject_rate, 1.0))


@dataclass(frozen=True, slots=True, kw_only=True)
class LookBack:
    """Outlooks at the span's start, resting on `ends_before` lost baits, and what came, by build.

    `fished` is in bait-hours, `ended` in baits; `level` is the service level.
    """

    outlooks: Sequence[Outlook]
    ends_before: int
    level: float
    fished: Mapping[str, float]
    ended: Mapping[str, int]

    @property
    def thin(self) -> bool:
        """Whether too few baits had ended before the span to foresee any loss."""
        return self.ends_before < LEAST_ENDS

    @property
    def planned_h(self) -> float:
        """Bait-hours planned for the span."""
        return sum(outlook.hours for outlook in self.outlooks)

    @property
    def expected_planned(self) -> float:
        """Losses expected in the hours planned."""
        return sum(outlook.expected for outlook in self.outlooks)

    @property
    def expected_fished(self) -> float:
        """Losses expected in the hours that were fished."""
        return sum(replace(each, hours=self.fished[each.build.name]).expected for each in self.outlooks)

    @property
    def beyond(self) -> list[str]:
        """Builds that lost more baits than a stock at the service level would have covered."""
        return [o.build.name for o in self.outlooks if self.ended[o.build.name] > o.at(self.level)]


def look_back(season: Season, span: Span) -> LookBack:
    """What was to be expected at the start of the span, and what happened."""
    outlooks, before = look_ahead(season, span.start)
    ended, fished = ends_and_hours(season, span.start, span.end)
    return LookBack(
        outlooks=outlooks,
        ends_before=before,
        level=service_level(season.bench),
        fished=fished,
        ended=ended,
    )
