"""How a sheet fits its paper: what has a box, on how many pages, how wide each column, how many rows."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from benchwater.sheets.labels import cut, letters
from benchwater.sheets.sheet import Box, Entry, Page

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


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitted:
    """The pages of a sheet, and how many names found no box on any of them."""

    pages: tuple[Page, ...]
    boxless: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Heights:
    """Rows to a page and heights in mm."""

    rows: int
    row_mm: float
    label_mm: float
    legend_mm: float


def fit(entries: Sequence[Entry], paper: Literal["letter", "a4"]) -> Fitted:
    """Entries on as few pages as they can be ticked on: roomy if it goes, else tight, else on several pages.

    Boxes of what need not be filled in give way first. Names that are too many for a page are dealt over
    several, each complete in itself; beyond `MOST_PAGES`, the rest is written out.
    """
    room = paper_width(paper) - NUMBER_MM
    tight = [_narrowed(entry, _TIGHT, _LEAST_WRITE_MM) for entry in entries]
    snug = [_narrowed(entry, _SNUG, _SNUG_WRITE_MM) for entry in entries]
    spare = [_unboxed(entry) if entry.refers and not entry.needed else entry for entry in tight]
    for tried in (entries, tight, snug, spare):
        if _width(tried) <= room:
            return Fitted(pages=(_page(1, tried, room),))
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
                return _dealt(tried, main, boxes, room)
    return Fitted(
        pages=tuple(_side_by_side([_unboxed(each) if each.refers else each for each in tight], room))
    )


def heights(
    pages: Iterable[Page], legend: Iterable[tuple[str, str]], paper: Literal["letter", "a4"]
) -> Heights:
    """As many rows as a hand can write on: none lower than `LEAST_ROW_MM`."""
    lines = [
        letters(line) for page in pages for entry in page.entries for box in entry.boxes for line in box.lines
    ]
    label_mm = max(_LEAST_LABEL_MM, min(max(lines, default=0.0) * _LETTER_MM + 2.5, _MOST_LABEL_MM))
    told = sum(len(name) + len(meaning) + 5 for name, meaning in legend)
    legend_mm = math.ceil(told * _LEGEND_LETTER_MM / paper_width(paper) + 0.4) * _LEGEND_LINE_MM
    fixed = TOP_MM + BOTTOM_MM + HEAD_MM + STRIP_MM + HEADING_MM + label_mm + legend_mm + GAPS_MM + FOOT_MM
    area = PAPER_MM[paper][1] - fixed
    rows = max(1, int(area / LEAST_ROW_MM))
    return Heights(rows=rows, row_mm=min(HIGHEST_ROW_MM, area / rows), label_mm=label_mm, legend_mm=legend_mm)


def paper_width(paper: Literal["letter", "a4"]) -> float:
    """Between the margins of a sheet, which lies on its long side."""
    return PAPER_MM[paper][0] - 2 * SIDE_MM


def _width(entries: Iterable[Entry], tick_mm: float = TICK_MM) -> float:
    return sum(_entry_width(entry, tick_mm) for entry in entries)


def _entry_width(entry: Entry, tick_mm: float = TICK_MM) -> float:
    return len(entry.boxes) * tick_mm + (entry.write_mm if entry.written else 0)


def _narrowed(entry: Entry, share: float, least_mm: float) -> Entry:
    return replace(entry, write_mm=max(entry.write_mm * share, min(entry.write_mm, least_mm)))


def _unboxed(entry: Entry) -> Entry:
    if not entry.boxes:
        return entry
    return replace(
        entry,
        boxes=(),
        written=True,
        prompt="",
        write_mm=entry.write_mm + (8 if len(entry.columns) > 1 else 4),
    )


def _page(number: int, entries: Sequence[Entry], room: float, part: str = "") -> Page:
    """The page with what room is left over given to boxes, then to free text, then to all that is written."""
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


def _dealt(entries: Sequence[Entry], main: Entry, most: int, room: float) -> Fitted:
    lots = _lots(main.boxes, most)
    pages = []
    for number, lot in enumerate(lots[:MOST_PAGES], 1):
        first, last = cut(lot[0].lines[0], 18), cut(lot[-1].lines[0], 18)
        part = f"{first} to {last}" if first != last else first
        pages.append(
            _page(
                number,
                [replace(each, boxes=tuple(lot)) if each is main else each for each in entries],
                room,
                part,
            )
        )
    return Fitted(pages=tuple(pages), boxless=sum(len(lot) for lot in lots[MOST_PAGES:]))


def _lots(boxes: Sequence[Box], most: int) -> list[list[Box]]:
    """Boxes page by page; those of one mold stay together where a page can hold them."""
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


def _side_by_side(entries: Sequence[Entry], room: float) -> Iterable[Page]:
    """Columns too many for one page go on to the next, row by row under the same numbers."""
    lots: list[list[Entry]] = [[]]
    for entry in entries:
        fitting = entry if _entry_width(entry) <= room else _unboxed(entry)
        if lots[-1] and _width([*lots[-1], fitting]) > room:
            lots.append([])
        lots[-1].append(fitting)
    for number, lot in enumerate(lots, 1):
        part = ""
        if len(lots) > 1:
            part = f"columns {lot[0].numbers[0]} to {lot[-1].numbers[-1]} of the same rows"
        yield _page(number, lot, room, part)
