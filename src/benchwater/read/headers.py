"""Recognises the log that a header belongs to, and the column that each heading names."""

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache, partial
from itertools import islice

from benchwater.plugin.logs import Column, LogKind
from benchwater.read.records import Record, check_lines, plain_ends, record_at, records_and_ends
from benchwater.read.refusals import DEEPEST_HEADER_ROW, MOST_COLUMNS, FileError
from benchwater.text import quoted
from benchwater.words import listed

SEPARATORS = (",", ";", "\t")
_UNIT = re.compile(r"(?P<name>[^\[(]+)[\[(](?P<unit>[^\])]{1,20})[\])]\s*")


@dataclass(frozen=True, slots=True, kw_only=True)
class Heading:
    """One heading: its position, the declared column it names (if any), its own text, and its unit."""

    position: int
    column: Column | None
    text: str
    unit: str | None


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

    def records_on(self, lines: Iterable[int]) -> Iterator[Record]:
        """The records that start on these lines, each of which is the first of a record."""
        texts = self.below.split("\n")
        for line in lines:
            record, _ = record_at(partial(_at, texts), line - self.first_line, self.separator)
            yield record._replace(line=line)


def recognise(text: str, kinds: Sequence[LogKind]) -> Header:
    """Find the log kind of a text by its header, with any of the separators.

    FileError where no log kind matches, or more than one does.
    """
    candidates: list[Header] = []
    checked_headings: list[set[str]] = []
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
            checked_headings.append(headings)
    if not text or text.isspace():
        raise FileError("is empty")
    if len(candidates) > 1:
        names = listed(sorted({f"`{header.kind.name}`" for header in candidates}))
        raise FileError(f"could be more than one log ({names}): remove the columns that do not belong")
    if not candidates:
        likenesses = [
            _Likeness(kind.name, len(kind.signature) - len(missing), missing)
            for headings in checked_headings
            for kind in kinds
            for missing in (_missing(kind, known[kind.name], headings),)
        ]
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


def _header(kind: LogKind, cells: Sequence[str], separator: str, text: str, end: int) -> Header:
    if len(cells) > MOST_COLUMNS:
        raise FileError(f"has {len(cells)} columns (at most {MOST_COLUMNS})")
    known = _lookup(kind)
    headings = []
    for position, cell in enumerate(cells):
        name, unit = split_unit(cell)
        headings.append(
            Heading(
                position=position, column=known.get(plain_heading(name)), text=plain_heading(name), unit=unit
            )
        )
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
        headings=tuple(headings),
        separator=separator,
        below=text[end:],
        first_line=text.count("\n", 0, end) + 1,
    )


@dataclass(frozen=True, slots=True)
class _Likeness:
    """How many of a log's needed columns a header names, and which it lacks."""

    kind: str
    named: int
    missing: tuple[str, ...]


def _unknown_header(nearest: Sequence[_Likeness], kinds: Sequence[LogKind]) -> str:
    named = max((each.named for each in nearest), default=0)
    fewest = min((len(each.missing) for each in nearest if each.named == named), default=0)
    best = [each for each in nearest if each.named == named and len(each.missing) == fewest]
    if named < 2:
        known = "; ".join(f"{kind.name}: {quoted(kind.signature)}" for kind in kinds)
        return f"has no header of a log: a log is known by its columns ({known})"
    first, *others = dict.fromkeys(best)
    why = f"looks like a {first.kind} log, but its header has no column {quoted(first.missing)}"
    return why + "".join(f" (or a {each.kind} log without {quoted(each.missing)})" for each in others)
