"""What a trial says in words, and the table of its arms."""

from collections.abc import Iterator
from dataclasses import replace
from typing import NamedTuple

from benchwater.plugin import Action, Finding, Table
from benchwater.words import counted, make_columns, make_finding, make_table, times

from .compute import TOLD_APART, Arm, Trial

METHODS = (
    "Treatments are drawn by lot within blocks, the same lot for the same trial, block and arms (Fisher "
    "1935; Cox 1958; Rosenberger and Lachin 2016). Units are compared as drawn, even where a row says that "
    "they were fished or poured otherwise.",
    "The p-value is the share of lots of the same design that give at least as large a difference in events "
    "less those expected of each unit within its block; all lots where there are at most 5,000, else 4,999 "
    "drawn with a fixed seed. Limits of a ratio are those that this test does not reject at 5 %.",
    "What is still needed: Schoenfeld (1981), 80 % power at the 5 % level, what there is counted in.",
)
_CALLED = {
    "mold_temp": "the mold's warmth",
    "leader": "a leader",
    "build": "the build",
    "coat": "the coat",
}
MOST_DAYS = 100


class _Words(NamedTuple):
    """What a log's units are called: in sentences, and at the heads of the columns of the table."""

    subject: str
    done: str
    exposure: str
    heads: tuple[tuple[str, str] | tuple[str, str, str], ...]


_WORDS = {
    "fishing": _Words(
        subject="baits",
        done="ended",
        exposure="h of fishing",
        heads=(
            ("units", "Lines"),
            ("exposure", "h fished", "h"),
            ("events", "Ended"),
            ("rate", "Rate", "1/h"),
        ),
    ),
    "pour": _Words(
        subject="castings",
        done="went bad",
        exposure="castings",
        heads=(("units", "Fills"), ("exposure", "Castings"), ("events", "Bad"), ("rate", "Rate", "1")),
    ),
}


def findings(trial: Trial) -> Iterator[Finding]:
    """The comparison, and what would settle what is open."""
    _, done, of, _ = _WORDS[trial.log]
    told = "; ".join(f"{arm.name}: {arm.events:g} {done} in {arm.exposure:.3g} {of}" for arm in trial.arms)
    size = f"{counted(trial.blocks, 'block')} on {counted(trial.trips, 'day')}"
    found = make_finding(
        "difference",
        f"{_answer(trial)} {told[0].upper()}{told[1:]}. Lots were drawn for {size}: of all rows only such a "
        "trial's can show what causes what.",
        (trial.test.ratio, trial.test.low, trial.test.high),
        "1",
        n=int(trial.events),
        more={"p": trial.test.p, "exact": trial.test.exact, "trips": trial.trips},
    )
    yield replace(found, headline=True)
    if trial.still_needed and not trial.told:
        n, more_days = int(trial.events), {"days": trial.days_needed}
        yield make_finding("settled_by", _settled_text(trial), (trial.still_needed,), n=n, more=more_days)
    if trial.against_lot:
        yield make_finding(
            "against_lot",
            f"{counted(trial.against_lot, 'line')} not as the lot said: compared as the lot said.",
            (float(trial.against_lot),),
            "1",
            n=sum(arm.units for arm in trial.arms),
        )
    if trial.left_out:
        yield make_finding(
            "left_out",
            f"{counted(trial.left_out, 'line')} without block, arm or time is left out.",
            (float(trial.left_out),),
            "1",
        )


def actions(trial: Trial) -> Iterator[Action]:
    """Do what the trial showed, or go on until it can tell."""
    if trial.told:
        best = min(trial.arms, key=lambda arm: arm.rate)
        yield Action(
            id=f"do:{trial.name}",
            text=f"Choose {_with(trial, best)}: the trial drawn by lot says so.",
            because=_answer(trial),
            worth=trial.spared if trial.spared > 0 else None,
            worth_unit="baits" if trial.spared > 0 else None,
        )
    elif trial.still_needed and trial.days_needed <= MOST_DAYS:
        text = f"Go on with the trial of {trial.name.replace('_', ' ')}. {_settled_text(trial)}"
        yield Action(id=f"go_on:{trial.name}", text=text, because=_answer(trial))


def table(trial: Trial) -> Table:
    """One row an arm."""
    columns = make_columns(("arm", "Arm"), *_WORDS[trial.log].heads)
    rows = [(arm.name, arm.units, arm.exposure, arm.events, arm.rate) for arm in trial.arms]
    return make_table("arms", "The arms of the trial", " ".join(columns), rows, columns)


def _settled_text(trial: Trial) -> str:
    """What would tell one arm's rate from twice the other's."""
    more = f"{float(f'{trial.still_needed:.2g}'):,.0f} more {_WORDS[trial.log].exposure}"
    more += f" ({counted(trial.days_needed, 'day')} like these)"
    text = f"About {more} would tell {TOLD_APART:g} times as often from chance"
    return f"{text}{', too many to wait for' if trial.days_needed > MOST_DAYS else ''}."


def _answer(trial: Trial) -> str:
    if not trial.told:
        return f"The trial cannot tell yet whether {_called(trial)} matters."
    what, test = _called(trial), trial.test
    best, worst = (pick(trial.arms, key=lambda arm: arm.rate) for pick in (min, max))
    if len(trial.arms) > 2 or (test.ratio is None and best.events):
        return f"{what[0].upper()}{what[1:]} makes a difference, and {_with(trial, best)} does best."
    subject, done, *_ = _WORDS[trial.log]
    if test.ratio is None or not best.events:
        return f"With {_with(trial, worst)}, {subject} {done}; with {_with(trial, best)} none did."
    limits = (test.ratio, test.low, test.high)
    if trial.arms.index(best):  # the ratio is that of the second arm
        low, high = (1 / each if each else None for each in (test.high, test.low))
        limits = (1 / test.ratio, low, high)
    text = f"With {_with(trial, worst)}, {subject} {done} {times(*limits)} as often as with "
    return f"{text}{_with(trial, best)}."


def _called(trial: Trial) -> str:
    return _CALLED.get(trial.name, trial.name.replace("_", " "))


def _with(trial: Trial, arm: Arm) -> str:
    """An arm in words: `no leader`, `a mold at 300 F`, `coat pearl`."""
    if arm.name.casefold() in {"yes", "no"}:
        return f"{'a' if arm.name.casefold() == 'yes' else 'no'} {trial.name.replace('_', ' ')}"
    if trial.name == "mold_temp":
        return f"a mold at {arm.name}"
    return arm.name if trial.name == "build" else f"{trial.name.replace('_', ' ')} {arm.name}"
