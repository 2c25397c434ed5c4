"""Checks a section against the contract: for the host, and for the test kit."""

import sys
from collections.abc import Collection, Iterable, Iterator, Set
from datetime import date
from itertools import pairwise
from xml.parsers.expat import ExpatError, ParserCreate

from benchwater.plugin.section import Action, Card, Figure, Finding, Section, Table
from benchwater.units import QUANTITIES, QuantityError
from benchwater.units.quantities import canonical_unit_name

UNITS = frozenset(
    {"degC", "delta_degC", "g", "h", "mL", "mm", "pieces", "1", "p", "money", "baits", "fish", "µg"}
)
_LARGEST = sys.float_info.max


def section_faults(section: Section) -> Iterator[str]:
    """Yield what the report could not print or would print wrongly, one sentence for each fault."""
    if section.status == "failed":
        yield "`failed` is for the host to give: raise an exception instead"
    yield from _twice("finding", map(_identity, section.findings))
    for what in ("table", "figure", "action", "card"):
        yield from _twice(what, (entry.id for entry in getattr(section, f"{what}s")))
    for finding in section.findings:
        yield from _finding(finding)
    for table in section.tables:
        yield from _table(table)
    for figure in section.figures:
        yield from _figure(figure)
    for action in section.actions:
        yield from _action(action)
    known = {finding.id for finding in section.findings}
    for card in section.cards:
        yield from _card(card, known)


def _finding(entry: Finding) -> Iterator[str]:
    of = f"finding {entry.id!r}" + (f" of {entry.group!r}" if entry.group else "")
    for name, value in {"value": entry.value, "low": entry.low, "high": entry.high, **entry.more}.items():
        yield from _cell(f"{of}: {name}", value)
    limits = [value for value in (entry.low, entry.value, entry.high) if value is not None]
    if any(low > high + 1e-9 * abs(high) for low, high in pairwise(limits)):
        yield f"{of}: {entry.value} is not between its limits {entry.low} and {entry.high}"
    if not 0 < entry.level < 1:
        yield f"{of}: its level is {entry.level}, not between 0 and 1"
    if entry.n is not None and entry.n < 0:
        yield f"{of}: its count is {entry.n}"
    yield from _unit(of, entry.unit)


def _table(entry: Table) -> Iterator[str]:
    of = f"table {entry.id!r}"
    names = [column.name for column in entry.columns]
    yield from _twice(f"{of}: column", names)
    if "span" in names:
        yield f"{of}: the column `span` is the host's: choose another name"
    doubtful = [
        place for place, cells in enumerate(zip(*entry.rows, strict=True)) if not _are_plain_cells(cells)
    ]
    for number, row in enumerate(entry.rows if doubtful else (), start=1):
        for place in doubtful:
            yield from _cell(f"{of}: row {number}, {names[place]!r}", row[place])
    for column in entry.columns:
        yield from _unit(f"{of}: column {column.name!r}", column.unit)
        if column.digits is not None and column.digits < 0:
            yield f"{of}: column {column.name!r}: its digits are {column.digits}"
        if column.unit_from is None:
            continue
        if column.unit_from not in names:
            yield f"{of}: column {column.name!r} takes its unit from {column.unit_from!r}, which is no column"
            continue
        place, printed = names.index(column.unit_from), entry.print_units or (None,) * len(entry.rows)
        for number, (row, print_unit) in enumerate(zip(entry.rows, printed, strict=True), start=1):
            yield from _unit(f"{of}: row {number}, {column.unit_from!r}", row[place], print_unit)


def _figure(entry: Figure) -> Iterator[str]:
    tags: list[str] = []
    parser = ParserCreate(namespace_separator="}")
    parser.StartElementHandler = lambda tag, attributes: tags.append(tag)
    try:
        parser.Parse(entry.svg.encode(), True)
    except (ExpatError, UnicodeError) as error:
        yield f"figure {entry.id!r} is no SVG: {error}"
    else:
        if tags[0].rpartition("}")[2] != "svg":
            yield f"figure {entry.id!r} is no SVG, but <{tags[0]}>"


def _action(entry: Action) -> Iterator[str]:
    yield from _cell(f"action {entry.id!r}: its worth", entry.worth)
    if entry.worth is not None and entry.worth_unit is None:
        yield f"action {entry.id!r} is worth {entry.worth} of what? (`worth_unit`)"


def _card(entry: Card, known: Set[str]) -> Iterator[str]:
    for line in entry.lines:
        for name in line.findings:
            if name not in known:
                yield f"card {entry.id!r}, {line.label!r}: {name!r} is no finding of this section"
    for table in entry.tables:
        yield from _table(table)


def _are_plain_cells(cells: Collection[object]) -> bool:
    """Whether all cells of a column are texts and days, or numbers that can be known; None counts as both."""
    kinds = set(map(type, cells)) - {type(None)}
    if not kinds <= {int, float, bool}:
        return kinds <= {str, date}
    return all(cell is None or -_LARGEST <= cell <= _LARGEST for cell in cells)  # type: ignore[operator]


def _cell(of: str, cell: object) -> Iterator[str]:
    if isinstance(cell, int | float):
        if not -_LARGEST <= cell <= _LARGEST:
            yield f"{of} is {cell!r}: leave it None when it is not known"
    elif cell is not None and (not isinstance(cell, str | date) or cell != cell):
        yield f"{of} is of type {type(cell).__name__}, not a plain value"


def _unit(of: str, unit: object, print_unit: str | None = None) -> Iterator[str]:
    if unit is not None and str(unit).partition("/")[0] not in UNITS:
        yield f"{of}: {unit!r} is no canonical unit"
    for kind, quantity in QUANTITIES.items():
        if print_unit is not None and quantity.canonical == unit:
            try:
                canonical_unit_name(print_unit, kind)
            except QuantityError:
                yield f"{of}: {print_unit!r} is no unit that {unit} can be printed in"


def _identity(finding: Finding) -> tuple[object, ...]:
    """Id, group and the words in `more`: a water and a habitat of one name are two groups."""
    return finding.id, finding.group, *(word for word in finding.more.values() if isinstance(word, str))


def _twice(what: str, ids: Iterable[object]) -> Iterator[str]:
    seen: set[object] = set()
    for identity in ids:
        if identity in seen:
            yield f"{what} {identity!r} is there twice"
        seen.add(identity)
