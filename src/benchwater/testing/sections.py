"""Look up parts of a section, and check that it keeps the contract."""

import math
import re
from collections.abc import Iterable, Iterator
from datetime import date
from xml.etree import ElementTree

from benchwater.plugin.section import Finding, Section, Table

_UNITS = frozenset(
    {"degC", "delta_degC", "g", "h", "mL", "mm", "pieces", "1", "p", "money", "baits", "fish", "µg"}
)
_SOURCE = re.compile(r"\b(1[5-9]|20)[0-9]{2}\b|\bno (published )?source\b|\bas written\b", re.IGNORECASE)


def finding(section: Section, id: str, group: str | None = None) -> Finding:
    """Return the one finding of that id (and group, if given)."""
    found = [entry for entry in section.findings if entry.id == id and group in {None, entry.group}]
    assert len(found) == 1, (
        f"{len(found)} findings {id!r} for group {group!r} in {[f.id for f in section.findings]}"
    )
    return found[0]


def table(section: Section, id: str) -> Table:
    """Return the table of that id."""
    return next(entry for entry in section.tables if entry.id == id)


def records(section: Section, id: str) -> list[dict[str, object]]:
    """Return the rows of a table as dictionaries by column name."""
    found = table(section, id)
    names = [column.name for column in found.columns]
    return [dict(zip(names, row, strict=True)) for row in found.rows]


def check_section(section: Section) -> None:
    """Check that a section keeps the contract; AssertionError lists every fault.

    No advice unless it is `ok`; numbers finite (missing ones None), within their intervals, in canonical
    units; whole sentences; tables rectangular, of plain cells, under columns of different names; a figure's
    `alt` and SVG; a source among the methods: a year, or the words `no source` or, for plain counts, `as
    written`.
    """
    wrong = [
        *_status(section),
        *_findings(section),
        *(fault for entry in section.tables for fault in _table(entry)),
        *_figures(section),
        *_actions(section),
        *_methods(section),
    ]
    assert not wrong, "\n".join(wrong)


def _status(section: Section) -> Iterator[str]:
    if section.status == "failed":
        yield "`failed` is for the host to give: raise an exception instead"
    if section.status != "ok" and section.actions:
        yield f"a section that is {section.status!r} must give no advice"
    if section.status != "ok" and not _is_sentence(section.why):
        yield f"a section that is {section.status!r} must say why in a whole sentence, not {section.why!r}"
    if section.unsaid and not _is_sentence(section.unsaid):
        yield f"what the data cannot say must be a whole sentence, not {section.unsaid!r}"


def _findings(section: Section) -> Iterator[str]:
    yield from _twice("finding", ((entry.id, entry.group) for entry in section.findings))
    for entry in section.findings:
        of = f"finding {entry.id!r}" + (f" of {entry.group!r}" if entry.group else "")
        if not _is_sentence(entry.text):
            yield f"{of}: its text is no whole sentence: {entry.text!r}"
        for name in ("value", "low", "high"):
            if not _is_finite(getattr(entry, name)):
                yield f"{of}: {name} is {getattr(entry, name)!r}: leave it None when it is not known"
        limits = [value for value in (entry.low, entry.value, entry.high) if value is not None]
        if all(_is_finite(value) for value in limits) and limits != sorted(limits):
            yield f"{of}: {entry.value} is not between its limits {entry.low} and {entry.high}"
        if not 0 < entry.level < 1:
            yield f"{of}: its level is {entry.level}, not between 0 and 1"
        if entry.n is not None and entry.n < 0:
            yield f"{of}: its count is {entry.n}"
        if not _is_unit(entry.unit):
            yield f"{of}: {entry.unit!r} is no canonical unit"


def _table(entry: Table) -> Iterator[str]:
    of = f"table {entry.id!r}"
    names = [column.name for column in entry.columns]
    yield from _twice(f"{of}: column", names)
    if "span" in names:
        yield f"{of}: the column `span` is the host's: choose another name"
    for column in entry.columns:
        if not _is_unit(column.unit):
            yield f"{of}: column {column.name!r}: {column.unit!r} is no canonical unit"
        if column.unit_from is not None and column.unit_from not in names:
            yield f"{of}: column {column.name!r} takes its unit from {column.unit_from!r}, which is no column"
    for number, row in enumerate(entry.rows, start=1):
        if len(row) != len(names):
            yield f"{of}: row {number} has {len(row)} cells, {len(names)} columns"
            continue
        cells: tuple[object, ...] = row
        for name, cell in zip(names, cells, strict=True):
            if not (cell is None or isinstance(cell, str | int | float | date)):
                yield f"{of}: row {number}, {name!r} is a {type(cell).__name__}, not a plain value"
            elif not _is_finite(cell):
                yield f"{of}: row {number}, {name!r} is {cell!r}: leave it None when it is not known"


def _figures(section: Section) -> Iterator[str]:
    yield from _twice("figure", (entry.id for entry in section.figures))
    for entry in section.figures:
        if not _is_sentence(entry.alt):
            yield f"figure {entry.id!r}: its alt is no whole sentence: {entry.alt!r}"
        try:
            root = ElementTree.fromstring(entry.svg)
        except ElementTree.ParseError as error:
            yield f"figure {entry.id!r} is no SVG: {error}"
        else:
            if root.tag.rpartition("}")[2] != "svg":
                yield f"figure {entry.id!r} is no SVG, but <{root.tag}>"


def _actions(section: Section) -> Iterator[str]:
    yield from _twice("action", (entry.id for entry in section.actions))
    for entry in section.actions:
        if not entry.text.strip() or not entry.because.strip():
            yield f"action {entry.id!r} must say what to do, and why"
        if not _is_finite(entry.worth):
            yield f"action {entry.id!r}: its worth is {entry.worth!r}: leave it None when it is not known"
        if entry.worth is not None and entry.worth_unit is None:
            yield f"action {entry.id!r} is worth {entry.worth} of what? (`worth_unit`)"


def _methods(section: Section) -> Iterator[str]:
    if section.status == "empty" or not (section.findings or section.tables or section.figures):
        return
    if not any(_SOURCE.search(method) for method in section.methods):
        yield (
            "no method names its source: author and year, or `common practice, no source`, "
            "or for plain counts `as written`"
        )


def _twice(what: str, ids: Iterable[object]) -> Iterator[str]:
    seen: set[object] = set()
    for identity in ids:
        if identity in seen:
            yield f"{what} {identity!r} is there twice"
        seen.add(identity)


def _is_sentence(text: str) -> bool:
    return text.strip().endswith((".", "!", "?"))


def _is_finite(cell: object) -> bool:
    return not isinstance(cell, float) or math.isfinite(cell)


def _is_unit(unit: str | None) -> bool:
    return unit is None or unit.partition("/")[0] in _UNITS
