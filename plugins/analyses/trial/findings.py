"""What a trial says in words."""

from collections.abc import Iterator

from benchwater.plugin import Action, Finding
from benchwater.units import figures
from benchwater.words import counted, make_finding, times

from .compute import TOLD_APART, Trial

METHODS = (
    "Treatments are drawn by lot within blocks, the same lot for the same trial, block and arms (Fisher "
    "1935; Cox 1958; Rosenberger and Lachin 2016). Units are compared as drawn, even where a row says that "
    "they were fished or poured otherwise.",
    "The p-value is the share of lots of the same design that give at least as large a difference in events "
    "less those expected of each unit within its block; all lots where there are at most 5,000, else 4,999 "
    "drawn with a fixed seed. Limits of a ratio are those that this test does not reject at 5 %.",
    "What is still needed: Schoenfeld (1981), for two arms of equal exposure, 80 % power at the 5 % level.",
)
_EVENT = {"fishing": ("ended", "h of fishing"), "pour": ("went bad", "castings")}


def findings(trial: Trial) -> Iterator[Finding]:
    """The comparison, and what would settle what is open."""
    done, of = _EVENT[trial.log]
    told = "; ".join(f"{arm.name}: {arm.events:g} {done} in {arm.exposure:.3g} {of}" for arm in trial.arms)
    size = f"{counted(trial.blocks, 'block')} on {counted(trial.trips, 'day')}, by lot"
    yield make_finding(
        "difference",
        f"{_answer(trial)} {told}. {size}.",
        (trial.test.ratio, trial.test.low, trial.test.high),
        "1",
        n=int(trial.events),
        more={"p": trial.test.p, "exact": trial.test.exact, "trips": trial.trips},
    )
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
    if trial.test.p < 0.05:
        best = min(trial.arms, key=lambda arm: arm.rate)
        yield Action(
            id=f"do:{trial.name}",
            text=f"Choose {trial.name} {best.name}: the trial shows that it makes the difference.",
            because=_answer(trial),
        )
    elif trial.still_needed:
        more = f"{figures(trial.still_needed, significant=2)} more {_EVENT[trial.log][1]}"
        yield Action(
            id=f"go_on:{trial.name}",
            text=f"Go on with the trial of {trial.name}: about {more} would tell {TOLD_APART:g} times apart.",
            because=_answer(trial),
        )


def _answer(trial: Trial) -> str:
    done, _ = _EVENT[trial.log]
    if trial.test.p >= 0.05:
        return f"The trial cannot tell yet whether {trial.name} matters."
    if trial.test.ratio is None:
        return f"{trial.name.capitalize()} makes a difference."
    first, second = trial.arms
    how_often = times(trial.test.ratio, trial.test.low, trial.test.high)
    subject = "baits" if trial.log == "fishing" else "castings"
    return f"With {trial.name} {second.name}, {subject} {done} {how_often} as often as with {first.name}."
