"""What the seasons and the changes say in words: what differs, and what cannot be told."""

from collections.abc import Iterator, Sequence
from dataclasses import replace

from benchwater.plugin import Bench, Finding, Span
from benchwater.words import MONTHS, make_finding, times

from .compute import ALL, BAD, COST, ENDED, LEVEL, ChangeEffect, Measure, SeasonComparison
from .ratios import ratio_and_limits

METHODS = (
    "Each season is taken up to the same day of the year. Units are sessions of pouring and trips; the "
    "limits of a rate are those of a ratio of totals (jackknife, Student's t, not narrower than Poisson's), "
    "those of a ratio of two are recovered from them (Zou and Donner 2008), and its p-values are adjusted by "
    "Holm over all comparisons of one question.",
    "What a bait cost to make: as in “What each bait cost”, without its molds, by the castings, coats and "
    "prices of each season up to that day; its limits are widened by the design effect of the sessions.",
    "A dated change is judged by segmented quasi-Poisson regression over sessions or trips: a trend, and a "
    "step at the change (Wagner and others 2002), its p-values adjusted by Holm over all measures. It cannot "
    "tell the change from anything else that day.",
)
_DONE = {"bad castings": "castings went bad", "baits ended": "baits ended", "fish": "baits caught fish"}


def findings(
    seasons: Sequence[SeasonComparison], changes: Sequence[ChangeEffect], bench: Bench, span: Span
) -> Iterator[Finding]:
    """One finding for each comparison; those that tell nothing are quiet, unless none tells anything."""
    told = [each for each in seasons if each.told]
    first = (told or [each for each in seasons if each.found] or seasons)[:1]
    for each in seasons:
        finding = _season(each, bench)
        yield replace(finding, quiet=each not in told and each not in first, headline=each in first)
    for effect in changes:
        yield _change(effect)
    for change in bench.changes:
        if change.on == span.start and seasons:
            text = f"“{change.what}” came with the season: what differs from the one before may be its "
            text += "doing, or that of anything else that is new."
            yield Finding(id="change_with_season", text=text, group=change.what)


def _season(each: SeasonComparison, bench: Bench) -> Finding:
    now, then = each.now.found, each.then.found
    if each.found is None or now is None or then is None:
        text = f"There is too little to compare {each.now.name} ({each.now.group}) with {each.against}."
    else:
        own, other = (_shown(each.now, value.estimate, bench) for value in (now, then))
        text = f"{_said(each.now).format(own)} this season, against {other} by the same day of {each.against}"
        found = times(*ratio_and_limits(each.found))
        much = "as much" if each.now.name == COST else "as often"
        text += f": {found} {much}." if each.told else ". That may be chance."
    return make_finding(
        "season_ratio",
        text,
        ratio_and_limits(each.found),
        "1",
        n=each.now.n + each.then.n,
        group=f"{each.against}, {each.now.name}, {each.now.group}",
        more={"measure": each.now.name, "of": each.now.group, "p_adjusted": each.p_adjusted},
    )


def _said(measure: Measure) -> str:
    """What happened, with a place for the number."""
    if measure.name == BAD:
        return "{} of castings went bad"
    if measure.name == COST:
        return f"{measure.group} cost {{}} to make"
    if measure.name == ENDED:
        by = "" if measure.group == ALL else f" by {measure.group}"
        return f"A bait ended{by} every {{}} of fishing"
    return f"{'Baits' if measure.group == ALL else measure.group} caught {{}}"


def _shown(measure: Measure, value: float, bench: Bench) -> str:
    return bench.show(1 / value, "h") if measure.name == ENDED else bench.show(value, measure.unit)


def _change(effect: ChangeEffect) -> Finding:
    what, day = _what(effect.measure), f"{effect.on.day} {MONTHS[effect.on.month - 1]}"
    if effect.found is None:
        text = f"Too little lies before or after {day} to say what “{effect.what}” did to how often {what}."
    elif effect.found.p < LEVEL:
        found = times(*ratio_and_limits(effect.found))
        text = f"Since {day} ({effect.what}), {what} {found} as often as the trend before would give."
    else:
        text = f"Since {day} ({effect.what}): no clear change in how often {what}."
    return make_finding(
        "change_ratio",
        text,
        ratio_and_limits(effect.found),
        "1",
        n=effect.measure.n,
        group=f"{effect.what}, {effect.measure.name}, {effect.measure.group}",
        more={
            "measure": effect.measure.name,
            "of": effect.measure.group,
            "on": effect.on,
            "p": effect.found.p if effect.found else None,
        },
        quiet=effect.found is None,
    )


def _what(measure: Measure) -> str:
    done = _DONE[measure.name]
    if measure.group == ALL:
        return done
    return f"{done} by {measure.group}" if measure.name == "baits ended" else f"{measure.group} {done[6:]}"
