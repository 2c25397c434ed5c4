"""Computes the losses to come, the pieces they need, the fills that make these, and the parts to buy."""

import heapq
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from functools import cached_property
from math import ceil, isfinite, isnan, nan

import numpy as np
import pandas as pd

from benchwater.ledger import LOSSES, midnight, rows_by, sums_by
from benchwater.ledger.castings import casting_mass, castings_made
from benchwater.ledger.costs import unit_prices
from benchwater.ledger.fills import poured_in
from benchwater.ledger.made import coats_made
from benchwater.ledger.pieces import Casting, Claims, Pieces, Shares, body_of, pieces_on_hand, share_pieces
from benchwater.ledger.stock import on_hand
from benchwater.plugin import Season, Span
from benchwater.plugin.bench import Bench, Build, Item
from benchwater.statistics.proportions import design_effect
from benchwater.statistics.stock_level import (
    GammaRate,
    joint_stock,
    less_sure,
    predictive_cdf,
    predictive_quantile,
    shared_rate,
)

from .promise import (
    CavityYield,
    Stocked,
    chance_of_enough,
    expected_shortage,
    fills_for_level,
    posterior_share,
    session_spread,
)

MONTH_DAYS = 365.25 / 12
PRIOR_PIECES = 10.0
LEAST_YIELD = 0.01
WORKING_YIELD = 0.1
LEAST_ALIKE = 0.02
HIGHEST_LEVEL = 0.999
LEAST_ENDS, LEAST_DAYS = 5, 3
MOST_SHARES = 200_000


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

    def spared(self, lacking: int) -> float:
        """Baits expected not to be missed where `lacking` of the target are made."""
        return self.outlook.missed(self.target - lacking) - self.outlook.missed(self.target)


@dataclass(slots=True)
class Pour:
    """What is to be poured: `needed` good castings, the `fills` of each mold, and what these give and take.

    `poured` castings were logged so far, of which `good` will be, as a share. `yielded` is what the fills
    give on average. `short` is what stock lacks where what is on hand does not do.
    """

    needed: Mapping[Casting, int]
    poured: Mapping[Casting, int]
    fills: dict[str, int] = field(default_factory=dict)
    good: dict[Casting, float] = field(default_factory=dict)
    yielded: dict[Casting, float] = field(default_factory=dict)
    takes: dict[str, float] = field(default_factory=dict)
    short: dict[str, float] = field(default_factory=dict)


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
        """How many pieces of that build go without it where it is `short`, all going short alike."""
        return ceil(self.pieces[build] * self.short / self.needed - 1e-9)


@dataclass(frozen=True)
class Plan:
    """The plan of a month. `ends` baits have ended on `days` days so far.

    `lacking` counts castings by casting and build. `sure` is the probability that no build runs out once all
    is done. `waiting` are castings whose cavity gives next to no good ones, with the baits that wait for
    them by build: nothing is planned or promised of these.
    """

    ends: int
    days: int
    level: float
    pieces: Pieces
    needs: tuple[Need, ...]
    lacking: Mapping[Casting, Mapping[str, int]]
    waiting: Mapping[Casting, Mapping[str, int]]
    pour: Pour
    parts: tuple[Part, ...]
    sure: float

    @property
    def thin(self) -> bool:
        """Whether too few baits have ended, or on too few days, to foresee any loss."""
        return too_few(self.ends, self.days)

    @cached_property
    def castings_on_hand(self) -> Counter[Casting]:
        """Castings on hand, bare, coated and on baits."""
        have: Counter[Casting] = Counter()
        for (mold, cavity, _), count in self.pieces.bodies.items():
            have[mold, cavity] += count
        return have

    @cached_property
    def months_on_hand(self) -> dict[Casting, float]:
        """How many months the castings on hand last, of those that are used and none is poured of."""
        use: defaultdict[Casting, float] = defaultdict(float)
        for need in self.needs:
            for casting in filter(None, (need.build.head, need.build.trailer)):
                use[casting] += need.outlook.expected
        have, fills = self.castings_on_hand, self.pour.fills
        return {c: have[c] / used for c, used in use.items() if used and not fills.get(c[0])}

    @cached_property
    def to_make(self) -> list[Need]:
        """The builds of which baits are to be made, most first."""
        return sorted((need for need in self.needs if need.to_make), key=lambda need: -need.to_make)

    @property
    def to_buy(self) -> list[Part]:
        """The items of which there is known to be too little."""
        return [part for part in self.parts if part.short > 0]


def too_few(ends: int, days: int) -> bool:
    """Whether so many baits ended, on so many days, foresee nothing: one bad trip is no rate of loss."""
    return ends < LEAST_ENDS or days < LEAST_DAYS


@dataclass(frozen=True, slots=True, kw_only=True)
class Fished:
    """Baits lost or worn and bait-hours by build, and the number of days on which any ended."""

    ended: Mapping[str, int]
    hours: Mapping[str, float]
    days: int


def fished_between(season: Season, start: date | None, end: date) -> Fished:
    """What was fished and lost of every build from `start` (the first row for None) to `end`."""
    ended: dict[str, int] = dict.fromkeys(season.bench.builds, 0)
    hours = dict.fromkeys(season.bench.builds, 0.0)
    days = 0
    if season.holds("fishing"):
        rows = season.before("fishing", end)
        rows = rows if start is None else rows[rows["date"] >= pd.Timestamp(start)]
        rows = rows.assign(hours=rows["fished_h"] * rows["count"])
        lost = rows[rows["fate"].isin(LOSSES)]
        ended |= {build: round(number) for build, number in sums_by(lost, "count", "build").items()}
        hours |= sums_by(rows, "hours", "build")
        days = lost["date"].dt.normalize().nunique()
    return Fished(ended=ended, hours=hours, days=days)


def look_ahead(season: Season, until: date) -> tuple[list[Outlook], Fished]:
    """What every build is to lose in the month after `until`, and the fishing that rests on.

    The hours to come are those planned on the bench, else its bait-hours a month in the season so far.
    """
    bench = season.bench
    so_far = fished_between(season, None, until)
    lately = fished_between(season, season.start, until).hours
    ended, hours = so_far.ended, so_far.hours
    prior = shared_rate([ended[name] for name in bench.builds], [hours[name] for name in bench.builds])
    if prior is not None:
        prior = less_sure(prior, sum(hours[name] > 0 for name in bench.builds))
    months = max(1.0, (until - season.start).days / MONTH_DAYS)
    outlooks = []
    for name, build in bench.builds.items():
        planned = lately[name] / months if build.planned_hours is None else build.planned_hours
        rate = prior.after(ended[name], hours[name]) if prior is not None else None
        why = cannot_be_made(build, bench)
        outlooks.append(Outlook(build, 0.0 if why else max(0.0, planned), rate, why))
    return outlooks, so_far


def service_level(bench: Bench) -> float:
    """The level the maker asks for; certainty would take an endless stock."""
    return min(bench.plan.service_level, HIGHEST_LEVEL)


def make_plan(season: Season, span: Span, foreseen: tuple[Sequence[Outlook], Fished] | None = None) -> Plan:
    """The plan for the month after the span, or for what is `foreseen`.

    It rests on the stock that the span's balance closes with.

    With too few baits ended nothing is foreseen: every target is 0, nothing is to be made. Where castings
    must be poured, half of the risk goes to the losses and half to the yield: targets hold with the square
    root of the service level, and fills make up the rest.
    """
    bench, level = season.bench, service_level(season.bench)
    outlooks, so_far = foreseen or look_ahead(season, span.end)
    ends, pieces, cavities = sum(so_far.ended.values()), pieces_on_hand(season), _Cavities(season, span)
    targets = dict.fromkeys(bench.builds, 0)
    waiting: dict[Casting, dict[str, int]] = {}
    if not too_few(ends, so_far.days):
        targets = _targets(outlooks, pieces, level)
        if any(any(of.values()) for of in _shares(outlooks, pieces, targets).lacking.values()):
            targets = _targets(outlooks, pieces, level**0.5)
            waiting = _wait_for_molds(outlooks, pieces, targets, cavities)
    shares = _shares(outlooks, pieces, targets)
    needs = tuple(
        Need(outlook, targets[outlook.build.name], shares.on_hand.get(outlook.build.name))
        for outlook in outlooks
    )
    stock = on_hand(season, midnight(span.start), midnight(span.end))
    held_back = {build for of_build in waiting.values() for build in of_build}
    stocked = _stocked([need for need in needs if need.build.name not in held_back], shares.lacking)
    needed = {casting: sum(of_build.values()) for casting, of_build in shares.lacking.items()}
    yields = cavities.yields(needed if foreseen else {})
    pour = _pour(season, needed, stock, cavities, fills_for_level(stocked, wanted(needed), yields, level))
    prices = unit_prices(season, midnight(span.end))
    blank = {name: Part(item, stock[name], prices[name]) for name, item in bench.items.items()}
    return Plan(
        ends=ends,
        days=so_far.days,
        level=level,
        pieces=pieces,
        needs=needs,
        lacking=shares.lacking,
        waiting=waiting,
        pour=pour,
        parts=_parts(season, pieces, needs, shares.lacking, pour, blank),
        sure=chance_of_enough(stocked, wanted(pour.needed), yields, pour.fills),
    )


def _shares(outlooks: Sequence[Outlook], pieces: Pieces, targets: Mapping[str, int]) -> Shares:
    return share_pieces(pieces, [(outlook.build, targets[outlook.build.name]) for outlook in outlooks])


def _targets(outlooks: Sequence[Outlook], pieces: Pieces, level: float) -> dict[str, int]:
    """The stock of each build so that none runs out with that probability, all builds taken together.

    Where some builds have more than their target, others need less: from those still to be made, one after
    the other is left out where the joint probability is hurt least, as long as the level holds. After
    `MOST_SHARES` builds were looked at again the targets stay as they are, a little above what would do.
    """
    foreseen = [(each.build, each.rate, each.hours) for each in outlooks if each.rate is not None]
    found = joint_stock([rate for _, rate, _ in foreseen], [hours for *_, hours in foreseen], level)
    targets = dict.fromkeys((outlook.build.name for outlook in outlooks), 0)
    targets |= {build.name: target for (build, *_), target in zip(foreseen, found, strict=True)}
    claims, there = Claims(each.build for each in outlooks), _shares(outlooks, pieces, targets).on_hand
    place_of = {build.name: place for place, (build, *_) in enumerate(foreseen)}
    chances, losses = np.ones(len(foreseen)), np.ones(len(foreseen))
    heap: list[tuple[float, int]] = []

    def look_at(name: str) -> None:
        """Note the chance that its stock does, and offer one bait less where some are still to be made."""
        if (place := place_of.get(name)) is not None:
            _, rate, hours = foreseen[place]
            stock = max(targets[name], there.get(name, 0))
            chances[place] = predictive_cdf(rate, hours, stock)
            losses[place] = 0.0
            if name in there and targets[name] > there[name]:
                losses[place] = predictive_cdf(rate, hours, stock - 1) / chances[place]
                heapq.heappush(heap, (-losses[place], place))

    for name in place_of:
        look_at(name)
    looked_at = 0
    while heap and looked_at < MOST_SHARES:
        kept, place = heapq.heappop(heap)
        if -kept != losses[place]:
            continue
        if chances.prod() * losses[place] < level:
            break
        build = foreseen[place][0]
        targets[build.name] -= 1
        again = {build.name}
        for casting in {each for each in (build.head, build.trailer) if each is not None}:
            on_hand, _ = claims.share(pieces, casting, targets)
            again |= {name for name, count in on_hand.items() if there[name] != count}
            there |= on_hand
            looked_at += len(on_hand)
        for name in again:
            look_at(name)
    return targets


def _wait_for_molds(
    outlooks: Sequence[Outlook], pieces: Pieces, targets: dict[str, int], cavities: "_Cavities"
) -> dict[Casting, dict[str, int]]:
    """Take out of `targets` the baits whose castings no cavity can give yet; these, by casting and build."""
    lacking = _shares(outlooks, pieces, targets).lacking
    waiting = {c: dict(of) for c, of in lacking.items() if sum(of.values()) and not cavities.works(c)}
    for of_build in waiting.values():
        for build, count in of_build.items():
            targets[build] = max(0, targets[build] - count)
    return waiting


def _stocked(needs: Sequence[Need], lacking: Mapping[Casting, Mapping[str, int]]) -> list[Stocked]:
    """Every build that may lose baits, with its stock once the plan is done."""
    lacks: defaultdict[str, dict[Casting, int]] = defaultdict(dict)
    for casting, of_build in lacking.items():
        for build, count in of_build.items():
            lacks[build][casting] = count
    return [
        Stocked(
            rate=need.outlook.rate,
            hours=need.outlook.hours,
            stock=max(need.target, need.on_hand),
            lacking=lacks[need.build.name],
        )
        for need in needs
        if need.outlook.rate is not None and need.on_hand is not None
    ]


def wanted(needed: Mapping[Casting, int]) -> dict[Casting, int]:
    """The castings of which any is needed."""
    return {casting: count for casting, count in needed.items() if count}


class _Cavities:
    """What each cavity of the bench gave so far, and is likely to give in coming sessions."""

    def __init__(self, season: Season, span: Span) -> None:
        bench = season.bench
        self.counts = {c: (made.good, made.good + made.rejects) for c, made in castings_made(season).items()}
        usual = _usual_share(self.counts.values(), bench)
        self.good = {c: posterior_share(*counts, usual, PRIOR_PIECES) for c, counts in self.counts.items()}
        self._bench, self._alike = bench, _sessions_of(season, span)

    def yields(self, over_sessions: Mapping[Casting, int]) -> dict[Casting, CavityYield]:
        """What each gives in one coming session, or in the sessions that so many castings take."""
        found = {}
        for (mold, name), (_, poured) in self.counts.items():
            effect, size = self._alike.get(mold, (1.0, 1.0))
            cavities = self._bench.molds[mold].cavities
            fills = over_sessions.get((mold, name), 0) / (self.good[mold, name] * cavities[name].per_fill)
            sessions = max(1, int(fills * sum(each.per_fill for each in cavities.values()) / size))
            found[mold, name] = CavityYield(
                share=self.good[mold, name],
                castings=session_spread(poured, effect, size, PRIOR_PIECES, sessions),
                per_fill=cavities[name].per_fill,
            )
        return found

    def works(self, casting: Casting) -> bool:
        """Whether it gives castings worth planning with: no more than PRIOR_PIECES tried, or enough good."""
        return self.counts[casting][1] < PRIOR_PIECES or self.good[casting] >= WORKING_YIELD


def _sessions_of(season: Season, span: Span) -> dict[str, tuple[float, float]]:
    """By mold: the design effect of the sessions on its good share, and the castings of a session."""
    rows = poured_in(season, span)
    rows = rows[rows["castings"] > 0]
    found = {}
    for mold, own in rows_by(rows, "mold").items():
        session = rows["session"].cat.codes.to_numpy()[own]
        poured, bad = (np.bincount(session, rows[name].to_numpy()[own]) for name in ("castings", "rejects"))
        size = float((poured**2).sum() / poured.sum())
        least = 1 + LEAST_ALIKE * (size - 1)
        found[mold] = design_effect(poured - bad, poured, at_least=least), size
    return found


def cannot_be_made(build: Build, bench: Bench) -> str:
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


def _pour(
    season: Season,
    needed: Mapping[Casting, int],
    stock: Mapping[str, float],
    cavities: _Cavities,
    fills: dict[str, int],
) -> Pour:
    """What the fills of each mold give and take, and what of that is not there."""
    bench = season.bench
    pour = Pour(needed, {casting: poured for casting, (_, poured) in cavities.counts.items()}, fills)
    for mold, number in pour.fills.items():
        material = bench.items[bench.molds[mold].material]
        for name, cavity in bench.molds[mold].cavities.items():
            casting = mold, name
            pour.good[casting] = cavities.good[casting]
            pour.yielded[casting] = number * cavity.per_fill * pour.good[casting]
            mass_g = casting_mass(season, casting, material.name).mass_g if material.unit == "g" else nan
            takes = {material.name: pour.yielded[casting] * mass_g}
            if cavity.insert is not None:
                takes[cavity.insert] = float(number * cavity.per_fill)
            for item, amount in takes.items():
                pour.takes[item] = pour.takes.get(item, 0.0) + amount
    lacks = {
        item: amount - max(0.0, stock[item]) for item, amount in pour.takes.items() if isfinite(stock[item])
    }
    pour.short = {item: amount for item, amount in lacks.items() if amount > 0}
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
    """Outlooks at the span's start, resting on what was fished `before`, and what came, by build.

    `hours` are bait-hours, `ended` baits; `level` is the service level.
    """

    outlooks: Sequence[Outlook]
    before: Fished
    level: float
    hours: Mapping[str, float]
    ended: Mapping[str, int]

    @property
    def thin(self) -> bool:
        """Whether too few baits had ended before the span to foresee any loss."""
        return too_few(sum(self.before.ended.values()), self.before.days)

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
        return sum(replace(each, hours=self.hours[each.build.name]).expected for each in self.outlooks)

    @property
    def beyond(self) -> list[str]:
        """Builds that lost more baits than a stock at the service level would have covered."""
        return [o.build.name for o in self.outlooks if self.ended[o.build.name] > o.at(self.level)]


def look_back(season: Season, span: Span) -> LookBack:
    """What was to be expected at the start of the span, and what happened."""
    outlooks, before = look_ahead(season, span.start)
    found = fished_between(season, span.start, span.end)
    level = service_level(season.bench)
    return LookBack(outlooks=outlooks, before=before, level=level, hours=found.hours, ended=found.ended)
