"""Turns other shapes of a log into rows: counts side by side, two people, bait and fish in one row.

Each shape is found by its headings, and only where no log's own headings are there. What is not clear is
asked about: a FileError says what would settle it.
"""

import re
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from benchwater.plugin.bench import Bench
from benchwater.plugin.logs import Column, LogKind, SideBySide
from benchwater.read.coded import Coded, concatenate, constant_column, group_rows
from benchwater.read.headers import Header, recognise
from benchwater.read.outcome import FileError, marks_totals
from benchwater.read.records import Body, Grid
from benchwater.read.tally import Coordinates, columns_named, place_named, tally_rows, texts_of_rows
from benchwater.read.vocabulary import column_names, everyday_key, plain_heading, split_unit
from benchwater.text import csv_lines, quoted
from benchwater.words import runs

_SAMPLED_ROWS = 200
_NOT_A_NUMBER = re.compile(r"[-–—.]?")
_DAY = re.compile(r"[0-9]{1,4}[-/.][0-9]{1,2}[-/.][0-9]{1,4}.*")
_MOSTLY = 0.6
_NUMBER = re.compile(r"[~≈]?\s*(?:[0-9½¼¾⅛⅜⅝⅞]|[.,][0-9])[^;]{0,24}")
_COUNTING = frozenset(
    "count number qty quantity how many casting piece bait jig head lure pcs pc no of # total".split()
)
_EMPTY = re.compile(r"[-–—]?")
_NOTHING = re.compile(r"0*(?:[.,]0*)?|[-–—]")


def header_of(grid: Grid, kinds: Sequence[LogKind], separator: str, bench: Bench | None) -> Header:
    """The header of a grid's headings. FileError where they are of no log, or of several."""
    columns = grid.body.columns[: len(grid.headings)]
    sampled = range(min(_SAMPLED_ROWS, len(grid.body.lines)))
    rows = ([column.value(row) for column in columns] for row in sampled)
    return recognise(csv_lines((grid.headings, *rows), separator=separator), kinds, bench)


def reshape(
    grid: Grid, kinds: Sequence[LogKind], bench: Bench | None, *, is_a_log: bool = False
) -> list[tuple[Grid, tuple[LogKind, ...]]]:
    """The grids of rows that a grid of another shape stands for, each with the logs it may be of.

    An empty list where it has none of the shapes. With `is_a_log`, its headings are those of one log: then it
    may only be one file for everything, or have good and bad ones for a count.
    """
    if by_kind := _by_kind(grid, kinds):
        return [part for made, of in by_kind for part in (of and reshape(made, of, bench)) or [(made, of)]]
    if not is_a_log and (baits_and_fish := _baits_with_fish(grid, kinds)):
        return baits_and_fish
    for kind in kinds:
        halves = _good_and_bad(grid, kind)
        if halves is not None:
            return [(halves, (kind,))]
    for kind in () if is_a_log else kinds:
        tally = tally_rows(grid, kind, bench)
        if tally is not None:
            return [(tally, (kind,))]
        for group in (_groups_of_people(grid, kind), _groups_of_words(grid, kind, bench)):
            if group is not None:
                whole = _is_log_as_it_stands(grid, kinds, bench, group)
                return [] if whole else [(_unpivot(grid, kind, group), (kind,))]
    return []


def _is_log_as_it_stands(grid: Grid, kinds: Sequence[LogKind], bench: Bench | None, group: "_Groups") -> bool:
    """Whether the headings are those of one log, those of the group each a column of it."""
    try:
        headings = header_of(grid, kinds, ",", bench).headings
    except FileError:
        return False
    return all(headings[at].column is not None for _, positions in group.of for at in positions)


def _good_and_bad(grid: Grid, kind: LogKind) -> Grid | None:
    """The grid with `count` for good ones beside rejects: their sum, where both are plain numbers."""
    named = {column.name: at for at, column in columns_named(grid, kind).items()}
    good = [at for at, text in enumerate(grid.headings) if everyday_key(text) in _GOOD]
    needed = {*kind.signature, "rejects"} - {"count"}
    if kind.column("count") is None or not needed <= named.keys() or "count" in named or len(good) != 1:
        return None
    columns, headings = list(grid.body.columns), list(grid.headings)
    one, other = columns[good[0]], columns[named["rejects"]]
    sums = [_sum(str(one.value(row)), str(other.value(row))) for row in range(len(one.codes))]
    columns[good[0]] = texts_of_rows(sums)
    said = f"{headings[good[0]].strip()} + {headings[named['rejects']].strip()}"
    headings[good[0]] = "count"
    return replace(
        grid,
        headings=tuple(headings),
        body=replace(grid.body, columns=tuple(columns)),
        read_as=(*grid.read_as, (said, "count")),
    )


def _sum(good: str, bad: str) -> str:
    """The sum of two whole numbers, an empty one counted as 0; as written where they are none."""
    if not (good or bad) or not all(text.isdecimal() for text in (good, bad) if text):
        return f"{good} + {bad}" if bad else good
    return str(int(good or 0) + int(bad or 0))


_GOOD = frozenset(map(everyday_key, ("good", "good ones", "ok", "fine", "came out good", "passed")))


@dataclass(slots=True)
class _Groups:
    """For each group of headings, what they say, and the column that each position stands for."""

    of: list[tuple[Coordinates, dict[int, str]]] = field(default_factory=list)
    read_as: list[tuple[str, str]] = field(default_factory=list)


def _holds_numbers(cells: Sequence[str]) -> bool:
    """Whether most of the cells that say anything begin with a number, and none is a day."""
    said = [cell.strip() for cell in cells if not _NOT_A_NUMBER.fullmatch(cell.strip())]
    numbers = [cell for cell in said if _NUMBER.fullmatch(cell) and not _DAY.fullmatch(cell)]
    return len(numbers) >= _MOSTLY * len(said)


def _groups_of_words(grid: Grid, kind: LogKind, bench: Bench | None) -> _Groups | None:
    """Headings that are words of a log, or cavities, over columns of numbers: `good, bad`, `1/8, 1/4`."""
    side = kind.side_by_side
    if side is None:
        return None
    word, number = kind.column(side.word), kind.column(side.number)
    assert word is not None
    assert number is not None
    places = any(column.refers_to == "cavity" for column in kind.columns)
    exact = column_names(kind).exact
    outright = {column.name for text in grid.headings if (column := exact.get(plain_heading(text)))}
    found: dict[int, Coordinates] = {}
    for position, heading in enumerate(grid.headings):
        text = heading.strip()
        if not text or plain_heading(split_unit(text)[0]) in exact:
            continue
        coordinates = _coordinates(
            split_unit(text)[0], word, side, places and "cavity" not in outright, bench
        )
        if coordinates:
            found[position] = coordinates
    words = {pair for coordinates in found.values() for pair in coordinates if pair[0] == word.name}
    cavities = {pair for coordinates in found.values() for pair in coordinates if pair[0] == "cavity"}
    in_words = [at for at in found if not _holds_numbers(grid.texts(at))]
    if len(found) - len(in_words) < 2:
        return None
    if in_words:
        names = quoted(grid.headings[at].strip() for at in in_words)
        raise FileError(f"has counts side by side, and words under {names}: write how many there")
    if (len(set(found.values())) < len(found) and not cavities) or (len(words) < 2 and len(cavities) < 2):
        return None
    if cavities and len({len(coordinates) for coordinates in found.values()}) > 1:
        found = {at: each for at, each in found.items() if any(name == "cavity" for name, _ in each)}
    has_words = all(any(name == word.name for name, _ in each) for each in found.values())
    if not has_words and word.name not in outright:
        first, *others = [grid.headings[at].strip() for at in found]
        raise FileError(
            f"has a column for each of {quoted([first, *others], 4)}, and does not say how the castings came "
            f"out: add a column `{word.name}`, or head the columns `{first} good`, `{first} bad`"
        )
    if has_words and word.name in outright:
        return None
    groups = _Groups()
    for position, coordinates in found.items():
        groups.of.append((coordinates, {position: number.name}))
        said = " ".join(value for _, value in coordinates)
        groups.read_as.append((grid.headings[position].strip(), f"{number.name} of {said}"))
    return groups


def _coordinates(text: str, word: Column, side: SideBySide, places: bool, bench: Bench | None) -> Coordinates:
    """What a heading says besides being a number: a word of a column, a mold's cavity, or both."""
    meant = _word(text, word, side)
    if meant is not None:
        return ((word.name, meant),)
    if not places:
        return ()
    parts = text.replace("_", " ").split()
    for cut in range(len(parts), 0, -1):
        for place_text, word_text in (
            (" ".join(parts[:cut]), " ".join(parts[cut:])),
            (" ".join(parts[len(parts) - cut :]), " ".join(parts[: len(parts) - cut])),
        ):
            place = place_named(place_text, bench)
            meant = _word(word_text, word, side) if word_text else None
            if place and (meant is not None or not word_text):
                return (*place, *(((word.name, meant),) if meant is not None else ()))
    return ()


def _word(text: str, column: Column, side: SideBySide) -> str | None:
    known: dict[str, set[str]] = defaultdict(set)
    for word, phrases in (*((word, ()) for word in column.words), *column.word_phrases, *side.headings):
        for phrase in (word, *phrases):
            known[everyday_key(phrase)].add(word)
    key = everyday_key(text)
    without = " ".join(part for part in key.split() if part not in _COUNTING)
    for each in (key, without):
        if len(meant := known.get(each, set())) == 1 and each:
            return next(iter(meant))
    return None


def _groups_of_people(grid: Grid, kind: LogKind) -> _Groups | None:
    """Headings that come twice, each time with another name: `Ansa hours, Ansa fate, Orrin hours, …`."""
    if not any(column.name == "angler" for column in kind.columns):
        return None
    names = column_names(kind)
    found: dict[str, dict[int, str]] = defaultdict(dict)
    for position, heading in enumerate(grid.headings):
        if (named := names.only_column(heading)) is not None:
            if named.name == "angler":
                return None
            continue
        for name, rest in _name_and_heading(heading):
            column = names.only_column(rest)
            if column is not None:
                found[name][position] = column.name
                break
    people = {name: columns for name, columns in found.items() if len(columns) >= 2}
    if len(people) < 2 or len({frozenset(columns.values()) for columns in people.values()}) != 1:
        return None
    if any(len(set(columns.values())) < len(columns) for columns in people.values()):
        return None
    groups = _Groups()
    for name, columns in people.items():
        groups.of.append(((("angler", name),), columns))
        groups.read_as += [
            (grid.headings[at].strip(), f"{column} of {name}") for at, column in columns.items()
        ]
    return groups


def _name_and_heading(heading: str) -> Iterator[tuple[str, str]]:
    """`Ansa hours`, `Ansa's hours`, `Ansa: hours`, `hours (Ansa)` and `hours Ansa` cut in two."""
    words = re.sub(r"['’]s\b|[():-]", " ", heading).split()
    for cut in range(1, len(words)):
        yield " ".join(words[:cut]), " ".join(words[cut:])
    for cut in range(1, len(words)):
        yield " ".join(words[cut:]), " ".join(words[:cut])


def _unpivot(grid: Grid, kind: LogKind, groups: _Groups) -> Grid:
    """One record for each group of columns of a record that holds anything, in order of lines."""
    body, side = grid.body, kind.side_by_side
    grouped = {position for _, columns in groups.of for position in columns}
    shared = [at for at, heading in enumerate(grid.headings) if at not in grouped and heading.strip()]
    said = list(dict.fromkeys(name for coordinates, _ in groups.of for name, _ in coordinates))
    targets = list(dict.fromkeys(name for _, columns in groups.of for name in columns.values()))
    units = {
        name: split_unit(grid.headings[at])[1] for _, columns in groups.of for at, name in columns.items()
    }
    held = [_held(body, columns, coordinates, side) for coordinates, columns in groups.of]
    totals = np.logical_or.reduce([body.columns[at].mask(marks_totals) for at in shared])
    held = [mask & ~totals for mask in held]
    nothing = ~np.logical_or.reduce(held)
    zeros = np.logical_or.reduce([body.columns[at].mask(_says_none) for at in grouped]) & nothing & ~totals
    nothing &= ~zeros
    held[0] = held[0] | nothing
    several = np.sum(held, axis=0) > 1
    order = np.argsort(np.concatenate([np.flatnonzero(mask) for mask in held]), kind="stable")
    headings = [*(grid.headings[at] for at in shared), *said]
    headings += [f"{name} [{unit}]" if (unit := units[name]) else name for name in targets]
    behind = len(body.columns) - len(grid.headings)
    columns: list[list[Coded]] = [[] for _ in range(len(headings) + behind)]
    for mask, (coordinates, members) in zip(held, groups.of, strict=True):
        rows, values = np.flatnonzero(mask), dict(coordinates)
        empty = constant_column(len(rows), "")
        for at, position in enumerate(shared):
            column = column_names(kind).only_column(grid.headings[position])
            own = body.columns[position].take(rows)
            if side is not None and column is not None and side.word in values:
                if values[side.word] not in dict(side.only).get(column.name, (values[side.word],)):
                    own = empty
                elif column.name in side.of_all:
                    own = own.replaced(several[rows], empty)
            columns[at].append(own)
        for at, name in enumerate(said, start=len(shared)):
            text = constant_column(len(rows), values.get(name, ""))
            columns[at].append(
                text.replaced(nothing[rows], empty) if side is not None and name == side.word else text
            )
        for at, name in enumerate(targets, start=len(shared) + len(said)):
            given = [body.columns[each].take(rows) for each, target in members.items() if target == name]
            columns[at].append(given[0] if given else empty)
        for at, extra in enumerate(body.columns[len(grid.headings) :], start=len(headings)):
            columns[at].append(extra.take(rows))
    lines = np.concatenate([body.lines[mask] for mask in held])[order]
    of_all = [
        (grid.headings[at].strip(), "not known where a line has castings of several outcomes")
        for at in shared
        if side is not None
        and (column := column_names(kind).only_column(grid.headings[at]))
        and column.name in side.of_all
        and (several & body.columns[at].mask(bool)).any()
    ]
    none = [(f"lines {runs(body.lines[zeros].tolist())}", "nothing but zeros: no row")] if zeros.any() else []
    return Grid(
        headings=tuple(headings),
        body=Body(
            lines=lines,
            columns=tuple(concatenate(parts).take(order) for parts in columns),
            irregular=body.irregular,
        ),
        read_as=(*grid.read_as, *groups.read_as, *of_all, *none),
    )


def _says_none(text: str) -> bool:
    return bool(_NOTHING.fullmatch(text.strip())) and not _EMPTY.fullmatch(text.strip())


def _held(
    body: Body, columns: Mapping[int, str], coordinates: Coordinates, side: SideBySide | None
) -> np.ndarray:
    """The records in which a group of columns holds anything; a 0 only where it says something."""
    keeps_zero = side is None or any(value in side.zero_counts for _, value in coordinates)
    nothing = _EMPTY if keeps_zero else _NOTHING
    masks = [~body.columns[at].mask(lambda text: bool(nothing.fullmatch(text.strip()))) for at in columns]
    return np.asarray(np.logical_or.reduce(masks))


def _called(kinds: Sequence[LogKind]) -> dict[str, list[LogKind]]:
    called: dict[str, list[LogKind]] = defaultdict(list)
    for kind in kinds:
        for phrase in {everyday_key(each) for each in (kind.name, kind.title, *kind.also_called)}:
            called[phrase].append(kind)
    return called


def names_logs(grid: Grid, kinds: Sequence[LogKind]) -> bool:
    """Whether a column holds words for logs alone."""
    called = _called(kinds)
    columns = (grid.texts(position) for position in grid.positions())
    return any(texts and all(everyday_key(text) in called for text in texts) for texts in columns)


def _by_kind(grid: Grid, kinds: Sequence[LogKind]) -> list[tuple[Grid, tuple[LogKind, ...]]]:
    """One file for everything, by a column whose words are kinds of log."""
    called = _called(kinds)
    for position in range(len(grid.headings)):
        texts = grid.texts(position)
        if len(texts) < 2 or not all(len(called.get(everyday_key(text), [])) == 1 for text in texts):
            continue
        of = {text: called[everyday_key(text)][0] for text in texts}
        if len({kind.name for kind in of.values()}) < 2:
            continue
        parts: list[tuple[Grid, tuple[LogKind, ...]]] = []
        for kind in dict.fromkeys(of[text] for text in sorted(texts, key=lambda each: kinds.index(of[each]))):
            own = [text for text in texts if of[text] is kind]
            rows = np.flatnonzero(grid.body.columns[position].mask(own.__contains__))
            filled = [
                at
                for at in range(len(grid.headings))
                if at != position and grid.body.columns[at].take(rows).mask(bool).any()
            ]
            part = grid.take(rows, filled)
            said = tuple((text, f"a row of the {kind.name} log") for text in own)
            parts.append((replace(part, read_as=(*grid.read_as, *said)), (kind,)))
        rest = np.flatnonzero(grid.body.columns[position].mask(lambda text: text == ""))
        if len(rest):
            lines = runs(grid.body.lines[rest].tolist())
            why = f"has nothing under `{grid.headings[position]}` on lines {lines}: which log are these of?"
            parts.append((replace(grid.take(rest, grid.positions()), problem=why), ()))
        return parts
    return []


def _baits_with_fish(grid: Grid, kinds: Sequence[LogKind]) -> list[tuple[Grid, tuple[LogKind, ...]]]:
    """Hours, fate and fish in one row of a bait: a row of each fishing log."""
    logs = {kind.name: kind for kind in kinds}
    if not {"fishing", "catch"} <= logs.keys():
        return []
    baits, fish = logs["fishing"], logs["catch"]
    bait_at, fish_at = columns_named(grid, baits), columns_named(grid, fish)
    if not set(baits.signature) <= {c.name for c in bait_at.values()} or "species" not in {
        c.name for c in fish_at.values()
    }:
        return []
    species = next(at for at, column in fish_at.items() if column.name == "species")
    of_fish = [
        at for at, text in enumerate(grid.headings) if everyday_key(text) in _FISH_COUNTS and at != species
    ]
    numbers = _holds_numbers(grid.texts(species))
    count_at = next((at for at, column in bait_at.items() if column.name == "count"), None)
    if not numbers and not of_fish and count_at is not None and set(grid.texts(count_at)) - {"1"}:
        heading = grid.headings[count_at].strip()
        raise FileError(f"has baits and fish in one row: is `{heading}` of baits or of fish? Head it so")
    ours = {c.name for c in baits.columns} - {c.name for c in fish.columns}
    theirs = {c.name for c in fish.columns} - {c.name for c in baits.columns}
    bait_only = [at for at, c in bait_at.items() if c.name in ours or c.name == "count"]
    fish_only = [at for at, c in fish_at.items() if c.name in theirs and at not in bait_only] + of_fish
    _refuse_repeated_baits(grid, [at for at in range(len(grid.headings)) if at not in fish_only], species)
    rows = np.arange(len(grid.body.lines))
    caught = np.flatnonzero(
        ~grid.body.columns[species].mask(lambda text: bool(_NOTHING.fullmatch(str(text).strip())))
    )
    bait_grid = grid.take(rows, [at for at in grid.positions() if at not in fish_only])
    fish_positions = [at for at in grid.positions() if at not in bait_only]
    fish_grid = grid.take(caught, fish_positions)
    headings, columns = list(fish_grid.headings), list(fish_grid.body.columns)
    said = [(grid.headings[species].strip(), "fish of the same row (a row of the catch log)")]
    for at in of_fish:
        headings[fish_positions.index(at)] = "count"
    if numbers:
        headings[fish_positions.index(species)] = "count"
        columns.insert(len(headings), constant_column(len(caught), "fish"))
        headings.append("species")
        said = [(grid.headings[species].strip(), "how many fish, species not written")]
    body = Body(lines=fish_grid.body.lines, columns=tuple(columns), irregular=grid.body.irregular)
    made = Grid(headings=tuple(headings), body=body, read_as=(*grid.read_as, *said))
    return [(bait_grid, (baits,)), (made, (fish,))]


_FISH_COUNTS = frozenset(
    everyday_key(text)
    for text in ("fish", "fish caught", "caught", "number of fish", "how many fish", "fish count")
)


def _refuse_repeated_baits(grid: Grid, bait_columns: Sequence[int], species: int) -> None:
    """FileError where two rows differ in their fish alone: one bait with two fish, or two baits?"""
    caught = grid.body.columns[species].mask(bool)
    baits = group_rows([grid.body.columns[at].take(caught) for at in bait_columns], int(caught.sum()))
    if len(baits.first) < len(baits.of_row):
        raise FileError(
            "has baits and fish in one row, and rows that differ in the fish alone: were these one bait or "
            "several? Give each bait a tag in a column `bait`, or keep fish in a log of their own"
        )
