"""Recognises the log that a header belongs to, and the column that each heading names."""

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache, partial
from itertools import islice
from typing import NamedTuple

from benchwater.plugin.bench import Bench
from benchwater.plugin.logs import Column, LogKind
from benchwater.read.cells import MOST_SAMPLED, columns_of, could_be_of, hold_places, none_is_of, surely_of
from benchwater.read.outcome import DEEPEST_HEADER_ROW, MOST_COLUMNS, FileError
from benchwater.read.records import Body, Record, check_lines, plain_ends, read_body, records_and_ends
from benchwater.read.vocabulary import (
    ColumnNames,
    Guess,
    column_names,
    everyday_key,
    plain_heading,
    split_unit,
)
from benchwater.text import quoted
from benchwater.words import listed

SEPARATORS = (",", ";", "\t")
_SAMPLED_CHARACTERS = 100_000
_MOST_UNREAD = 8
_PLACE = {"mold", "cavity"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Heading:
    """One heading: its position, the declared column it names (if any), its own text, and its unit.

    `written` is the heading as in the file. `is_everyday` says that it is an everyday heading of the column.
    `may_be` names the columns that a heading without one is near to, or that its cells look like; `could_be`
    says that its cells could be of some column that is not there.
    """

    position: int
    column: Column | None
    text: str
    unit: str | None
    written: str
    is_everyday: bool = False
    may_be: tuple[str, ...] = ()
    could_be: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Header:
    """A recognised header, the text below it (lines end in `\\n`), and which line that begins on.

    `implied` names columns that are not there, the word that stands in every row, and what heading says so.
    """

    kind: LogKind
    headings: tuple[Heading, ...]
    separator: str
    below: str
    first_line: int
    implied: tuple[tuple[str, str, str], ...] = ()

    @property
    def date_position(self) -> int | None:
        return next((h.position for h in self.headings if h.column and h.column.kind == "date"), None)

    @property
    def key(self) -> object:
        """What two headers share by which the same cells are read as the same rows."""
        names = [(h.text, h.unit, h.column and h.column.name) for h in self.headings]
        return self.kind.name, self.separator, self.implied, tuple(names)

    @property
    def read_as(self) -> list[tuple[str, str]]:
        """The everyday headings, each with the name of its column."""
        return [(h.written, h.column.name) for h in self.headings if h.column is not None and h.is_everyday]

    def body(self) -> Body:
        """The records below the header. FileError beyond the bounds of an honest log."""
        return read_body(self.below, self.separator, len(self.headings), self.first_line)


def recognise(text: str, kinds: Sequence[LogKind], bench: Bench | None = None) -> Header:
    """Find the log kind of a text by its header, with any of the separators.

    Everyday headings count only where no header names its columns outright. What the cells below look like,
    at that bench, decides between columns that a heading may name. FileError where no log kind matches, or
    more than one does.
    """
    candidates: list[Header] = []
    checked: list[_Found] = []
    bench = bench or Bench(name="")
    kinds = [kind for kind in kinds if not kind.part_of]
    matcher = partial(_Matcher, bench=bench, kinds=kinds)
    least_named = min([2, *(len(kind.signature) for kind in kinds)])
    hint = re.match(r"sep=[,;\t][^\S\n]*(?:\n|\Z)", text, re.IGNORECASE)
    plain = plain_ends(text if hint is None else f"\n{text[hint.end() :]}")
    check_lines(plain)
    for separator in SEPARATORS:
        for record, end in islice(records_and_ends(plain, separator), DEEPEST_HEADER_ROW):
            if len(record.cells) < least_named:
                continue
            matches = [kind for kind in kinds if _names_outright(record.cells, column_names(kind))]
            found = _Found(record, separator, plain, end)
            if matches:
                candidates += [_header(matcher(kind, found)) for kind in matches]
                break
            if len(record.cells) <= MOST_COLUMNS and count_known(record.cells, kinds) >= least_named:
                checked.append(found)
    if not text or text.isspace():
        raise FileError("is empty")
    if not candidates:
        candidates = _by_everyday_headings([matcher(kind, found) for found in checked for kind in kinds])
    if len(candidates) > 1:
        names = listed(sorted({f"`{header.kind.name}`" for header in candidates}))
        raise FileError(f"could be more than one log ({names}): remove the columns that do not belong")
    if not candidates:
        raise _unknown_header([matcher(kind, found) for found in checked for kind in kinds], kinds)
    return candidates[0]


def count_known(cells: Iterable[str], kinds: Sequence[LogKind]) -> int:
    """How many cells of a record may be headings of any of the logs."""
    return _count_known(tuple(cells), tuple(map(column_names, kinds)))


@lru_cache(maxsize=200)
def _count_known(cells: tuple[str, ...], names: tuple[ColumnNames, ...]) -> int:
    return sum(any(each.may_name(cell) for each in names) for cell in cells)


@lru_cache(maxsize=2_000)
def _names_outright(cells: tuple[str, ...], names: ColumnNames) -> bool:
    return names.are_all_in({plain_heading(split_unit(cell)[0]) for cell in cells})


@lru_cache(maxsize=2_000)
def _outright(cells: tuple[str, ...], names: ColumnNames) -> tuple[Heading, ...]:
    """The headings, each with the column that it names outright, if any."""
    parts = [split_unit(cell) for cell in cells]
    return tuple(
        Heading(
            position=position,
            column=names.exact.get(plain_heading(name)),
            text=plain_heading(name),
            unit=unit,
            written=cell.strip(),
        )
        for position, (cell, (name, unit)) in enumerate(zip(cells, parts, strict=True))
    )


@dataclass(frozen=True, slots=True)
class _Found:
    """A record that may be a header, and the text that it stands in."""

    record: Record
    separator: str
    text: str
    end: int

    def below(self) -> Iterator[tuple[str, ...]]:
        """The cells of the records below, as far as is sampled."""
        text = self.text[self.end : self.end + _SAMPLED_CHARACTERS]
        return (record.cells for record, _ in records_and_ends(text, self.separator))


def _by_everyday_headings(matchers: "Sequence[_Matcher]") -> list[Header]:
    """The headers that are a log's once everyday headings are taken, the first record of each separator."""
    found: dict[str, list[_Matcher]] = {}
    for matcher in matchers:
        others = found.get(matcher.found.separator, [])
        if all(other.found.record == matcher.found.record for other in others) and matcher.is_complete():
            found.setdefault(matcher.found.separator, []).append(matcher)
    return [_header(matcher) for several in found.values() for matcher in several]


def _column_names(headings: Iterable[Heading]) -> set[str]:
    return {heading.column.name for heading in headings if heading.column is not None}


def _claims(guesses: Iterable[Guess]) -> Counter[str]:
    """How many headings can only be each column."""
    return Counter(next(iter(guess)) for guess in guesses if len(guess) == 1)


@dataclass
class _Matcher:
    """Matches the headings of one record with the columns of one log."""

    kind: LogKind
    found: _Found
    bench: Bench
    kinds: Sequence[LogKind]

    @property
    def _names(self) -> ColumnNames:
        return column_names(self.kind)

    @cached_property
    def _sample(self) -> list[tuple[str, ...]]:
        return list(islice(self.found.below(), MOST_SAMPLED))

    def _cells(self, heading: Heading) -> list[str]:
        at = heading.position
        return [cells[at].strip() for cells in self._sample if at < len(cells)]

    def is_complete(self) -> bool:
        """Whether every needed column is there; a mold and its cavity may share one."""
        names = _column_names(self.headings)
        missing = set(self.kind.signature) - names - {name for name, _, _ in self.implied()}
        if len(missing) == 1 and missing < _PLACE and _PLACE - missing <= names:
            held = next(each for each in self.headings if each.column and each.column.name in _PLACE)
            return hold_places(self._cells(held), self.bench)
        return not missing

    def implied(self) -> list[tuple[str, str, str]]:
        """Needed columns that are not there, the word that a heading says of every row, and the heading."""
        names = _column_names(self.headings)
        found = []
        for column in self.kind.columns:
            if not column.implied or column.name in names:
                continue
            says = {
                word: heading.written
                for word, phrases in column.implied
                for heading in self.headings
                for phrase in phrases
                if (
                    self.kind.column(phrase) is None and everyday_key(heading.written) == everyday_key(phrase)
                )
                or (
                    heading.column is not None
                    and heading.column.name == phrase
                    and any(self._cells(heading))
                    and all(self._cells(heading))
                )
            }
            if len(says) == 1:
                found.append((column.name, *next(iter(says.items()))))
        return found

    @cached_property
    def headings(self) -> tuple[Heading, ...]:
        """The headings: names of columns first, then everyday headings of the columns left over.

        An everyday heading, or one a slip away from it, is taken where it fits one column alone, or where its
        cells are of one of the columns it fits; and where no other heading fits that.
        """
        outright = _outright(self.found.record.cells, self._names)
        is_known = _names_outright(self.found.record.cells, self._names)
        headings = list(outright) if is_known else [self._as_needed(each, outright) for each in outright]
        if all(heading.column is not None or not heading.text for heading in headings):
            return tuple(headings)
        absent = {column.name for column in self.kind.columns} - _column_names(headings)
        for guess_at in (self._guesses, self._misspelt):
            open_now = [each for each in headings if each.column is None and each.text]
            guesses = {each.position: self._told_by_cells(each, guess_at(each), absent) for each in open_now}
            for _ in range(2):
                claims = _claims(guesses.values())
                sure = {name for name in absent if claims[name] == 1}
                guesses = {
                    at: self._told_by_cells(headings[at], guess, absent - sure) if len(guess) > 1 else guess
                    for at, guess in guesses.items()
                }
            claims = _claims(guesses.values())
            for at, guess in guesses.items():
                names = list(guess)
                if len(names) == 1 and claims[names[0]] == 1 and self._can_be(headings[at], names[0]):
                    headings[at] = replace(
                        headings[at],
                        column=self.kind.column(names[0]),
                        unit=guess[names[0]],
                        is_everyday=True,
                        may_be=(),
                    )
                elif names:
                    headings[at] = replace(headings[at], may_be=tuple(names))
            absent -= _column_names(headings)
        return tuple(headings)

    def headings_asked_about(self) -> tuple[Heading, ...]:
        """The headings; of those without a column, with what each or its cells may be meant for."""
        if all(each.column is not None or not each.text for each in self.headings):
            return self.headings
        absent = {column.name for column in self.kind.columns} - _column_names(self.headings)
        return tuple(
            each if each.column is not None or not each.text else self._asked_about(each, absent)
            for each in self.headings
        )

    def _guesses(self, heading: Heading) -> Guess:
        return self._names.guesses(heading.written)

    def _misspelt(self, heading: Heading) -> Guess:
        name = split_unit(heading.written)[0]
        is_known = heading.may_be or any(column_names(kind).has_phrase(name) for kind in self.kinds)
        return {} if is_known else self._names.misspelt(heading.written)

    def _as_needed(self, heading: Heading, headings: Sequence[Heading]) -> Heading:
        """The heading as a needed column not there yet, where it may name that and its cells are of it."""
        if heading.column is None or heading.column.name in self.kind.signature:
            return heading
        needed = set(self.kind.signature) - _column_names(headings)
        if not needed:
            return heading
        other = [
            column
            for name, (column, _) in self._names.of_phrase(heading.written).items()
            if name in needed and surely_of(self._cells(heading), [column], self.bench)
        ]
        return replace(heading, column=other[0], is_everyday=True) if len(other) == 1 else heading

    def _told_by_cells(self, heading: Heading, guess: Guess, absent: set[str]) -> Guess:
        """Of several columns, the one that the cells are of; else all that are not there yet."""
        left = {name: unit for name, unit in guess.items() if name in absent}
        if len(guess) > 1 and left:
            columns = [column for column in self.kind.columns if column.name in left]
            fitting = columns_of(self._cells(heading), columns, self.bench)
            if len(fitting) == 1:
                return {fitting[0].name: left[fitting[0].name]}
            only = columns[0]
            if (
                len(columns) == 1
                and (only.kind == "word" or only.refers_to)
                and not any(self._cells(heading))
            ):
                return left
            return guess
        return left

    def _can_be(self, heading: Heading, name: str) -> bool:
        column = self.kind.column(name)
        if column is None or name in self.kind.signature:
            return column is not None
        return not none_is_of(self._cells(heading), column, self.bench)

    def _asked_about(self, heading: Heading, absent: set[str]) -> Heading:
        """The heading, with the columns not there yet that it or its cells may be meant for."""
        names = [name for name in heading.may_be if name in absent]
        if not names:
            names = list(self._names.near_columns(heading.written, frozenset(absent)))
        columns = [column for column in self.kind.columns if column.name in absent]
        cells = self._cells(heading)
        if not any(cells):
            all_cells = (cells[heading.position : heading.position + 1] for cells in self.found.below())
            filled = (cell.strip() for one in all_cells for cell in one)
            cells = list(islice(filter(None, filled), MOST_SAMPLED))
        if not names:
            names = [column.name for column in surely_of(cells, columns, self.bench)]
        could_be = bool(names) or could_be_of(cells, columns, self.bench)
        return replace(heading, may_be=tuple(dict.fromkeys(names)), could_be=could_be)


def _header(matcher: _Matcher) -> Header:
    found = matcher.found
    if len(found.record.cells) > MOST_COLUMNS:
        raise FileError(f"has {len(found.record.cells)} columns (at most {MOST_COLUMNS})")
    taken: dict[str, int] = {}
    for heading in matcher.headings:
        if heading.column is None:
            continue
        if heading.column.name in taken:
            raise FileError(
                f"has two columns for `{heading.column.name}` (columns {taken[heading.column.name] + 1} "
                f"and {heading.position + 1}): keep one"
            )
        taken[heading.column.name] = heading.position
    return Header(
        kind=matcher.kind,
        headings=tuple(_told_apart(matcher.headings_asked_about())),
        separator=found.separator,
        below=found.text[found.end :],
        first_line=found.text.count("\n", 0, found.end) + 1,
        implied=tuple(matcher.implied()),
    )


def _told_apart(headings: Iterable[Heading]) -> Iterator[Heading]:
    """Add the number of its column to the second of two headings alike that name no column of the log."""
    seen: set[str] = set()
    for heading in headings:
        if heading.column is None and heading.text and heading.text in seen:
            number = f" (column {heading.position + 1})"
            yield replace(heading, text=heading.text + number, written=heading.written + number)
        else:
            yield heading
        seen.add(heading.text)


class _Likeness(NamedTuple):
    """The needed columns of a log that a header lacks, its headings not read, and what these may be."""

    kind: str
    missing: tuple[str, ...]
    unread: tuple[str, ...]
    asks: tuple[tuple[str, tuple[str, ...]], ...]


def _likeness(matcher: _Matcher) -> _Likeness:
    names = _column_names(matcher.headings)
    missing = tuple(name for name in matcher.kind.signature if name not in names)
    unread = [each for each in matcher.headings_asked_about() if each.column is None]
    asked = ((each.written, tuple(name for name in each.may_be if name in missing)) for each in unread)
    return _Likeness(
        matcher.kind.name,
        missing,
        tuple(each.written for each in unread if each.text),
        tuple((written, may_be) for written, may_be in asked if may_be),
    )


def _unknown_header(matchers: Sequence[_Matcher], kinds: Sequence[LogKind]) -> FileError:
    missing = [len(set(each.kind.signature) - _column_names(each.headings)) for each in matchers]
    ranks = [(left - len(each.kind.signature), left) for each, left in zip(matchers, missing, strict=True)]
    best = [each for each, rank in zip(matchers, ranks, strict=True) if rank == min(ranks)]
    named = -min(ranks)[0] if ranks else 0
    if named < 2:
        known = "; ".join(f"{kind.name}: {quoted(kind.signature)}" for kind in kinds)
        return FileError(f"has no header of a log: a log is known by its columns ({known})")
    first, *others = dict.fromkeys(map(_likeness, best))
    a = "an" if first.kind[0] in "aeiou" else "a"
    why = f"looks like {a} {first.kind} log, but its header has no column {quoted(first.missing)}"
    why += "".join(f" (or a {each.kind} log without {quoted(each.missing)})" for each in others)
    why += f"; not read: {quoted(first.unread, _MOST_UNREAD)}" if first.unread else ""
    for written, may_be in first.asks:
        names = " or ".join(f"`{name}`" for name in may_be)
        why += f'; is `{written}` {names}? Then put `"{written}" = "{may_be[0]}"` under [words.columns]'
    return FileError(why, first.asks)
