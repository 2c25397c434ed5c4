"""What the baits catch: fish per hour in use, by build, water, habitat and coat, and which differences hold.

Two grub heads and a guard jig go out on one trip; the perch take the grub, and nothing takes the other:

    date,trip,build,fished,fate,count          date,trip,species,build,count
    2026-05-09,1,perch-grub,1:30,kept,2        2026-05-09,1,yellow perch,perch-grub,3
    2026-05-09,1,pond-guard,2 h,kept,

Two grubs for 1:30 are 3 bait-hours, so perch-grub made 1 fish per hour and pond-guard 0 in 2 h; together
that is 3 fish in 5 h, 0.6 per hour. A rate is always all the fish over all the hours, never the mean of the
trips' rates. A trip is the day and its `trip`, or the day and its water where no trip is written. A trip
without a fish counts with its hours. A fish whose build has no hours on that trip is in no rate, and the
section says so.
"""

import math
from collections.abc import Iterable, Sequence
from datetime import date
from functools import cache
from typing import TYPE_CHECKING

from benchwater.ledger import computed_once, known, sum_in_order
from benchwater.ledger.log_columns import in_days
from benchwater.ledger.trips import ALL, TripBook, keep_trips
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
from benchwater.units import figures
from benchwater.words import counted

if TYPE_CHECKING:
    from .catch_rates import RateContrast
    from .ratio import RatioOfTotals

LEAST_TRIPS = 5
MOST_TOLD, MOST_COMPARED = 8, 12
CLEAR = 0.05
PER_HOUR = "fish/h"
FACTORS, COMPARED = (ALL, "build", "water", "habitat", "coat"), ("build", "water")
COLUMNS = ("factor", "group", "species", "effort_h", "fish", "rate", "low", "high")
CONTRASTS = ("factor", "group", "against", "ratio", "low", "high", "p", "p_adjusted")
UNITS = {"effort_h": "h", "fish": "pieces", "rate": PER_HOUR, "low": PER_HOUR, "high": PER_HOUR}
LABELS = {"effort_h": "Bait-hours", "p": "p", "p_adjusted": "p adjusted"}
DIGITS = {"effort_h": 1, "rate": 2, "ratio": 2, "low": 2, "high": 2}
UNSAID = (
    "Whether it was the bait: nobody drew lots for which was fished when. A better rate may also be the "
    "hour, the place or the hand that held the rod."
)
METHODS = (
    "Fish per bait-hour is the ratio of the totals, with trips as the sampling unit and trips without a fish "
    "counted: Cochran 1977, Sampling Techniques, chapter 6; Pollock, Jones & Brown 1994, Angler Survey "
    "Methods and Their Applications in Fisheries Management. Limits: delta method on the logarithm, "
    "jackknife over trips, Student's t, never narrower than exact Poisson limits (Garwood 1936).",
    "Two builds are compared on the trips that used both, by swapping them trip by trip; two waters by "
    "dealing the trips anew to them (permutation tests, Fisher 1935, The Design of Experiments; all ways "
    "where few, else 4999 draws from a fixed seed). Limits of a ratio are the ratios that this test does not "
    "refuse. p-values are adjusted for all comparisons of the section (Holm 1979).",
)


class Rates:
    """The rates of a book of trips, each worked out once."""

    def __init__(self, book: TripBook) -> None:
        """Of all that was fished."""
        self.book = book
        self.rate = cache(self._rate)
        self.groups = cache(self._groups)

    def _rate(self, factor: str, group: str, species: str = ALL) -> "RatioOfTotals":
        """Fish over hours, trip by trip."""
        from .ratio import ratio_of_totals

        trips = self.book.of(factor, group, species)
        return ratio_of_totals(trips.fish, trips.hours)

    def _groups(self, factor: str, most: int | None = None) -> list[str]:
        """The groups of a factor (the `most` ones fished longest), the highest rate first."""
        fished = {
            group: sum_in_order(self.book.of(factor, group).hours) for group in self.book.groups(factor)
        }
        kept = sorted(fished, key=lambda group: (-fished[group], group))[:most]
        return sorted(kept, key=lambda group: -self.rate(factor, group).ratio)


@computed_once
def _trips_in(season: Season, start: date, end: date) -> TripBook:
    span = Span(name="season", label="", start=start, end=end)
    return keep_trips(season.rows("fishing", span), season.rows("catch", span), season.bench)


def analyse(season: Season, span: Span) -> Section:
    """Rates by group, the differences between builds and between waters, and the best-supported of them."""
    from .catch_rates import contrast_rates

    catch = season.rows("catch", span)
    rates = Rates(_trips_in(season, span.start, span.end))
    if not len(rates.book.days):
        also = f" {int(catch['count'].sum())} fish were, and have no rate." if len(catch) else ""
        return Section.empty(f"No hours of fishing were logged in these days.{also}")
    trips = rates.rate(ALL, ALL).units
    thin = trips < LEAST_TRIPS
    compared = {
        factor: {group: rates.book.of(factor, group) for group in rates.groups(factor, MOST_COMPARED)}
        for factor in COMPARED
    }
    found = [] if thin else contrast_rates(compared, within=["build"])
    told = list(_findings(rates, season.bench))
    return Section(
        status="thin" if thin else "ok",
        why=f"{counted(trips, 'trip')}: fewer than {LEAST_TRIPS} say little of the next." if thin else "",
        unsaid="" if thin or not found else UNSAID,
        findings=(told[0], *([] if thin else _difference(found)), *told[1:]),
        tables=(_rate_table(rates), _contrast_table(found)),
        figures=_figures(rates),
        actions=_actions(found),
        methods=METHODS,
    )


def _findings(rates: Rates, bench: Bench) -> Iterable[Finding]:
    """All baits and the builds fished most on the page, every group in the JSON twin."""
    zero = f", {rates.book.zero_trips} of them without a fish" if rates.book.zero_trips else ""
    for factor in FACTORS:
        told = rates.groups(factor, MOST_TOLD) if factor in {ALL, "build"} else []
        for group in rates.groups(factor):
            rate = rates.rate(factor, group)
            low, high = _limits(rate)
            digits = _decimals(rate.ratio, low, high)
            shown, trips = bench.show(rate.ratio, PER_HOUR, digits), counted(rate.units, "trip")
            what = f"{int(rate.total_y)} in {bench.show(rate.total_x, 'h')} on {trips}"
            text = f"{group}: {shown} ({what})."
            if factor == ALL:
                text = f"All baits: {shown} in use, {what}{zero}."
            yield Finding(
                id="cpue",
                text=text,
                value=rate.ratio,
                low=low,
                high=high,
                unit=PER_HOUR,
                n=rate.units,
                group=group,
                more={"factor": factor, "fish": int(rate.total_y), "effort_h": rate.total_x},
                quiet=group not in told,
            )
    left = rates.book.without_hours
    if left:
        text = f"{left} fish are in no rate: the fishing log has no hours of their build on their trip."
        yield Finding(id="fish_without_hours", text=text, value=left, unit="pieces", n=left)


def _difference(found: "Sequence[RateContrast]") -> Iterable[Finding]:
    """The best-supported difference in words, or that none is supported."""
    if not found:
        text = "No two builds or waters have enough trips with a fish between them to be compared."
        yield Finding(id="difference", text=text)
        return
    best, made = found[0], counted(len(found), "comparison")
    held = sum(each.p_adjusted < CLEAR for each in found)
    p = "p < 0.001" if best.p_adjusted < 0.001 else f"p = {best.p_adjusted:.2g}"
    text = f"No difference between builds or between waters is supported ({made}; the clearest has {p})."
    if held:
        also = f" {held} of the {made} hold." if held > 1 else ""
        text = (
            f"Best supported: {_said(best)} Luck alone would seldom do that ({p}, adjusted for {made}).{also}"
        )
    yield Finding(
        id="difference",
        text=text,
        value=known(best.ratio),
        low=best.low,
        high=known(best.high),
        n=best.units,
        group=best.group,
        more={"factor": best.factor, "against": best.against, "p": best.p, "p_adjusted": best.p_adjusted},
    )


def _said(row: "RateContrast") -> str:
    where = "on the trips that used both, " if row.factor == "build" else ""
    if math.isinf(row.ratio):
        return f"{where}{row.group} caught fish and {row.against} none."
    return f"{where}{row.group} caught {row.ratio:.1f} times as many fish per hour as {row.against}."


def _actions(found: "Sequence[RateContrast]") -> tuple[Action, ...]:
    """Fish more of the build that others were shown to fall behind, and that itself fell behind none."""
    held = [each for each in found if each.factor == "build" and each.p_adjusted < CLEAR]
    beaten = {each.against for each in held}
    best = next((each for each in held if each.group not in beaten), None)
    if best is None:
        return ()
    because = _said(best)[0].upper() + _said(best)[1:]
    others = [each.against for each in held if each.group == best.group and each is not best]
    if others:
        because += f" It was ahead of others too: {', '.join(others)}."
    return (Action(id=f"fish-more-{best.group}", text=f"Fish {best.group} more.", because=because),)


def _rate_table(rates: Rates) -> Table:
    """Printed: all fish of every group, and each species over all baits. Species by build: JSON only."""
    keys = [(factor, group, ALL) for factor in FACTORS for group in rates.groups(factor)]
    keys += [(ALL, ALL, name) for name in rates.book.species]
    printed = len(keys)
    keys += [("build", build, name) for build in rates.groups("build") for name in rates.book.species]
    rows: list[tuple[Cell, ...]] = []
    for key in keys:
        rate = rates.rate(*key)
        rows.append((*key, rate.total_x, int(rate.total_y), rate.ratio, *_limits(rate)))
    note = "Low and high are 95 % limits; a dash is one that so few trips cannot give. "
    note += "Those of a single trip are of that trip alone. "
    note += "A bait with several habitat tags counts under each."
    return _table("cpue", "Fish per bait-hour", COLUMNS, rows, note, min(printed, 40))


def _contrast_table(found: "Sequence[RateContrast]") -> Table:
    rows = [(*row[:3], known(row.ratio), row.low, known(row.high), row.p, row.p_adjusted) for row in found]
    note = "Ratio of the rates; builds on the trips that used both. Left out are pairs with too few trips "
    note += f"to tell, and any beyond the {MOST_COMPARED} builds and waters fished most."
    return _table("contrasts", "Builds and waters compared", CONTRASTS, rows, note, 10)


def _table(
    id: str, title: str, names: Sequence[str], rows: Sequence[tuple[Cell, ...]], note: str, print_rows: int
) -> Table:
    units = UNITS if "rate" in names else {"p": "p", "p_adjusted": "p"}
    columns = [
        TableColumn(
            name=name,
            label=LABELS.get(name, name.capitalize()),
            unit=units.get(name),
            digits=DIGITS.get(name),
        )
        for name in names
    ]
    return Table(
        id=id, title=title, columns=tuple(columns), rows=tuple(rows), note=note, print_rows=print_rows
    )


def _figures(rates: Rates) -> tuple[Figure, ...]:
    """Builds, and habitats where any are logged, each with its interval."""
    drawn = [_figure(rates, "build", "cpue", "build")]
    if len(rates.groups("habitat")) > 1:
        drawn.append(_figure(rates, "habitat", "cpue:habitat", "habitat"))
    return tuple(drawn)


def _figure(rates: Rates, factor: str, id: str, word: str) -> Figure:
    from benchwater import plots

    builds = rates.groups(factor, MOST_COMPARED)
    each = [rates.rate(factor, build) for build in builds]
    widest = 2 * max(rate.ratio for rate in each) or max(rate.high for rate in each)
    values, lows = [rate.ratio for rate in each], [rate.low for rate in each]
    highs = [min(rate.high, widest) for rate in each]
    figure, axes = plots.new_figure(plots.HALF_MM, 13 + 4.6 * max(6, len(builds)))
    plots.interval_points(axes, range(len(builds)), values, lows, highs, horizontal=True)
    plots.named_rows(axes, builds)
    axes.set_xlim(-0.01 * max(highs), max(highs))
    axes.set_xlabel("fish per bait-hour")
    best, worst = (f"{builds[at]} {figures(each[at].ratio, significant=2)}" for at in (0, -1))
    alt = f"Fish per bait-hour of {counted(len(builds), word)} with 95 % intervals: highest {best}"
    alt += f", lowest {worst}." if len(builds) > 1 else "."
    return Figure(id=id, title=f"Fish per bait-hour by {word}", alt=alt, svg=plots.to_svg(figure))


def _decimals(ratio: float, low: float, high: float | None) -> int:
    """Decimals that the limits leave meaning: one figure of their width, two at least of the rate itself."""
    width = ratio if high is None else high - low
    of_width, of_rate = (-math.floor(math.log10(each)) if each > 0 else 0 for each in (width, ratio))
    return max(0, of_width, of_rate + 1)


def _limits(rate: "RatioOfTotals") -> tuple[float, float | None]:
    """The limits; a hundred times off from the rate they say nothing: 0, and none, stand in for them."""
    if rate.ratio == 0:
        return rate.low, rate.high
    low = rate.low if rate.low > rate.ratio / 100 else 0.0
    return low, rate.high if rate.high < 100 * rate.ratio else None


def vitals(season: Season, span: Span) -> tuple[Vital, ...]:
    """Fish per bait-hour, of the fish whose bait's hours are known."""
    book = _trips_in(season, min(season.start, span.start), season.end)
    if not len(book.days):
        return (
            Vital(
                id="fish_per_hour", label="fish per bait-hour", value=None, unit=PER_HOUR, better="up", n=0
            ),
        )
    trips = book.of(ALL, ALL)
    inside = in_days(book.days[trips.number], span.start, span.end)
    value = float(trips.fish[inside].sum()) / sum_in_order(trips.hours[inside]) if inside.any() else None
    return (
        Vital(
            id="fish_per_hour",
            label="fish per bait-hour",
            value=value,
            unit=PER_HOUR,
            better="up",
            n=int(inside.sum()),
        ),
    )


@hookimpl
def analyses() -> Iterable[Analysis]:
    """One analysis; the catch log may be empty, since a trip without a fish is a trip."""
    return [
        Analysis(
            id="catch_rate",
            title="Catch rate",
            question="What do my baits catch per hour, and does it matter which one I fish?",
            order=400,
            analyse=analyse,
            vitals=vitals,
            needs=("fishing",),
        )
    ]
