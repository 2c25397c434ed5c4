"""A sheet as plain data: pages of entries in the order of the CSV, lengths in mm."""

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """A box to tick instead of writing: the lines above it, and the cell it fills in each column.

    `bold` sets the last line in bold: the cavity of a mold, the unit of an item.
    """

    lines: tuple[str, ...]
    cells: tuple[str, ...]
    bold: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """A column of the CSV on the sheet, or mold and cavity as one.

    `numbers` are the positions of its columns in the CSV, from 1. `written` adds a place to write, beside
    boxes for what has none. `note` is below the heading: the unit of a number without one, or what an
    empty cell means.
    """

    columns: tuple[str, ...]
    numbers: tuple[int, ...]
    meaning: str
    needed: bool
    note: str = ""
    boxes: tuple[Box, ...] = ()
    written: bool = True
    prompt: str = ""
    write_mm: float = 0.0
    stretches: bool = False
    refers: bool = False

    @property
    def heading(self) -> str:
        """Return the names of its columns, with spaces for underscores, which the CSV accepts too."""
        return ", ".join(name.replace("_", " ") for name in self.columns)


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """One page; `part` says which names or columns it covers where there are several."""

    number: int
    entries: tuple[Entry, ...]
    tick_mm: float
    part: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Caution:
    """A reminder on every sheet; `here` marks those of the place where this sheet is used."""

    about: str
    what: str
    here: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """The blank sheet of one log.

    `head_entries` are written once a page. `boxless` counts the names of the bench too many for a box: a
    maker writes these.
    """

    title: str
    bench: str
    paper: Literal["letter", "a4"]
    head_entries: tuple[Entry, ...]
    pages: tuple[Page, ...]
    legend: tuple[tuple[str, str], ...]
    cautions: tuple[Caution, ...]
    rows: int
    row_mm: float
    label_mm: float
    legend_mm: float
    boxless: int = 0
