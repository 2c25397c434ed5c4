"""What the seasons and the changes say in words: what differs, and what cannot be told."""

from collections.abc import Iterator, Sequence

from benchwater.plugin import Finding
from benchwater.words import MONTHS, make_finding, times

from .compute import ALL, ChangeEffect, Measure, SeasonComparison

METHODS = (
    "Each season is taken up to the same day of the year. Units are sessions of pouring and trips; the "
    "limits of a rate are those of a ratio of totals (jackknife, Student's t, not narrower than Poisson's), "
    "those of a ratio of two are recovered from them (Zou and Donner 2008), and its p-values are adjusted by "
    "Holm over all comparisons of the table.",
    "A dated change is judged by segmented quasi-Poisson regression over sessions or trips: a trend, and a "
    "step at the change (Wagner and others 2002). It cannot tell the change from anything else that day.",
)
LEVEL = 0.05
_DONE = {"bad castings": "castings went bad", "baits ended": "baits ended", "fish": "baits caught fish"}


def findings(seasons: Sequence[SeasonComparison], changes: Sequence[ChangeEffect]) -> Iterator[Finding]:
    """One finding for each comparison; those that tell nothing are quiet, unless none tells anything."""
    told = [each for each in seasons if each.p_adjusted is not None and each.p_adjusted < LEVEL]
    for each in seasons:
        yield _season(each, quiet=each not in told and not (each is seasons[0] and not told))
    for effect in changes:
        yield _change(effect)


def _season(each: SeasonComparison, *, quiet: bool) -> Finding:
    what = _what(each.now)
    if each.found is None:
        text = f"There is too little to compare how often {what} with {each.against}."
    elif each.p_adjusted is not None and each.p_adjusted < LEVEL:
        found = times(each.found.ratio, each.found.low, each.found.high)
        text = f"Up to this day, {what} {found} as often as in {each.against}."
    else:
        text = f"Up to this day, {what} about as often as in {each.against}, as far as these rows can tell."
    found_parts = (each.found.ratio, each.found.low, each.found.high) if each.found else None
    return make_finding(
        "season_ratio",
        text,
        found_parts,
        "1",
        n=int(each.now.units["events"].sum() + each.then.units["events"].sum()),
        group=each.against,
        more={"measure": each.now.name, "of": each.now.group, "p_adjusted": each.p_adjusted},
        quiet=quiet,
    )


def _change(effect: ChangeEffect) -> Finding:
    what, day = _what(effect.measure), f"{effect.on.day} {MONTHS[effect.on.month - 1]}"
    if effect.found is None:
        text = f"Too little lies before or after {day} to say what “{effect.what}” did to how often {what}."
    elif effect.found.p < LEVEL:
        found = times(effect.found.ratio, effect.found.low, effect.found.high)
        text = f"Since {day} ({effect.what}), {what} {found} as often as the trend before would give."
    else:
        text = f"Since {day} ({effect.what}), {what} no more and no less often than chance would have it."
    parts = (effect.found.ratio, effect.found.low, effect.found.high) if effect.found else None
    return make_finding(
        "change_ratio",
        text,
        parts,
        "1",
        n=int(effect.measure.units["events"].sum()),
        group=effect.what,
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
