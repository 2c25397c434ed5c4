"""A sheet as plain data, fitted to its paper: boxes, pages, widths of columns, number and height of rows."""

import math
import unicodedata
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from benchwater.words import shorten

Paper = Literal["letter", "a4"]
PAPER_MM = {"letter": (279.4, 215.9), "a4": (297.0, 210.0)}
SIDE_MM, TOP_MM, BOTTOM_MM = 9.0, 9.0, 8.0
NUMBER_MM = 7.0
TICK_MM, WIDEST_TICK_MM = 6.0, 8.0
LEAST_ROW_MM, HIGHEST_ROW_MM = 7.4, 9.5
HEAD_MM, STRIP_MM, HEADING_MM, GAPS_MM, FOOT_MM = 15.5, 10.2, 9.3, 6.0, 5.0
MOST_PAGES = 12

_TIGHT, _LEAST_WRITE_MM = 0.82, 13.0
_SNUG, _SNUG_WRITE_MM = 0.74, 12.0
_FEWEST_BOXES = 6
_WIDEST_NOTE_MM = 62.0
_LETTER_MM = 1.4
_LEAST_LABEL_MM, _MOST_LABEL_MM = 17.0, 48.0
_LEGEND_LINE_MM, _LEGEND_LETTER_MM = 2.95, 1.2
LETTERS = 22
_BREAKS = " -_/"
_NEAR_THE_MIDDLE = 4
TWO_LINE_LETTERS = 2 * (LETTERS - _NEAR_THE_MIDDLE)
"""The most letters of a name that `lines` fits on two lines."""
_WIDTHS = {"W": 2.2, "F": 2.2}


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

    def width(self, tick_mm: float) -> float:
        return len(self.boxes) * tick_mm + (self.write_mm if self.written else 0)


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
    paper: Paper
    head_entries: tuple[Entry, ...]
    pages: tuple[Page, ...]
    legend: tuple[tuple[str, str], ...]
    cautions: tuple[Caution, ...]
    rows: int
    row_mm: float
    label_mm: float
    legend_mm: float
    boxless: int = 0


def fit(entries: Sequence[Entry], paper: Paper) -> tuple[tuple[Page, ...], int]:
    """Return the pages, and how many names found no box on any of them.

    The entries are on as few pages as possible: at full width if they fit, else narrowed, else split.

    Optional columns lose their boxes first. Names too many for one page are split over several pages, each
    complete in itself; names beyond `MOST_PAGES` get no box and are written out.
    """
    room = paper_width(paper) - NUMBER_MM
    tight = [_narrowed(entry, _TIGHT, _LEAST_WRITE_MM) for entry in entries]
    snug = [_narrowed(entry, _SNUG, _SNUG_WRITE_MM) for entry in entries]
    spare = [_unboxed(entry) if entry.refers and not entry.needed else entry for entry in tight]
    for tried in (entries, tight, snug, spare):
        if _width(tried) <= room:
            return (_page(1, tried, room),), 0
    main = max(
        (entry for entry in spare if entry.refers and entry.boxes),
        key=lambda entry: len(entry.boxes),
        default=None,
    )
    if main is not None:
        alone = [_unboxed(each) if each.refers and each is not main else each for each in spare]
        for tried in (spare, alone):
            boxes = int((room - _width(tried) + len(main.boxes) * TICK_MM) / TICK_MM)
            if boxes >= _FEWEST_BOXES:
                return _split_boxes(tried, main, boxes, room)
    return tuple(_split_columns([_unboxed(each) if each.refers else each for each in tight], room)), 0


def heights(
    pages: Iterable[Page], legend: Iterable[tuple[str, str]], paper: Paper
) -> tuple[int, float, float, float]:
    """Return how many rows fit a page at `LEAST_ROW_MM` or more, and heights in mm.

    The heights are those of a row, of the labels above it and of the legend.
    """
    lines = [
        letters(line) for page in pages for entry in page.entries for box in entry.boxes for line in box.lines
    ]
    label_mm = max(_LEAST_LABEL_MM, min(max(lines, default=0.0) * _LETTER_MM + 2.5, _MOST_LABEL_MM))
    letters_in_legend = sum(len(name) + len(meaning) + 5 for name, meaning in legend)
    legend_mm = math.ceil(letters_in_legend * _LEGEND_LETTER_MM / paper_width(paper) + 0.4) * _LEGEND_LINE_MM
    fixed = TOP_MM + BOTTOM_MM + HEAD_MM + STRIP_MM + HEADING_MM + label_mm + legend_mm + GAPS_MM + FOOT_MM
    area = PAPER_MM[paper][1] - fixed
    rows = max(1, int(area / LEAST_ROW_MM))
    return rows, min(HIGHEST_ROW_MM, area / rows), label_mm, legend_mm


def paper_width(paper: Paper) -> float:
    """Return the width in mm between the margins of landscape paper."""
    return PAPER_MM[paper][0] - 2 * SIDE_MM


def _width(entries: Iterable[Entry]) -> float:
    return sum(entry.width(TICK_MM) for entry in entries)


def _narrowed(entry: Entry, share: float, least_mm: float) -> Entry:
    return replace(entry, write_mm=max(entry.write_mm * share, min(entry.write_mm, least_mm)))


def _unboxed(entry: Entry) -> Entry:
    if not entry.boxes:
        return entry
    more_mm = 8 if len(entry.columns) > 1 else 4
    return replace(entry, boxes=(), written=True, prompt="", write_mm=entry.write_mm + more_mm)


def _page(number: int, entries: Sequence[Entry], room: float, part: str = "") -> Page:
    """Return the page; spare width goes to boxes first, then to free text, then to every writing field."""
    ticks = sum(len(entry.boxes) for entry in entries)
    spare = max(0.0, room - _width(entries))
    tick_mm = min(WIDEST_TICK_MM, TICK_MM + spare / 2 / ticks) if ticks else TICK_MM
    spare -= (tick_mm - TICK_MM) * ticks
    texts = [entry for entry in entries if entry.stretches and entry.written]
    more = {id(entry): max(0.0, min(spare / len(texts), _WIDEST_NOTE_MM - entry.write_mm)) for entry in texts}
    spare -= sum(more.values())
    written = sum(entry.write_mm for entry in entries if entry.written)
    grown = tuple(
        replace(
            entry,
            write_mm=entry.write_mm
            + more.get(id(entry), 0.0)
            + (spare * entry.write_mm / written if entry.written and written else 0.0),
        )
        for entry in entries
    )
    return Page(number=number, entries=grown, tick_mm=tick_mm, part=part)


def _split_boxes(
    entries: Sequence[Entry], main: Entry, most: int, room: float
) -> tuple[tuple[Page, ...], int]:
    lots = _group_boxes(main.boxes, most)
    pages = []
    for number, lot in enumerate(lots[:MOST_PAGES], 1):
        first, last = cut(lot[0].lines[0], 18), cut(lot[-1].lines[0], 18)
        part = f"{first} to {last}" if first != last else first
        shown = [replace(each, boxes=tuple(lot)) if each is main else each for each in entries]
        pages.append(_page(number, shown, room, part))
    return tuple(pages), sum(len(lot) for lot in lots[MOST_PAGES:])


def _group_boxes(boxes: Sequence[Box], most: int) -> list[list[Box]]:
    """Split boxes by page; the boxes of one mold stay together where a page can hold them."""
    groups: list[list[Box]] = []
    for box in boxes:
        same = len(box.cells) > 1 and groups and groups[-1][0].cells[0] == box.cells[0]
        if same and len(groups[-1]) < most:
            groups[-1].append(box)
        else:
            groups.append([box])
    lots: list[list[Box]] = []
    for group in groups:
        if lots and len(lots[-1]) + len(group) <= most:
            lots[-1].extend(group)
        else:
            lots.append(list(group))
    return lots


def _split_columns(entries: Sequence[Entry], room: float) -> Iterable[Page]:
    """Yield pages that share the columns: the same rows go on from page to page."""
    lots: list[list[Entry]] = [[]]
    for entry in entries:
        fitting = entry if entry.width(TICK_MM) <= room else _unboxed(entry)
        if lots[-1] and _width([*lots[-1], fitting]) > room:
            lots.append([])
        lots[-1].append(fitting)
    for number, lot in enumerate(lots, 1):
        part = ""
        if len(lots) > 1:
            part = f"columns {lot[0].numbers[0]} to {lot[-1].numbers[-1]} of the same rows"
        yield _page(number, lot, room, part)


def short_names(names: Sequence[str], most: int) -> Mapping[str, str]:
    """Return each name in at most `most` letters: cut in one way that keeps all distinct, else numbered."""
    ways: tuple[Callable[[str, int], str], ...] = (cut, shorten, _end)
    for way in ways:
        short = {name: way(name, most) for name in names}
        if len(set(short.values())) == len(short):
            return short
    return {
        name: name if len(name) <= most else cut(f"{number}: {name}", most)
        for number, name in enumerate(dict.fromkeys(names), 1)
    }


def lines(name: str) -> tuple[str, ...]:
    """Return a short name as one line, or as two, broken between words if possible."""
    if len(name) <= LETTERS:
        return (name,)
    middle = len(name) // 2
    near = [
        place + 1
        for place, letter in enumerate(name)
        if letter in _BREAKS and abs(place + 1 - middle) <= _NEAR_THE_MIDDLE
    ]
    place = min(near, key=lambda each: abs(each - middle), default=middle)
    return name[:place].rstrip(), name[place:].lstrip()


def letters(text: str) -> float:
    """Return the width of a text in average letters: capitals are wider, ideographs twice as wide."""
    return sum(
        _WIDTHS.get(unicodedata.east_asian_width(each), 1.3 if each.isupper() else 1.0) for each in text
    )


def cut(text: str, most: int) -> str:
    """Return at most `most` letters, with an ellipsis for the middle."""
    if len(text) <= most:
        return text
    end = (most - 1) // 2
    return f"{text[: most - 1 - end]}…{text[len(text) - end :]}"


def _end(text: str, most: int) -> str:
    return text if len(text) <= most else f"…{text[len(text) - most + 1 :].lstrip()}"
