"""How long a bait lasts and what ends it, in sentences."""

from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING

from benchwater.ledger.bait_lives import untagged
from benchwater.plugin import Bench, Finding
from benchwater.units import figures
from benchwater.words import counted, in_brackets, known, make_finding

if TYPE_CHECKING:
    import pandas as pd

    from .followed_stretch import Lives

LEAST_BAITS, LEAST_AT_RISK = 10, 5


def main_cause(causes: dict[str, int], lives: "Lives", horizon: float, bench: Bench) -> Iterable[Finding]:
    """How many baits ended and of what, and the share the first cause takes."""
    if causes:
        main, share = next(iter(causes)), lives.incidence.at(horizon, 1)
        value, low, high = known(share.estimate, share.low, share.high)
        listed = ", ".join(f"{cause} {n}" for cause, n in causes.items())
        text = f"{counted(sum(causes.values()), 'bait')} ended: {listed}. The first cause, {main}, takes "
        text += f"{bench.show(value, '1')}{in_brackets(shown_in(bench, '1'), low, high)} of baits within "
        text += f"{bench.show(horizon, 'h')} in use."
        more = {"horizon_h": horizon}
        yield make_finding("main_cause", text, (value, low, high), "1", n=causes[main], group=main, more=more)


def loss_rate(rows: "pd.DataFrame", baits: int, bench: Bench) -> Finding:
    """Baits ended per bait-hour."""
    from benchwater.statistics.rates import poisson_rate

    ends, hours = int(rows["ended"].sum()), float(rows["hours"].sum())
    text = f"{ends} of {counted(baits, 'bait')} ended in {figures(hours)} bait-hours"
    limits: tuple[float, ...] = ()
    if hours > 0:
        rate = poisson_rate(ends, hours)
        limits = (rate.estimate, rate.low, rate.high)
        hourly, low, high = (figures(each, significant=2) for each in limits)
        hours_each = shown_in(bench, "h")
        text += f": {hourly} an hour ({low} to {high}), one in {hours_each(hours / ends)}" if ends else ""
        text += "" if ends else f": fewer than one in {hours_each(1 / rate.high)}"
    more = {"bait_hours": hours, "baits": baits}
    return make_finding("loss_rate", f"{text}.", limits, "1/h", n=ends, more=more)


def life_in_use(lives: "Lives", horizon: float, bench: Bench) -> Iterable[Finding]:
    """Median and restricted mean, where the curve starts among enough baits to mean something."""
    import numpy as np

    from .survival import median_survival, restricted_mean

    curve, until, show = lives.survival, bench.show(horizon, "h"), shown_in(bench, "h")
    ends = int(curve.n_event.sum())
    at_first = lives.records.at_risk(np.nextafter([curve.observed_from], np.inf))
    if max(*at_first, *curve.n_risk[:1], 0) < LEAST_AT_RISK or horizon <= 0:
        few = "Too few baits were followed from their first hours in use to say how long one lasts."
        yield make_finding("median_life", few, unit="h", n=ends)
        yield make_finding("mean_life", few, unit="h", n=ends)
        return
    since = curve.observed_from
    baits = f"baits that had lasted {bench.show(since, 'h')}" if since else "baits"
    median, mean = median_survival(curve), restricted_mean(curve, horizon)
    text = f"More than half of {baits} are still in use after {until}."
    if median.estimate is not None:
        limits = in_brackets(show, median.low, median.high)
        followed = int(curve.n_risk[curve.time == median.estimate][0])
        text = f"Half of {baits} have ended by {show(median.estimate)} in use{limits}"
        text += "." if followed >= LEAST_AT_RISK else f"; only {followed} were followed so far."
    yield make_finding("median_life", text, (median.estimate, median.low, median.high), "h", n=ends)
    low, high = known(mean.low, mean.high)
    served = show(mean.estimate) + in_brackets(show, low, high)
    text, more = f"Of the first {until}, {baits} serve {served} on average.", {"horizon_h": horizon}
    yield make_finding("mean_life", text, (mean.estimate, low, high), "h", n=ends, more=more)


def tagging(rows: "pd.DataFrame", baits: int) -> Iterable[Finding]:
    """How many baits bore no tag, and tags that went on after their bait was gone."""
    if loose := untagged(rows):
        yield make_finding("untagged", untagged_words(loose, baits), (loose,), n=baits, quiet=True)
    if tags := len(rows[rows["life"] > 0].drop_duplicates(["build", "bait"])):
        text = (
            f"{counted(tags, 'tag')} went on after the bait was lost or worn: taken as a new bait, old tag."
        )
        yield make_finding("tags_used_again", text, (tags,))


def untagged_words(loose: int, baits: int) -> str:
    """What cannot be known of baits without a tag."""
    text = f"{loose} of {counted(baits, 'bait')} bore no tag: each row of those is a stretch by itself, its "
    return f"{text}bait taken as new. Tag a bait, and its hours add up over trips."


def shown_in(bench: Bench, unit: str) -> Callable[[float], str]:
    """How the bench prints numbers of that unit; hours to a tenth, which is what a log of trips knows."""
    return lambda value: bench.show(value, unit, 1 if unit == "h" and value >= 1 else None)
