"""Compose sheets to write on by hand: a mold's tally, a day on the water, a trial drawn by lot."""

from collections.abc import Sequence
from dataclasses import dataclass

from benchwater.plugin.bench import Bench
from benchwater.plugin.logs import LogKind
from benchwater.sheets.compose import bare_unit
from benchwater.sheets.layout import PAPER_MM
from benchwater.statistics.randomisation import draw_block
from benchwater.text import csv_lines

_SIDE_BY_SIDE = 6
_LINE_MM, _HEAD_MM = 6.6, 62.0


@dataclass(frozen=True, slots=True, kw_only=True)
class MoldTally:
    """One page: `blocks` lie side by side, each with a line for each of its fills and a box for each place.

    `places` are the cavities of one fill, a cavity of which it makes two there twice.
    """

    mold: str
    places: tuple[str, ...]
    blocks: tuple[range, ...]
    temperature: str


@dataclass(frozen=True, slots=True, kw_only=True)
class TripSheet:
    """One page for a day: lines for baits, and for fish; the words of the log that a line can hold."""

    baits: int
    fish: int
    fates: tuple[str, ...]
    causes: tuple[str, ...]
    length: str


def mold_tallies(pour: LogKind, bench: Bench) -> tuple[MoldTally, ...]:
    """Return a sheet for each mold of the bench."""
    lines = int((PAPER_MM[bench.paper][0] - _HEAD_MM) / _LINE_MM)
    unit = next((bare_unit(each, pour, bench) for each in pour.columns if each.name == "mold_temp"), "")
    sheets = []
    for name, mold in bench.molds.items():
        places = tuple(cavity.name for cavity in mold.cavities.values() for _ in range(cavity.per_fill))
        blocks = 2 if len(places) <= _SIDE_BY_SIDE else 1
        fills = tuple(range(1 + lines * block, 1 + lines * (block + 1)) for block in range(blocks))
        sheets.append(MoldTally(mold=name, places=places, blocks=fills, temperature=unit))
    return tuple(sheets)


def trip_sheet(fishing: LogKind, catch: LogKind, bench: Bench) -> TripSheet:
    """Return the sheet of a day on the water."""
    words = {column.name: column.words for column in fishing.columns}
    unit = next((bare_unit(each, catch, bench) for each in catch.columns if each.name == "length"), "")
    return TripSheet(baits=18, fish=12, fates=words["fate"], causes=words["cause"], length=unit)


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
    rows: list[tuple[object, ...]] = [("date", "trial", "block", "slot", "arm", *trial.columns)]
    for block, arms in enumerate(trial.blocks, start=1):
        for place, arm in enumerate(arms, start=1):
            given = (arm if column == trial.name else "" for column in trial.columns)
            rows.append(("", trial.name, block, place, arm, *given))
    return csv_lines(rows, end="\r\n")
