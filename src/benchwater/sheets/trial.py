"""Compose the sheet of a trial: what each place of each block gets, drawn by lot."""

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass

from benchwater.statistics.randomisation import draw_block

POURED = "mold_temp"
_FISHED = ("build", "leader", "fished", "fate", "cause", "water", "angler", "note")
_POURED = ("mold", "cavity", "outcome", "count", "fill", "mold_temp", "flaw", "note")


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialSheet:
    """A trial: `blocks` holds the arm of each place of each block.

    `columns` are the columns of its log that are written by hand.
    """

    name: str
    arms: tuple[str, ...]
    blocks: tuple[tuple[str, ...], ...]
    columns: tuple[str, ...]


def trial_sheet_of(name: str, arms: Sequence[str], blocks: int, repeats: int) -> TrialSheet:
    """Return the sheet of a trial whose blocks give each arm `repeats` times.

    The same name, arms and size give the same lot. Raises ValueError where there are not two arms.
    """
    names = sorted({arm.strip() for arm in arms if arm.strip()})
    if len(names) < 2:
        raise ValueError("a trial compares at least two arms: name them with commas, such as `yes,no`")
    places = len(names) * repeats
    lots = [draw_block(name, block, len(names), places) for block in range(1, blocks + 1)]
    return TrialSheet(
        name=name,
        arms=tuple(names),
        blocks=tuple(tuple(names[kind] for kind in lot) for lot in lots),
        columns=_POURED if name == POURED else _FISHED,
    )


def trial_csv(trial: TrialSheet) -> str:
    """Return the log of a trial as CSV, a line for each place, with the lot filled in."""
    text = io.StringIO()
    lines = csv.writer(text, lineterminator="\r\n")
    lines.writerow(("date", "trial", "block", "slot", "arm", *trial.columns))
    for block, arms in enumerate(trial.blocks, start=1):
        for place, arm in enumerate(arms, start=1):
            given = [arm if column == trial.name else "" for column in trial.columns]
            lines.writerow(("", trial.name, block, place, arm, *given))
    return text.getvalue()
