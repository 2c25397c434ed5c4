"""What the section says: findings, advice, the card of the season's best and the methods behind them."""

import math
from collections.abc import Iterable, Iterator
from dataclasses import replace
from datetime import date

from benchwater.ledger.log_rows import LeftOpen
from benchwater.ledger.trips import ALL, MoreFishing, hours_words, more_fishing
from benchwater.plugin import Action, Card, CardLine, Cell, Finding, Season, Span
from benchwater.units import figures
from benchwater.words import counted, day_words, known, make_finding

from .catch_rates import RateContrast
from .compute import FACTORS, LEAST_TRIPS, PER_HOUR, CatchRates, Rates, printable_limits

MOST_ON_PAGE, ADVISED = 8, 0.0097
WIDEST_TO_PRINT = 10.0
UNSAID = (
    "Whether it was the bait: nobody drew lots for which was fished when. A better rate may also be the "
    "hour, the place or the hand that held the rod."
)
METHODS = (
    "Fish per hour (each bait's hours counted) is the ratio of the totals, with trips as the sampling "
    "unit and trips without a fish counted: Cochran 1977, Sampling Techniques, chapter 6; Pollock, "
    "Jones & Brown 1994, Angler Survey Methods and Their Applications in Fisheries Management. Limits: "
    "delta method on the logarithm, jackknife over trips, Student's t, never narrower than exact "
    "Poisson limits (Garwood 1936).",
    "Two builds are compared on the trips that used both, by swapping them trip by trip; trips on which "
    "neither caught a fish say nothing and are left out. The ratio is the conditional maximum "
    "likelihood. Two waters are compared by dealing the trips anew to them (permutation tests, Fisher "
    "1935, The Design of Experiments; all ways where few, else 4999 draws from a fixed seed; two-sided "
    "by the size of the score). Limits of a ratio are the ratios that this test does not refuse. Pairs "
    "with too few trips to give p below 5 % whatever was caught are left out.",
    "p-values are adjusted for all comparisons of the section (Benjamini & Hochberg 1995, J. R. "
    "Statist. Soc. B 57:289-300); what is clear has limits for having been selected (Benjamini & "
    f"Yekutieli 2005, J. Amer. Statist. Assoc. 100:71-81). Advice needs an adjusted p below {ADVISED:g}, "
    "which gives 5 % over 12 monthly looks (Pocock 1977, Biometrika 64:191-199), and 95 % limits above 1 "
    "with trips split by angler, and by habitat, too. It is drawn from the season to date only.",
    "Hours that would settle two builds: Schoenfeld 1981 (Biometrika 68:316-319), twice the rate at the 5 % "
    "level with power 0.8, half of the hours each, less what the trips with both tell so far, times the "
    "scatter of trips (Pearson's chi-square over its degrees of freedom).",
    "A row without a count is one fish. A row of more than 100 fish, and 20 times the log's usual row, is "
    "asked about and is in no rate (common practice, no source).",
    "Where rows set aside could move the rate of all out of its interval, it is given from all of their "
    "hours and no fish to all of their fish and no hours (Horowitz & Manski 2000, J. Amer. Statist. Assoc. "
    "95:77-84); a number that is not known is the log's middle one, and a month has those without a date.",
)


def why_empty(season: Season, span: Span) -> str:
    """Why there is no rate at all."""
    if not season.holds("catch"):
        if refused := len(season.rows_set_aside("catch", span)):
            return (
                f"None of the fish logged could be read: {counted(refused, 'row is', 'rows are')} set aside."
            )
        return (
            "No fish log is kept. A row for each fish, or for several alike (day, species, bait), and this "
            "section says what each bait catches in an hour."
        )
    catch = season.rows("catch", span)
    also = f" {int(catch['count'].sum())} fish were, and have no rate." if len(catch) else ""
    return f"No hours of fishing were logged in these days.{also}"


def why_thin(found: CatchRates) -> str:
    """Why nothing can be concluded; empty where something can."""
    if (left := found.left_open) is not None:
        text = (
            f"{counted(left.rows, 'row')} set aside could put the rate anywhere from {_bounds(left)} fish an "
        )
        return text + f"hour, so no advice is drawn from it. To settle it, {left.settles}."
    few = f"Only {counted(found.trips, 'trip')}: it takes {LEAST_TRIPS} to say how the next may go."
    return few if found.thin else ""


def unsaid(found: CatchRates) -> str:
    """What a comparison of catch rates cannot tell, and what would; empty where there is none."""
    if not found.contrasts:
        return ""
    settles = _what_settles(found)
    return f"{UNSAID} {_settled_text(*settles)}" if settles else UNSAID


def findings(found: CatchRates, span: Span) -> Iterator[Finding]:
    """The rate of all baits, the best-supported difference, the rate of every group, and the best day."""
    rates = iter(_rates(found.rates, found.season))
    all_baits = next(rates)
    if (left := found.left_open) is not None:
        text = f"{all_baits.text[:-1]}; {_bounds(left)} an hour with what is set aside."
        bounds = {"bound_low": left.least, "bound_high": left.most}
        all_baits = replace(all_baits, text=text, more={**all_baits.more, **bounds})
    yield all_baits
    if not found.thin:
        yield from _difference(found)
        yield from _what_would_settle(found)
    yield from rates
    yield from _doubted(found)
    yield from _best_day(found, span)


def card(found: CatchRates, span: Span) -> Card | None:
    """The best day and the bait of the season; None without a fish."""
    fish, hours, day = _day_of_most_fish(found)
    if not fish:
        return None
    lines = [
        CardLine(
            label="Best day",
            text=f"{day_words(day, span.end)}: {fish} fish in {hours_words(hours)}",
            findings=("best_day",),
        )
    ]
    rates = {build: found.rates.rate("build", build) for build in found.rates.groups("build")}
    rates = {build: rate for build, rate in rates.items() if rate.units >= LEAST_TRIPS}
    if rates:
        build, rate = max(rates.items(), key=lambda each: each[1].ratio)
        text = f"{build}: {int(rate.total_y)} fish in {hours_words(rate.total_x)}"
        lines.append(CardLine(label="Bait of the season", text=text, findings=("cpue",)))
    return Card(id="best", title="The season's best", order=60, lines=tuple(lines))


def _day_of_most_fish(found: CatchRates) -> tuple[int, float, date]:
    days = found.rates.trips.of(ALL, ALL).groupby("day", as_index=False)[["fish", "hours"]].sum()
    fish = days["fish"].to_numpy()
    best = int(fish.argmax())
    return int(fish[best]), float(days["hours"].to_numpy()[best]), days["day"].dt.date.iloc[best]


def _best_day(found: CatchRates, span: Span) -> Iterable[Finding]:
    fish, hours, day = _day_of_most_fish(found)
    if fish:
        text = f"The best day was {day_words(day, span.end)}: {fish} fish in {hours_words(hours)}."
        more: dict[str, Cell] = {"day": day, "effort_h": hours}
        yield Finding(id="best_day", text=text, value=fish, unit="pieces", n=fish, more=more, quiet=True)


def _rates(rates: Rates, season: bool) -> Iterable[Finding]:
    """One finding a group; all but all baits and the season's builds fished most are quiet."""
    zero = f", {rates.trips.zero_trips} of them without a fish" if rates.trips.zero_trips else ""
    for factor in FACTORS:
        on_page = (
            rates.groups(factor, MOST_ON_PAGE) if factor == ALL or (season and factor == "build") else []
        )
        for group in rates.groups(factor):
            rate = rates.rate(factor, group)
            low, high = printable_limits(rate)
            what = f"{int(rate.total_y)} fish in {hours_words(rate.total_x)} on {counted(rate.units, 'trip')}"
            text = f"{group}: {what}{rate_text(rate.ratio, low, high)}."
            if factor == ALL:
                text = f"{what}{zero}{rate_text(rate.ratio, low, high)}."
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


def _bounds(left: LeftOpen) -> str:
    return f"{figures(left.least, significant=2)} to {figures(left.most, significant=2)}"


def rate_text(ratio: float, low: float, high: float | None) -> str:
    """`, 1.9 an hour (1.5 to 2.5)`; no rate where so few hours hardly tell."""
    if high is None or low == 0.0 or high > WIDEST_TO_PRINT * low:
        return f", at most {figures(high, significant=2)} an hour" if ratio == 0 and high else ""
    rate, *ends = (f"{each:.{_decimals(ratio, low, high)}f}" for each in (ratio, low, high))
    return f", {rate} an hour ({ends[0]} to {ends[1]})"


def _difference(found: CatchRates) -> Iterable[Finding]:
    """The best-supported difference in words, or that none is supported."""
    if not found.contrasts:
        text = "No two builds or waters have enough trips with a fish between them to be compared."
        yield Finding(id="difference", text=text, quiet=not found.season)
        return
    best, made = found.best or found.contrasts[0], counted(len(found.contrasts), "comparison")
    held = sum(each.clear for each in found.contrasts)
    text = f"No build and no water clearly caught more than another ({made})."
    if best.clear:
        text = contrast_text(best)
        if held > 1:
            text += f" {held} of {made} between builds and between waters are clear."
        if found.doubt:
            text += f" But for one {found.doubt} alone it may be chance, so it may be the {found.doubt}."
    more: dict[str, Cell] = {"factor": best.factor, "against": best.against, "p": best.p}
    more |= {"p_adjusted": best.p_adjusted, "confounded_by": found.doubt or None}
    value, low, high = known(best.ratio, best.adjusted_low, best.adjusted_high)
    yield Finding(
        id="difference",
        text=text,
        value=value,
        low=low,
        high=high,
        level=1 - best.alpha,
        n=best.units,
        group=best.group,
        more=more,
        quiet=bool(actions(found)) or not (found.season or best.clear),
    )


def _what_settles(found: CatchRates) -> tuple[RateContrast, MoreFishing] | None:
    """The open comparison of two builds nearest to an answer, with the fishing that would give it."""
    row = next((c for c in found.contrasts if c.factor == "build" and not c.clear), None)
    if row is None or not found.season:
        return None
    sides = [found.rates.trips.of("build", build).set_index("trip") for build in (row.group, row.against)]
    both = sides[0].index.intersection(sides[1].index)
    totals = [side.loc[both, ["fish", "hours"]] for side in sides]
    first, second = (float(total["hours"].sum()) for total in totals)
    more = more_fishing(totals[0] + totals[1], (first, second))
    return (row, more) if more else None


def _settled_text(row: RateContrast, more: MoreFishing) -> str:
    what, twice = f"{row.group} or {row.against}: {more.text}", "if one catches twice as much"
    if more.too_long:
        return f"{what} would tell, {twice}: too many to wait for."
    draw = f"Draw lots for it: `benchwater sheets --trial build --arms {row.group},{row.against}`."
    return f"{what}, half each, would tell, {twice}. {draw}"


def _what_would_settle(found: CatchRates) -> Iterable[Finding]:
    """What the open comparison of builds costs in hours of fishing."""
    if settles := _what_settles(found):
        row, more = settles
        text, n, of = _settled_text(row, more), row.units, {**more.numbers, "against": row.against}
        yield make_finding("settled_by", text, (more.hours,), "h", n=n, group=row.group, more=of, quiet=True)


def contrast_text(row: RateContrast) -> str:
    """Who caught more than whom, and how many times as much as far as the limits tell."""
    where = "On the trips that used both, " if row.factor == "build" else ""
    if math.isinf(row.ratio):
        return f"{where}{row.group} caught fish and {row.against} none."
    much, ends = "more fish per hour than", ""
    low, high = row.adjusted_low, row.adjusted_high
    if low > 0 and high <= WIDEST_TO_PRINT * low:
        ratio, least, most = (figures(each, significant=2) for each in (row.ratio, low, high))
        much = f"about {ratio} times as many fish per hour as"
        ends = f" (somewhere between {least} and {most})"
    elif low >= 1.2:
        much = f"at least {figures(low, significant=2)} times as many fish per hour as"
    return f"{where}{row.group} caught {much} {row.against}{ends}."


def _doubted(found: CatchRates) -> Iterable[Finding]:
    """Rows with more fish than can be believed."""
    for row in found.doubted.to_dict("records"):
        text = f"Look again at {row['file']} line {row['line']}: it says {row['count']} fish in one row. "
        text += "Until it is put right, they are in no rate."
        group = f"{row['file']} line {row['line']}"
        value = int(row["count"])
        yield Finding(id="odd_count", text=text, value=value, unit="pieces", group=group, headline=True)


def actions(found: CatchRates) -> tuple[Action, ...]:
    """Fish more of the build that others were shown to fall behind, and that itself fell behind none."""
    best = found.best
    if best is None or not found.season or found.doubt or best.p_adjusted >= ADVISED:
        return ()
    fish, hours = found.recent.get(best.group, (0, 0.0))
    others = [found.recent[build] for build in found.recent if build != best.group]
    holds = hours > max((each[1] for each in others), default=0.0)
    text = f"{'Keep fishing' if holds else 'Fish more of'} {best.group}: in {found.months} it caught "
    text += f"{fish} fish in {hours_words(hours)}, all other baits {sum(each[0] for each in others)} in "
    text += f"{hours_words(sum(each[1] for each in others))}."
    id = f"fish-more-{best.group}"
    return (Action(id=id, text=text, because=contrast_text(best), holds=holds),)


def _decimals(ratio: float, low: float, high: float | None) -> int:
    """Decimals that the limits leave meaning: one figure of their width, two at least of the rate itself."""
    width = ratio if high is None else high - low
    of_width, of_rate = (-math.floor(math.log10(each)) if each > 0 else 0 for each in (width, ratio))
    return max(0, of_width, of_rate + 1)
