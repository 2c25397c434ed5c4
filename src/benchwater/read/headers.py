"""Recognises the log that a header belongs to, and the column that each heading names."""

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache, partial
from itertools import islice
from typing import TypeAlias

from benchwater.plugin.logs import Column, LogKind
from benchwater.read.body import Body, read_body
from benchwater.read.records import Record, check_lines, plain_ends, record_at, records_and_ends
from benchwater.read.refusals import DEEPEST_HEADER_ROW, MOST_COLUMNS, FileError
from benchwater.text import near_names, quoted
from benchwater.units import QuantityError, is_quantity, read_quantity
from benchwater.words import listed

SEPARATORS = (",", ";", "\t")
_NEAR = 0.8
_MOST_UNREAD = 8
_CHECKED = ("name", "word")
_SPELT = {"mould": "mold", "colour": "color", "grey": "gray", "#": "number", "nr": "number"}
_LITTLE_WORDS = frozenset({"the", "a", "an", "my", "our"})
_UNIT = re.compile(r"(?P<name>[^\[(]+)[\[(](?P<unit>[^\])]{1,20})[\])]\s*")


_Everyday: TypeAlias = Mapping[str, Mapping[str, tuple[Column, str | None]]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Heading:
    """One heading: its position, the declared column it names (if any), its own text, and its unit.

    `written` is the heading as in the file. `is_everyday` says that it is an everyday heading of the column.
    `may_be` names the columns that a heading without one is near to.
    """

    position: int
    column: Column | None
    text: str
    unit: str | None
    written: str
    is_everyday: bool = False
    may_be: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Header:
    """A recognised header, the text below it (lines end in `\\n`), and which line that begins on."""

    kind: LogKind
    headings: tuple[Heading, ...]
    separator: str
    below: str
    first_line: int

    @property
    def date_position(self) -> int | None:
        """The position of the date among the headings."""
        return next((h.position for h in self.headings if h.column and h.column.kind == "date"), None)

    def body(self) -> Body:
        """The records below the header. FileError beyond the bounds of an honest log."""
        return read_body(self.below, self.separator, len(self.headings), self.first_line)

    def records_on(self, lines: Iterable[int]) -> Iterator[Record]:
        """The records that start on these lines, each of which is the first of a record."""
        texts = self.below.split("\n")
        for line in lines:
            record, _ = record_at(partial(_at, texts), line - self.first_line, self.separator)
            yield record._replace(line=line)


def recognise(text: str, kinds: Sequence[LogKind]) -> Header:
    """Find the log kind of a text by its header, with any of the separators.

    Everyday headings count only where no header names its columns outright. FileError where no log kind
    matches, or more than one does.
    """
    candidates: list[Header] = []
    checked: list[tuple[str, Record, int]] = []
    known = {kind.name: _lookup(kind) for kind in kinds}
    plain = plain_ends(_without_hint(text))
    check_lines(plain)
    for separator in SEPARATORS:
        for record, end in islice(records_and_ends(plain, separator), DEEPEST_HEADER_ROW):
            headings = {plain_heading(split_unit(cell)[0]) for cell in record.cells}
            matches = [kind for kind in kinds if not _missing(kind, known[kind.name], headings)]
            if matches:
                candidates += [_header(kind, record.cells, separator, plain, end) for kind in matches]
                break
            if len(record.cells) <= MOST_COLUMNS:
                checked.append((separator, record, end))
    if not text or text.isspace():
        raise FileError("is empty")
    if not candidates:
        candidates = _by_everyday_headings(checked, kinds, plain)
    if len(candidates) > 1:
        names = listed(sorted({f"`{header.kind.name}`" for header in candidates}))
        raise FileError(f"could be more than one log ({names}): remove the columns that do not belong")
    if not candidates:
        likenesses = [_likeness(kind, record.cells) for _, record, _ in checked for kind in kinds]
        raise FileError(_unknown_header(likenesses, kinds))
    return candidates[0]


def _at(texts: Sequence[str], index: int) -> str | None:
    return texts[index] if 0 <= index < len(texts) else None


@lru_cache(maxsize=2_000)
def plain_heading(text: str) -> str:
    """A heading as it is compared: lower case, words joined by underscores."""
    return "_".join(re.sub(r"[\s_\-]+", " ", text).strip().casefold().split())


def split_unit(text: str) -> tuple[str, str | None]:
    """`mold_temp [F]` is `mold_temp` in `F`."""
    match = _UNIT.fullmatch(text.strip())
    return (match["name"].strip(), match["unit"].strip()) if match else (text.strip(), None)


def _without_hint(text: str) -> str:
    hint = re.match(r"sep=[,;\t][^\S\n]*(?:\n|\Z)", text, re.IGNORECASE)
    return text if hint is None else f"\n{text[hint.end() :]}"


def _lookup(kind: LogKind) -> Mapping[str, Column]:
    known: dict[str, Column] = {}
    for column in kind.columns:
        for name in (column.name, *column.also):
            known.setdefault(plain_heading(name), column)
    return known


def _missing(kind: LogKind, known: Mapping[str, Column], headings: Iterable[str]) -> tuple[str, ...]:
    names = {known[heading].name for heading in headings if heading in known}
    return tuple(name for name in kind.signature if name not in names)


def _by_everyday_headings(
    checked: Sequence[tuple[str, Record, int]], kinds: Sequence[LogKind], text: str
) -> list[Header]:
    """The headers that are a log's once everyday headings are taken, the first record of each separator."""
    found: dict[str, list[Header]] = {}
    for separator, record, end in checked:
        if separator not in found:
            matches = [
                kind for kind in kinds if _column_names(_headings(kind, record.cells)) >= set(kind.signature)
            ]
            if matches:
                found[separator] = [_header(kind, record.cells, separator, text, end) for kind in matches]
    return [header for headers in found.values() for header in headers]


def _column_names(headings: Iterable[Heading]) -> set[str]:
    return {heading.column.name for heading in headings if heading.column is not None}


@lru_cache(maxsize=20_000)
def everyday_key(text: str) -> str:
    """A phrase as everyday phrases are compared: case, punctuation, plural and British spelling ignored."""
    words = re.findall(r"[^\W_]+|[#✓✔]", text.casefold().replace("'", "").replace("’", ""))
    return " ".join(_SPELT.get(word, word) for word in map(singular, words) if word not in _LITTLE_WORDS)


def singular(word: str) -> str:
    """A word without its plural ending, by rule."""
    if len(word) > 4 and word.endswith("ies"):
        return f"{word[:-3]}y"
    if len(word) > 4 and word.endswith(("ses", "xes", "ches", "shes")):
        return word[:-2]
    return word[:-1] if len(word) > 2 and word.endswith("s") and not word.endswith("ss") else word


def _headings(kind: LogKind, cells: Sequence[str], *, ask: bool = False) -> tuple[Heading, ...]:
    """The headings of a record: names of columns first, then everyday headings of the columns left over.

    An everyday heading is taken where it fits one column of the log alone, and no other heading fits that. Of
    several columns all but one of which are named, it is that one where its cells are checked words or names.
    `ask` looks for the columns that the rest may be meant for.
    """
    known = _lookup(kind)
    named, guesses = [], []
    everyday = _everyday_lookup(kind)
    for position, cell in enumerate(cells):
        name, unit = split_unit(cell)
        text = plain_heading(name)
        column = known.get(text)
        named.append(Heading(position=position, column=column, text=text, unit=unit, written=cell.strip()))
        guesses.append(_guesses(name, unit, everyday) if column is None else {})
    absent = {column.name for column in kind.columns} - _column_names(named)
    taken: set[str] = set()
    for _ in range(2):
        claims = Counter(next(iter(guess)) for guess in guesses if len(guess) == 1)
        taken = {name for name in absent if claims[name] == 1}
        guesses = [_narrowed(guess, absent - taken, kind) if len(guess) > 1 else guess for guess in guesses]
    near_to = (
        {}
        if not ask
        else {key: columns for key, columns in everyday.items() if columns.keys() & (absent - taken)}
    )
    return tuple(
        _with_guess(heading, guess, kind, taken, absent, near_to) if heading.column is None else heading
        for heading, guess in zip(named, guesses, strict=True)
    )


def _narrowed(guess: dict[str, str | None], absent: set[str], kind: LogKind) -> dict[str, str | None]:
    left = {name: unit for name, unit in guess.items() if name in absent}
    column = kind.column(next(iter(left))) if len(left) == 1 else None
    return left if column is not None and column.kind in _CHECKED else guess


def _with_guess(
    heading: Heading,
    guess: Mapping[str, str | None],
    kind: LogKind,
    taken: set[str],
    absent: set[str],
    near_to: _Everyday,
) -> Heading:
    if len(guess) == 1:
        ((name, unit),) = guess.items()
        if name in taken:
            return replace(heading, column=kind.column(name), unit=unit, is_everyday=True)
    left = absent - taken
    names = [name for name in guess if name in left]
    if not guess and heading.text:
        keys = near_names(everyday_key(split_unit(heading.written)[0]), near_to, most=2, least=_NEAR)
        names = [name for key in keys for name in near_to[key] if name in left]
    return replace(heading, may_be=tuple(dict.fromkeys(names)))


def _guesses(name: str, unit: str | None, everyday: _Everyday) -> dict[str, str | None]:
    """The columns that an everyday heading fits, each with its unit; the unit may be its last word."""
    whole = everyday.get(everyday_key(name), {})
    if not whole and unit is None and len(words := name.replace("°", " ").replace(",", " ").split()) > 1:
        whole = everyday.get(everyday_key(" ".join(words[:-1])), {})
        fits = {found: words[-1] for found, (column, _) in whole.items() if _fits(column, words[-1])}
        return dict(fits)
    return {
        found: unit or own
        for found, (column, own) in whole.items()
        if unit is None or not is_quantity(column.kind) or _fits(column, unit)
    }


def _fits(column: Column, unit: str) -> bool:
    if not is_quantity(column.kind):
        return False
    try:
        read_quantity("1", column.kind, default_unit=unit)
    except QuantityError:
        return False
    return True


def _everyday_lookup(kind: LogKind) -> _Everyday:
    """By the key of a phrase, the columns that it may name and the unit that it implies (`minutes [min]`)."""
    found: dict[str, dict[str, tuple[Column, str | None]]] = {}
    for column in kind.columns:
        for phrase in (column.name, *column.also, *column.everyday):
            name, unit = split_unit(phrase)
            found.setdefault(everyday_key(name), {})[column.name] = column, unit
    found.pop("", None)
    return found


def _header(kind: LogKind, cells: Sequence[str], separator: str, text: str, end: int) -> Header:
    if len(cells) > MOST_COLUMNS:
        raise FileError(f"has {len(cells)} columns (at most {MOST_COLUMNS})")
    headings = _headings(kind, cells, ask=True)
    taken: dict[str, int] = {}
    for heading in headings:
        if heading.column is None:
            continue
        if heading.column.name in taken:
            raise FileError(
                f"has two columns for `{heading.column.name}` (columns {taken[heading.column.name] + 1} "
                f"and {heading.position + 1}): keep one"
            )
        taken[heading.column.name] = heading.position
    return Header(
        kind=kind,
        headings=headings,
        separator=separator,
        below=text[end:],
        first_line=text.count("\n", 0, end) + 1,
    )


@dataclass(frozen=True, slots=True)
class _Likeness:
    """How many of a log's needed columns a header names, which it lacks, and its headings not read."""

    kind: str
    named: int
    missing: tuple[str, ...]
    unread: tuple[str, ...]


def _likeness(kind: LogKind, cells: Sequence[str]) -> _Likeness:
    headings = _headings(kind, cells)
    names = _column_names(headings)
    missing = tuple(name for name in kind.signature if name not in names)
    unread = tuple(each.written for each in headings if each.column is None and each.text)
    return _Likeness(kind.name, len(kind.signature) - len(missing), missing, unread)


def _unknown_header(nearest: Sequence[_Likeness], kinds: Sequence[LogKind]) -> str:
    named = max((each.named for each in nearest), default=0)
    fewest = min((len(each.missing) for each in nearest if each.named == named), default=0)
    best = [each for each in nearest if each.named == named and len(each.missing) == fewest]
    if named < 2:
        known = "; ".join(f"{kind.name}: {quoted(kind.signature)}" for kind in kinds)
        return f"has no header of a log: a log is known by its columns ({known})"
    first, *others = dict.fromkeys(best)
    why = f"looks like a {first.kind} log, but its header has no column {quoted(first.missing)}"
    why += "".join(f" (or a {each.kind} log without {quoted(each.missing)})" for each in others)
    return f"{why}; not read: {quoted(first.unread, _MOST_UNREAD)}" if first.unread else why
