"""Compose the blank sheet of a log from its columns and the bench: boxes, writing room, units."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from benchwater.plugin.bench import Bench
from benchwater.plugin.logs import Column, LogKind, Value
from benchwater.read.cells import documented_unit
from benchwater.sheets.layout import (
    LETTERS,
    TWO_LINE_LETTERS,
    Box,
    Caution,
    Entry,
    Sheet,
    cut,
    fit,
    heights,
    lines,
    short_names,
)
from benchwater.text import did_you_mean
from benchwater.units import is_quantity

_LONGEST_MEANING = 110
_BENCH = (
    ("Molten metal", "Nothing wet near the pot: water throws melt. Shield, gloves, shoes."),
    ("Lead", "Air it out. No food, smoke or children. Wash first; wipe wet."),
    ("Hot plastic", "Vent it. Smoke or browning: stop and leave. A splash burns."),
    ("Ovens", "Never for food again, nor the pans. No flame near powder."),
    ("Burns", "Cool running water, 10 to 20 minutes. If bad: a doctor."),
)
_WATER = (("On the water", "Life jacket on. Wash lead off your hands before you eat."),)
_OF_THE_WATER = frozenset({"water", "angler", "trip", "habitat", "fished"})

MOST_WORDS = 9
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


class UnknownLogError(ValueError):
    """No plugin declares the log that `--log` names."""


def choose_logs(kinds: Sequence[LogKind], names: Sequence[str]) -> tuple[LogKind, ...]:
    """Return the logs with these names; without names, all."""
    known = {kind.name: kind for kind in kinds if not kind.part_of}
    for name in names:
        if name not in known:
            hint = did_you_mean(name, known, f"there are: {', '.join(known)}")
            raise UnknownLogError(f"there is no log `{name}`{hint}")
    return tuple(kind for name, kind in known.items() if not names or name in names)


def sheet_of(kind: LogKind, bench: Bench) -> Sheet:
    """Return the blank sheet of a log."""
    kind = replace(kind, columns=tuple(each for each in kind.columns if each.on_sheets))
    pages, boxless = fit(tuple(_row_entries(kind, bench)), bench.paper)
    legend = _legend(kind)
    rows, row_mm, label_mm, legend_mm = heights(pages, legend, bench.paper)
    return Sheet(
        title=kind.title,
        bench=bench.name,
        paper=bench.paper,
        head_entries=tuple(
            _entry(column, number, kind, bench)
            for number, column in enumerate(kind.columns, 1)
            if _is_in_head(column, kind)
        ),
        pages=pages,
        legend=legend,
        cautions=_cautions(kind),
        rows=rows,
        row_mm=row_mm,
        label_mm=label_mm,
        legend_mm=legend_mm,
        boxless=boxless,
    )


def _legend(kind: LogKind) -> tuple[tuple[str, str], ...]:
    """Return every column with its meaning, and the allowed words where they have no boxes."""
    legend = []
    for column in kind.columns:
        meaning = column.meaning
        if column.kind == "word" and len(column.words) > MOST_WORDS:
            meaning += f" (one of: {', '.join(column.words)})"
        legend.append((column.name, cut(meaning, _LONGEST_MEANING)))
    return tuple(legend)


def _cautions(kind: LogKind) -> tuple[Caution, ...]:
    """Return all cautions; those of the water come first for a log kept on the water."""
    afloat = any(column.name in _OF_THE_WATER for column in kind.columns)
    bench = tuple(Caution(about=about, what=what, here=not afloat) for about, what in _BENCH)
    water = tuple(Caution(about=about, what=what, here=afloat) for about, what in _WATER)
    return water + bench if afloat else bench + water


def bare_unit(column: Column, kind: LogKind, bench: Bench) -> str:
    """Return the unit, as printed, in which a number without a unit is read."""
    if column.kind == "money":
        return bench.currency
    if not is_quantity(column.kind):
        return ""
    stated = bench.default_units.get(f"{kind.name}.{column.name}") or bench.default_units.get(column.name)
    unit = stated or documented_unit(column, bench) or ""
    return _PLAIN_UNITS.get(unit.casefold(), unit)


def _is_in_head(column: Column, kind: LogKind) -> bool:
    if column.name == "date":
        return kind.name not in DATED_BY_ROW
    return column.kind == "name" and column.refers_to is None and column.name in ONCE_A_PAGE


def _row_entries(kind: LogKind, bench: Bench) -> Iterator[Entry]:
    cavities = _cavity_boxes(bench)
    columns = iter(enumerate(kind.columns, 1))
    for number, column in columns:
        if _is_in_head(column, kind):
            continue
        following = kind.columns[number] if number < len(kind.columns) else None
        if cavities and column.refers_to == "mold" and following and following.refers_to == "cavity":
            next(columns)
            yield Entry(
                columns=(column.name, following.name),
                numbers=(number, number + 1),
                meaning="one tick says both",
                needed=column.needed or following.needed,
                boxes=cavities,
                prompt="other",
                write_mm=_OTHER_CAVITY_MM,
                refers=True,
            )
        else:
            yield _entry(column, number, kind, bench)


def _entry(column: Column, number: int, kind: LogKind, bench: Bench) -> Entry:
    boxes = _word_or_name_boxes(column, kind, bench)
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


def names_for(column: Column, kind: LogKind, bench: Bench) -> tuple[str, ...]:
    """Return the words and the names of the bench that a cell may hold, none where it is free.

    Of the items these are those that the log's check passes in an otherwise empty row; all if it passes none.
    """
    if column.kind == "yes_no":
        return ("yes", "no")
    if column.refers_to == "item":
        return tuple(name for name in bench.items if not _refused(name, column, kind, bench)) or (
            *bench.items,
        )
    if column.refers_to == "cavity":
        return tuple(dict.fromkeys(name for mold in bench.molds.values() for name in mold.cavities))
    if column.refers_to is not None:
        return tuple({"mold": bench.molds, "build": bench.builds}[column.refers_to])
    return column.words if column.kind == "word" else ()


def _word_or_name_boxes(column: Column, kind: LogKind, bench: Bench) -> tuple[Box, ...]:
    """Return a box for each word or name, none for more than `MOST_WORDS` words."""
    names = names_for(column, kind, bench)
    if column.refers_to is None and len(names) > MOST_WORDS:
        return ()
    if column.refers_to == "item" and any(each.kind == "amount" for each in kind.columns):
        return tuple(
            Box(lines=(shown, bench.items[name].print_unit), cells=(name,), bold=True)
            for name, shown in short_names(names, LETTERS).items()
        )
    short = short_names(names, TWO_LINE_LETTERS)
    return tuple(Box(lines=lines(shown), cells=(name,)) for name, shown in short.items())


def _cavity_boxes(bench: Bench) -> tuple[Box, ...]:
    """Return a box for each cavity of each mold: one tick fills both columns."""
    molds = short_names(tuple(bench.molds), LETTERS)
    return tuple(
        Box(lines=(molds[name], shown), cells=(name, cavity), bold=True)
        for name, mold in bench.molds.items()
        for cavity, shown in short_names(tuple(mold.cavities), LETTERS).items()
    )


def _refused(name: str, column: Column, kind: LogKind, bench: Bench) -> bool:
    if kind.check is None:
        return False
    row: dict[str, Value] = dict.fromkeys(kind.frame_columns)
    row[column.frame_name] = name
    try:
        return any(problem.column == column.name for problem in kind.check(row, bench))
    except Exception:
        return False
