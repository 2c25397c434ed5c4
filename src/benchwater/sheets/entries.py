"""The columns of a log as entries of its sheet: what is ticked, what is written, and in which unit."""

from collections.abc import Iterator, Mapping

from benchwater.plugin.bench import Bench
from benchwater.plugin.logs import Column, LogKind
from benchwater.read.cells import documented_unit
from benchwater.sheets.boxes import cavity_boxes, name_boxes, word_boxes
from benchwater.sheets.sheet import Entry
from benchwater.units import is_quantity

ONCE_A_PAGE = frozenset({"session", "trip", "water", "angler"})
DATED_BY_ROW = frozenset({"inventory"})

_WRITE_MM: Mapping[str, float] = {
    "date": 25,
    "text": 30,
    "word": 26,
    "name": 20,
    "tags": 23,
    "count": 14,
    "number": 15,
    "money": 17,
    "amount": 22,
    "spread": 19,
    "temperature": 15,
    "mass": 16,
    "duration": 16,
    "length": 15,
    "volume": 15,
}
_NAME_MM: Mapping[str, float] = {"mold": 27, "cavity": 17, "item": 30, "build": 32}
_WIDEST_WRITE_MM, _OTHER_CAVITY_MM = 17.0, 22.0
_PLAIN_UNITS = {"degf": "°F", "f": "°F", "°f": "°F", "degc": "°C", "c": "°C", "°c": "°C"}
_DATES = {"iso": "year-month-day", "day first": "day/month/year", "month first": "month/day/year"}
_LETTER_MM = 1.65


def entries_of(kind: LogKind, bench: Bench) -> tuple[tuple[Entry, ...], tuple[Entry, ...]]:
    """What is written once for the page, and what in every row; both in the order of the CSV."""
    once = tuple(
        _entry(column, number, kind, bench)
        for number, column in enumerate(kind.columns, 1)
        if _is_once(column, kind)
    )
    return once, tuple(_row_entries(kind, bench))


def bare_unit(column: Column, kind: LogKind, bench: Bench) -> str:
    """The unit a bare number of this column is read in, as it is printed."""
    if column.kind == "money":
        return bench.currency
    if not is_quantity(column.kind):
        return ""
    stated = bench.default_units.get(f"{kind.name}.{column.name}") or bench.default_units.get(column.name)
    unit = stated or documented_unit(column, bench) or ""
    return _PLAIN_UNITS.get(unit.casefold(), unit)


def _is_once(column: Column, kind: LogKind) -> bool:
    if column.name == "date":
        return kind.name not in DATED_BY_ROW
    return column.kind == "name" and column.refers_to is None and column.name in ONCE_A_PAGE


def _row_entries(kind: LogKind, bench: Bench) -> Iterator[Entry]:
    together = False
    for place, column in enumerate(kind.columns):
        if together:
            together = False
            continue
        if _is_once(column, kind):
            continue
        following = kind.columns[place + 1] if place + 1 < len(kind.columns) else None
        if column.refers_to == "mold" and following is not None and following.refers_to == "cavity":
            boxes = cavity_boxes(bench)
            together = bool(boxes)
            if together:
                yield Entry(
                    columns=(column.name, following.name),
                    numbers=(place + 1, place + 2),
                    meaning="one tick says both",
                    needed=column.needed or following.needed,
                    boxes=boxes,
                    prompt="other",
                    write_mm=_OTHER_CAVITY_MM,
                    refers=True,
                )
                continue
        yield _entry(column, place + 1, kind, bench)


def _entry(column: Column, number: int, kind: LogKind, bench: Bench) -> Entry:
    boxes = word_boxes(column) or name_boxes(column, kind, bench)
    refers = column.refers_to is not None
    others = refers or (column.kind == "yes_no" and "*" in column.words)
    return Entry(
        columns=(column.name,),
        numbers=(number,),
        meaning=column.meaning,
        needed=column.needed,
        note=_note(column, kind, bench),
        boxes=boxes,
        written=others or not boxes,
        prompt=("other" if refers else "which") if boxes and others else "",
        write_mm=_write_mm(column, boxed=bool(boxes)),
        stretches=column.kind == "text",
        refers=refers,
    )


def _write_mm(column: Column, *, boxed: bool) -> float:
    usual = _NAME_MM.get(column.refers_to or "", _WRITE_MM.get(column.kind, 20))
    if boxed:
        return min(usual, _WIDEST_WRITE_MM)
    longest = max(len(word) for word in column.name.replace("_", " ").split() or [""])
    return max(usual, min(longest * _LETTER_MM + 4, 30.0))


def _note(column: Column, kind: LogKind, bench: Bench) -> str:
    if column.kind == "date":
        return _DATES[bench.date_order]
    if column.kind == "amount":
        return "in the item's unit"
    if column.kind == "spread":
        return "same unit"
    if column.kind == "tags":
        return "apart by ;"
    unit = bare_unit(column, kind, bench)
    empty = f"empty: {column.default}" if column.default is not None else ""
    return ", ".join(part for part in (unit, empty) if part)
