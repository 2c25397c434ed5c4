"""Turns a tally sheet into rows: a line is a fill, a column a cavity, and a mark how its casting came out."""

from collections import Counter
from dataclasses import dataclass, replace

import numpy as np

from benchwater.plugin.bench import Bench
from benchwater.plugin.logs import Column, LogKind
from benchwater.read.bench_file import size_in_ounces
from benchwater.read.cells import vocabulary
from benchwater.read.coded import Coded
from benchwater.read.records import Body, Grid
from benchwater.read.vocabulary import column_names, everyday_key, split_unit
from benchwater.words import runs

_MARKS = {
    **dict.fromkeys("|¦│/Il✓✔", "good"),
    **dict.fromkeys("xX×✗✘", "reject"),
    **dict.fromkeys("oO○◯∘", "blank"),
}
Coordinates = tuple[tuple[str, str], ...]
_EMPTY = frozenset({"", "-", "–", "—", "."})
_MOSTLY = 0.6


@dataclass(frozen=True, slots=True)
class _Casting:
    """A casting or several alike: the record, what its heading says, the outcome as written, how many."""

    row: int
    place: Coordinates
    outcome: str
    count: int


def place_named(text: str, bench: Bench | None) -> Coordinates:
    """The cavity that a heading names, with its mold if it says that; any size where there is no bench."""
    if bench is None:
        return (("cavity", text),) if size_in_ounces(text) is not None else ()
    key = everyday_key(text)
    pairs = [(mold.name, name) for mold in bench.molds.values() for name in mold.cavities]
    both = [pair for pair in pairs if sorted(everyday_key(" ".join(pair)).split()) == sorted(key.split())]
    if len(both) == 1:
        return (("mold", both[0][0]), ("cavity", both[0][1]))
    names = [name for _, name in pairs if everyday_key(name) == key]
    return (("cavity", names[0]),) if names else ()


def columns_named(grid: Grid, kind: LogKind) -> dict[int, Column]:
    """Return the column of a log that each heading names, by position."""
    named = map(column_names(kind).only_column, grid.headings)
    return {at: column for at, column in enumerate(named) if column is not None}


def tally_rows(grid: Grid, kind: LogKind, bench: Bench | None) -> Grid | None:
    """The grid of a row for each cavity, fill and outcome; None where this is no tally sheet.

    Two columns of one cavity are two castings. A box may hold several marks, or a word: an outcome or a flaw.
    A flaw behind the line is of its rejects.
    """
    side = kind.side_by_side
    if side is None or not any(column.refers_to == "cavity" for column in kind.columns):
        return None
    outcome = kind.column(side.word)
    assert outcome is not None
    of_headings = columns_named(grid, kind)
    places = {
        at: place
        for at, heading in enumerate(grid.headings)
        if heading.strip() and at not in of_headings
        if (place := place_named(split_unit(heading)[0], bench))
    }
    named = {column.name for column in of_headings.values()}
    if not places or outcome.name in named or "cavity" in named:
        return None
    cells = [text for at in places for text in grid.texts(at) if text not in _EMPTY]
    marked = sum(_marks(text) is not None or _is_word(text, outcome, kind) for text in cells)
    if not cells or marked < _MOSTLY * len(cells):
        return None
    castings = [
        _Casting(row, place, word, count)
        for row in range(len(grid.body.lines))
        for at, place in places.items()
        for word, count in _castings(str(grid.body.columns[at].value(row)), outcome)
    ]
    return _grid_of(grid, kind, castings, set(places))


def _marks(text: str) -> Counter[str] | None:
    """How many marks of each outcome a box holds, None where it holds anything else."""
    marks = text.split()
    found = Counter(_MARKS.get(mark, "") for mark in "".join(marks))
    return None if "" in found or not found else found


def _is_word(text: str, outcome: Column, kind: LogKind) -> bool:
    others = [other for _, (name, *_) in outcome.told_by if (other := kind.column(name))]
    return any(len(vocabulary(each).meanings(text, whole=True)) == 1 for each in (outcome, *others))


def _castings(text: str, outcome: Column) -> list[tuple[str, int]]:
    if text in _EMPTY:
        return []
    marks, meant = _marks(text), vocabulary(outcome).meanings(text, whole=True)
    if marks is not None:
        return list(marks.items())
    return [(next(iter(meant)) if len(meant) == 1 else text, 1)]


def _grid_of(grid: Grid, kind: LogKind, castings: list[_Casting], places: set[int]) -> Grid:
    side = kind.side_by_side
    assert side is not None
    with_castings = {casting.row for casting in castings}
    shared = [at for at in grid.positions() if at not in places and grid.headings[at].strip()]
    only = dict(side.only)
    of_line = {at: column for at, column in columns_named(grid, kind).items() if at in shared}
    told = [at for at, column in of_line.items() if column.name in only]
    beyond = [at for at, column in of_line.items() if not (column.needed or column.name in _OF_ANY_LINE)]
    idle = [
        row
        for row in range(len(grid.body.lines))
        if row not in with_castings and not any(grid.body.columns[at].value(row) for at in beyond)
    ]
    empty = [row for row in range(len(grid.body.lines)) if row not in with_castings and row not in set(idle)]
    found = sorted([*castings, *(_Casting(row, (), "", 1) for row in empty)], key=lambda each: each.row)
    rows = np.array([casting.row for casting in found], dtype=np.int64)
    part = grid.take(rows, shared)
    names = list(dict.fromkeys(name for casting in found for name, _ in casting.place))
    columns = list(part.body.columns[: len(shared)])
    spoilt = {casting.row for casting in found if casting.outcome not in _OUTCOMES - {"reject"}}
    for at in told:
        place, said_of = shared.index(at), set[int]()
        texts = []
        for number, casting in enumerate(found):
            is_of_it = casting.outcome in only[of_line[at].name] or casting.row not in spoilt | said_of
            texts.append(str(columns[place].value(number)) if is_of_it else "")
            said_of.add(casting.row)
        columns[place] = texts_of_rows(texts)
    columns += [texts_of_rows([dict(casting.place).get(name, "") for casting in found]) for name in names]
    columns += [
        texts_of_rows([each.outcome for each in found]),
        texts_of_rows([str(each.count) for each in found]),
    ]
    said = [(grid.headings[at].strip(), "the castings of that cavity, a mark each") for at in sorted(places)]
    if idle:
        lines = runs(grid.body.lines[idle].tolist())
        said.append((f"lines {lines}", "fills without a casting"))
    behind = part.body.columns[len(shared) :]
    return replace(
        part,
        headings=(*map(_with_name, part.headings), *names, side.word, side.number),
        body=Body(lines=part.body.lines, columns=(*columns, *behind), irregular=grid.body.irregular),
        read_as=(*grid.read_as, *dict.fromkeys(said)),
    )


def _with_name(heading: str) -> str:
    """The heading, with its name where it says the unit alone, as the printed sheet does."""
    return f"mold_temp [{heading.strip()}]" if heading.strip() in {"°F", "°C"} else heading


_OUTCOMES = frozenset(_MARKS.values())
_OF_ANY_LINE = frozenset({"fill", "session", "material"})


def texts_of_rows(values: list[str]) -> Coded:
    """Return a column of a text for each row."""
    return Coded(np.arange(len(values), dtype=np.int32), values)
