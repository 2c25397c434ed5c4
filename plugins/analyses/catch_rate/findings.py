"""What the section says: findings, advice and the methods behind them."""

import math
from collections.abc import Iterable, Iterator, Sequence

from benchwater.ledger.trips import ALL
from benchwater.plugin import Action, Bench, Cell, Finding, Season, Span
from benchwater.words import counted, make_finding

from .catch_rates import RateContrast
from .compute import FACTORS, LEAST_TRIPS, PER_HOUR, CatchRates, Rates, printable_limits

MOST_ON_PAGE, CLEAR = 8, 0.05
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


def why_empty(season: Season, span: Span) -> str:
    """Why there is no rate at all."""
    catch = season.rows("catch", span)
    also = f" {int(catch['count'].sum())} fish were, and have no rate." if len(catch) else ""
    return f"No hours of fishing were logged in these days.{also}"


def why_thin(found: CatchRates) -> str:
    """Why nothing can be concluded; empty where something can."""
    few = f"{counted(found.trips, 'trip')}: fewer than {LEAST_TRIPS} say little of the next."
    return few if found.thin else ""


def unsaid(found: CatchRates) -> str:
    """What a comparison of catch rates cannot tell; empty where there is none."""
    return UNSAID if found.contrasts else ""


def findings(found: CatchRates, bench: Bench) -> Iterator[Finding]:
    """The rate of all baits, the best-supported difference, and the rate of every group."""
    rates = iter(_rates(found.rates, bench))
    yield next(rates)
    if not found.thin:
        yield from _difference(found.contrasts)
    yield from rates


def _rates(rates: Rates, bench: Bench) -> Iterable[Finding]:
    """One finding a group; all but all baits and the builds fished most are quiet."""
    zero = f", {rates.trips.zero_trips} of them without a fish" if rates.trips.zero_trips else ""
    for factor in FACTORS:
        on_page = rates.groups(factor, MOST_ON_PAGE) if factor in {ALL, "build"} else []
        for group in rates.groups(factor):
            rate = rates.rate(factor, group)
            low, high = printable_limits(rate)
            digits = _decimals(rate.ratio, low, high)
            shown, trips = bench.show(rate.ratio, PER_HOUR, digits), counted(rate.units, "trip")
            what = f"{int(rate.total_y)} in {bench.show(rate.total_x, 'h')} on {trips}"
            text = f"{group}: {shown} ({what})."
            if factor == ALL:
                text = f"All baits: {shown} in use, {what}{zero}."
            more: dict[str, Cell] = {"factor": factor, "fish": int(rate.total_y), "effort_h": rate.total_x}
            yield make_finding(
                *("cpue", text, (rate.ratio, low, high), PER_HOUR),
                n=rate.units,
                group=group,
                more=more,
                quiet=group not in on_page,
            )
    left = rates.trips.without_hours
    if left:
        text = f"{left} fish are in no rate: the fishing log has no hours of their build on their trip."
        yield Finding(id="fish_without_hours", text=text, value=left, unit="pieces", n=left)


def _difference(found: Sequence[RateContrast]) -> Iterable[Finding]:
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
        luck = f"Luck alone would seldom do that ({p}, adjusted for {made})."
        text = f"Best supported: {_contrast_text(best)} {luck}{also}"
    more: dict[str, Cell] = {"factor": best.factor, "against": best.against, "p": best.p}
    more["p_adjusted"] = best.p_adjusted
    ratio = best.ratio, best.low, best.high
    yield make_finding("difference", text, ratio, n=best.units, group=best.group, more=more)


def _contrast_text(row: RateContrast) -> str:
    where = "on the trips that used both, " if row.factor == "build" else ""
    if math.isinf(row.ratio):
        return f"{where}{row.group} caught fish and {row.against} none."
    return f"{where}{row.group} caught {row.ratio:.1f} times as many fish per hour as {row.against}."


def actions(found: Sequence[RateContrast]) -> tuple[Action, ...]:
    """Fish more of the build that others were shown to fall behind, and that itself fell behind none."""
    held = [each for each in found if each.factor == "build" and each.p_adjusted < CLEAR]
    beaten = {each.against for each in held}
    best = next((each for each in held if each.group not in beaten), None)
    if best is None:
        return ()
    because = _contrast_text(best)[0].upper() + _contrast_text(best)[1:]
    others = [each.against for each in held if each.group == best.group and each is not best]
    if others:
        because += f" It was ahead of others too: {', '.join(others)}."
    return (Action(id=f"fish-more-{best.group}", text=f"Fish {best.group} more.", because=because),)


def _decimals(ratio: float, low: float, high: float | None) -> int:
    """Decimals that the limits leave meaning: one figure of their width, two at least of the rate itself."""
    width = ratio if high is None else high - low
    of_width, of_rate = (-math.floor(math.log10(each)) if each > 0 else 0 for each in (width, ratio))
    return max(0, of_width, of_rate + 1)
