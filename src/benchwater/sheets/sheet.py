"""What is on a sheet, as plain data: pages of entries in the order of the CSV, lengths in mm."""

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """A box to tick in place of writing: what stands over it, and the cell of each column it stands for.

    `bold` says that the last line is told apart: the cavity of a mold, the unit of an item.
    """

    lines: tuple[str, ...]
    cells: tuple[str, ...]
    bold: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """A column of the CSV as it stands on the sheet, or a mold and the cavity behind it as one.

    `numbers` are the places of its columns in the CSV, from 1. `boxes` are to tick; `written` says that
    there is a place to write (besides boxes: what no box is for). `note` stands below the heading: the
    unit of a bare number, or what an empty cell means.
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
        """The names of its columns, underscores as spaces, as a heading of the CSV may have them too."""
        return ", ".join(name.replace("_", " ") for name in self.columns)


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """One page: complete in itself. `part` says which part of the bench or of the columns it is for."""

    number: int
    entries: tuple[Entry, ...]
    tick_mm: float
    part: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Caution:
    """A reminder on every sheet; `here` where it is about what this sheet is used for."""

    about: str
    what: str
    here: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """The blank sheet of one log.

    `once` are the entries written once for the page. `boxless` counts the names of the bench that
    have no box on any page, as there are too many: they are written out.
    """

    log: str
    title: str
    bench: str
    paper: Literal["letter", "a4"]
    once: tuple[Entry, ...]
    pages: tuple[Page, ...]
    columns: tuple[str, ...]
    legend: tuple[tuple[str, str], ...]
    cautions: tuple[Caution, ...]
    rows: int
    row_mm: float
    label_mm: float
    legend_mm: float
    boxless: int = 0
