"""Read the texts of a log's columns into values, each distinct text once."""

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np

from benchwater.plugin.bench import Bench, Item
from benchwater.plugin.logs import Column, LogKind, Value
from benchwater.read.cells import (
    CellContext,
    check_cavity,
    documented_unit,
    is_approximate,
    is_everyday,
    read_amount,
    read_cell,
    vocabulary,
    without_mark,
)
from benchwater.read.coded import Coded, constant_column, group_rows, map_values
from benchwater.read.dates import DateHints
from benchwater.read.headers import Header
from benchwater.read.names import find_place, same_spelling
from benchwater.read.outcome import CellError, Reason
from benchwater.read.records import Body
from benchwater.read.vocabulary import everyday_key
from benchwater.units import is_quantity
from benchwater.units.quantities import is_unit

_ROUGH = 0.1
"""The half-width of an amount marked as rough, as a share of it (common practice, no source)."""
Taken = Iterator[Coded]
"""Columns of what was taken for something else: in each row a text with what it was taken for, or None."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadColumns:
    """The columns of a log by the table's names; what cannot be used is a CellError.

    `by_itself` holds what a cell says by itself, `by_another` what the item or the mold of its row decides,
    and `added` what follows from rough cells. `texts` are by the log's own names. `taken` has in each row
    a text with what it was taken for, or None. `stood_in` says which documented units stood in for bare
    numbers.
    """

    texts: Mapping[str, Coded]
    by_itself: Mapping[str, Coded]
    by_another: Mapping[str, Coded]
    added: Mapping[str, Coded]
    dates: DateHints
    taken: tuple[Coded, ...]
    stood_in: frozenset[str]

    @property
    def values(self) -> dict[str, Coded]:
        return {**self.by_itself, **self.by_another, **self.added}

    def text(self, name: str, row: int) -> str:
        """A cell as written, empty where the log has no such column."""
        return str(self.texts[name].value(row)) if name in self.texts else ""


def read_columns(
    header: Header, body: Body, bench: Bench, hints: Callable[[list[str]], DateHints]
) -> ReadColumns:
    """Read the columns below a header; `hints` says what its days, as written, say together."""
    kind, rows = header.kind, len(body.lines)
    texts = {h.column.name: body.columns[h.position] for h in header.headings if h.column is not None}
    texts |= {name: constant_column(rows, word) for name, word, _ in header.implied}
    texts, places = _split_places(texts, kind, bench)
    texts, causes = _split_causes(texts, kind)
    days = next((texts[c.name].held() for c in kind.columns if c.kind == "date" and c.name in texts), [])
    dates = hints(days)
    units = BareUnits(header, bench, dates)
    by_itself = {
        column.frame_name: _read_column(texts[column.name], column, units)
        if column.name in texts
        else constant_column(rows, _read("", column, units))
        for column in kind.columns
    }
    by_itself |= _zeros(kind, texts, by_itself)
    by_another = _decided_by_another(kind, texts, by_itself, bench, units)
    rough = {
        column.name: texts[column.name]
        for column in kind.columns
        if column.name in texts
        and (column.kind in {"count", "number", "money", "amount"} or is_quantity(column.kind))
        and any(map(is_approximate, texts[column.name].values))
    }
    return ReadColumns(
        texts=texts,
        by_itself=by_itself,
        by_another=by_another,
        added=_of_rough_cells(rough, {**by_itself, **by_another}, kind, bench) if rough else {},
        dates=dates,
        taken=(
            *places,
            *causes,
            *_words_taken(kind, texts, by_itself),
            *_cavities_taken(kind, texts, by_another),
            *(
                _said(each, ["a rough value" if is_approximate(text) else None for text in each.values])
                for each in rough.values()
            ),
        ),
        stood_in=frozenset(units.stood_in),
    )


def read_filled_or_empty(text: str, column: Column, context: CellContext) -> Value:
    """The value of a cell, or what stands for it where it is empty. CellError says why there is none."""
    if text == "":
        if column.needed:
            a = "an" if column.name.startswith(("a", "e", "i", "o", "u")) else "a"
            raise CellError(Reason.MISSING, f"is empty, and every row needs {a} {column.name}")
        return column.default
    return read_cell(text, column, context)


def is_error(value: object) -> bool:
    """Whether a cell cannot be used."""
    return isinstance(value, CellError)


class BareUnits:
    """The units of bare numbers in one file: of the heading, else of bench.toml, else the documented ones.

    `stood_in` says in words which documented ones were needed.
    """

    def __init__(self, header: Header, bench: Bench, dates: DateHints) -> None:
        self.stood_in: set[str] = set()
        self._heading_units = by_heading = {
            h.column.name: h.unit for h in header.headings if h.column is not None and h.unit
        }
        self._known: dict[str, tuple[CellContext, str]] = {}
        for column in header.kind.columns:
            stated = (
                by_heading.get(column.name)
                or bench.default_units.get(f"{header.kind.name}.{column.name}")
                or bench.default_units.get(column.name)
            )
            documented = documented_unit(column, bench) if stated is None else None
            context = CellContext(
                bench=bench,
                decimal_comma=header.separator == ";",
                bare_unit=stated or documented,
                dates=dates,
            )
            note = (
                f"bare numbers in `{column.name}` of the {header.kind.name} log were read as {documented} "
                f"(say otherwise under [defaults])"
            )
            self._known[column.name] = context, note if documented is not None else ""

    def context(self, column: Column, text: str) -> CellContext:
        """The context in which to read a cell of the column; notes that a documented unit stood in."""
        context, note = self._known[column.name]
        if note and _is_bare(without_mark(text)):
            self.stood_in.add(note)
        return context

    def note_pieces(self, column: Column, item: Item, text: str) -> None:
        """Note that the heading's unit does not apply to a counted item."""
        unit = self._heading_units.get(column.name)
        if unit and item.unit == "pieces" and _is_bare(text) and not is_unit(unit, "pieces"):
            self.stood_in.add(
                f"the heading says `{unit}`, and bare numbers of what is counted, such as `{item.name}`, "
                "were read as pieces"
            )


def _is_bare(text: str) -> bool:
    return bool(text) and text.lstrip("+-−").replace(".", "").replace(",", "").isdigit()


def _is_empty(text: str) -> bool:
    return text == ""


def _said(texts: Coded, taken_for: Sequence[str | None]) -> Coded:
    """The column of each text with what it was taken for, None where it was taken for nothing."""
    pairs = zip(texts.values, taken_for, strict=True)
    return Coded(texts.codes, [None if said is None else (text, said) for text, said in pairs])


def _split_places(
    texts: Mapping[str, Coded], kind: LogKind, bench: Bench
) -> tuple[dict[str, Coded], list[Coded]]:
    """The texts with a mold and a cavity in each row that names both in one cell, and which cells do."""
    new, taken = dict(texts), list[Coded]()
    names = [column.name for column in kind.columns if column.refers_to in {"mold", "cavity"}]
    if len(names) != 2 or not any(name in texts for name in names):
        return new, taken
    for name, other in (names, reversed(names)):
        both, alone = new.get(name), new.get(other)
        if both is None or (alone is not None and "" not in alone.values):
            continue
        alone = constant_column(len(both.codes), "") if alone is None else alone
        empty = alone.mask(_is_empty)
        places = both.take(empty).map_held(lambda text: find_place(text, bench) if text else None)
        found = np.array([place is not None for place in places], dtype=bool)[both.codes] & empty
        said = _said(both, [None if place is None else " ".join(place) for place in places])
        taken.append(constant_column(len(empty)).replaced(empty, said))
        for at, each in enumerate(names):
            parts = ["" if place is None else place[at] for place in places]
            new[each] = (both if each == name else alone).replaced(found, Coded(both.codes, parts))
    return new, taken


def _split_causes(texts: Mapping[str, Coded], kind: LogKind) -> tuple[dict[str, Coded], list[Coded]]:
    """The texts with word and cause in two columns where one cell says both, and which cells do."""
    new, taken = dict(texts), list[Coded]()
    for column in kind.columns:
        both = new.get(column.name)
        for word, (name, *words) in column.told_by:
            other = kind.column(name)
            if both is None or other is None:
                continue
            causes = both.map_held(partial(_cause, column=column, word=word, other=other, words=words))
            if not any(causes):
                continue
            own = new.get(name) or constant_column(len(both.codes), "")
            empty = np.array([each is not None for each in causes])[both.codes] & own.mask(_is_empty)
            new[name] = own.replaced(empty, Coded(both.codes, [each or "" for each in causes]))
            taken.append(_said(texts[column.name], [each and f"{word}, {each}" for each in causes]))
            pairs = zip(both.values, causes, strict=True)
            both = Coded(both.codes, [text if each is None else word for text, each in pairs])
            new[column.name] = both
    return new, taken


def _cause(text: str, column: Column, word: str, other: Column, words: Sequence[str]) -> str | None:
    """What a cell of one column says of the other, if it says that and the word, or that alone."""
    own, others = vocabulary(column), vocabulary(other)
    if text and not own.is_asked_about(text):
        meant = others.meanings(text, whole=True)
        if len(meant) == 1 and meant <= set(words) and own.meanings(text, whole=True) <= {word}:
            return next(iter(meant))
        parts = everyday_key(text).split()
        for cut in range(len(parts) - 1, 0, -1):
            first, rest = " ".join(parts[:cut]), " ".join(parts[cut:])
            meant = others.meanings(rest, whole=True)
            if own.exact(first) == {word} and len(meant) == 1 and meant <= set(words):
                return next(iter(meant))
    return None


def _read_column(texts: Coded, column: Column, units: BareUnits) -> Coded:
    return Coded(texts.codes, texts.map_held(partial(_read, column=column, units=units)))


def _read(text: str, column: Column, units: BareUnits) -> Value | CellError:
    try:
        return read_filled_or_empty(text, column, units.context(column, text))
    except CellError as error:
        return error


def _zeros(
    kind: LogKind, texts: Mapping[str, Coded], by_itself: Mapping[str, Coded]
) -> Iterator[tuple[str, Coded]]:
    """The columns whose empty cells are 0 beside some words of another."""
    for column in kind.columns:
        for name, words in column.zero_beside:
            other = kind.column(name)
            if column.name in texts and other is not None:
                empty = texts[column.name].mask(_is_empty)
                empty &= by_itself[other.frame_name].mask(frozenset(words).__contains__)
                zeros = constant_column(len(empty), 0.0)
                filled = by_itself[column.frame_name].replaced(empty, zeros)
                yield column.frame_name, Coded(filled.codes, filled.map_held(lambda value: value))


def _words_taken(kind: LogKind, texts: Mapping[str, Coded], columns: Mapping[str, Coded]) -> Taken:
    """Each everyday phrase that a cell holds, with the word it was taken for."""
    for column in kind.columns:
        if column.name in texts and column.kind in {"word", "yes_no", "name"}:
            written, values = texts[column.name], columns[column.frame_name].values
            pairs = zip(written.values, values, strict=True)
            yield _said(
                written, [str(value) if is_everyday(text, value, column) else None for text, value in pairs]
            )


def _cavities_taken(kind: LogKind, texts: Mapping[str, Coded], decided: Mapping[str, Coded]) -> Taken:
    """Each cavity that a cell names in other words, with the cavity of its mold that was taken."""
    for column in kind.columns:
        if column.refers_to == "cavity" and column.name in texts:
            text, cavities = texts[column.name], decided[column.frame_name]
            known = {same_spelling(value) for value in cavities.values if isinstance(value, str)}
            odd = Coded(text.codes, [same_spelling(each) not in known for each in text.values])
            rows = np.flatnonzero(odd.mask(bool))
            groups = group_rows([text.take(rows), cavities.take(rows)], len(rows))
            pairs = [(text.value(row), cavities.value(row)) for row in rows[groups.first].tolist()]
            codes = np.zeros(len(text.codes), dtype=np.int32)
            codes[rows] = groups.of_row + 1
            yield Coded(codes, [None, *(pair if is_everyday(*pair, column) else None for pair in pairs)])


def _decided_by_another(
    kind: LogKind, texts: Mapping[str, Coded], by_itself: Mapping[str, Coded], bench: Bench, units: BareUnits
) -> dict[str, Coded]:
    """The columns whose cells depend on another of the row: an amount on its item, a cavity on its mold."""
    decided: dict[str, Coded] = {}
    for column in kind.columns:
        is_amount = column.kind in {"amount", "spread"}
        if column.name not in texts or not (is_amount or column.refers_to == "cavity"):
            continue
        text, other = texts[column.name], by_itself["item" if is_amount else "mold"]
        unusable = by_itself[column.frame_name].mask(is_error) | other.mask(is_error)
        rows = np.flatnonzero(text.mask(bool) & ~unusable)
        groups = group_rows([other.take(rows), text.take(rows)], len(rows))
        codes = np.zeros(len(text.codes), dtype=np.int32)
        codes[rows] = groups.of_row + 1
        values: list[Any] = [column.default]
        for row in rows[groups.first].tolist():
            try:
                if is_amount:
                    item, context = bench.items[other.value(row)], units.context(column, text.value(row))
                    units.note_pieces(column, item, text.value(row))
                    values.append(read_amount(text.value(row), item, context, whole=column.kind == "amount"))
                else:
                    values.append(check_cavity(text.value(row), other.value(row), bench))
            except CellError as error:
                values.append(error)
        decided[column.frame_name] = Coded(codes, values)
    return decided


def _of_rough_cells(
    rough: Mapping[str, Coded], columns: Mapping[str, Coded], kind: LogKind, bench: Bench
) -> dict[str, Coded]:
    """A column that names each row's rough cells, and a wider uncertainty of rough amounts."""
    masks = {name: texts.mask(is_approximate) for name, texts in rough.items()}
    rows = len(next(iter(masks.values())))
    named = [";".join(name for name, mask in masks.items() if mask[row]) or None for row in range(rows)]
    new = {"approximate": map_values(Coded(np.arange(rows, dtype=np.int32), named), lambda v: v)}
    by_kind = {column.kind: column for column in reversed(kind.columns)}
    spread, amount = by_kind.get("spread"), by_kind.get("amount")
    if spread is None or amount is None or amount.name not in rough:
        return new
    sizes, stated = columns[amount.frame_name], columns[spread.frame_name]
    codes, values = stated.codes.copy(), list(stated.values)
    for row in np.flatnonzero(masks[amount.name]).tolist():
        size, item = sizes.value(row), bench.items.get(columns["item"].value(row))
        if stated.value(row) is None and isinstance(size, float) and item is not None:
            codes[row] = len(values)
            values.append(math.hypot(_ROUGH * size / math.sqrt(3), (item.resolution or 0.0) / math.sqrt(12)))
    return {**new, spread.frame_name: Coded(codes, values)}
