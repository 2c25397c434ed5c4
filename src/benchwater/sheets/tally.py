"""Compose tally sheets: a mold's, where a line is a fill and a box a cavity, and a day's on the water."""

from dataclasses import dataclass

from benchwater.plugin.bench import Bench
from benchwater.plugin.logs import LogKind
from benchwater.sheets.compose import bare_unit

_SIDE_BY_SIDE = 6
_LINE_MM, _HEAD_MM = 6.6, 62.0
_HEIGHT_MM = {"letter": 279.4, "a4": 297.0}


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
    lines = int((_HEIGHT_MM[bench.paper] - _HEAD_MM) / _LINE_MM)
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
