"""The units of bare numbers in one file."""

from benchwater.plugin.bench import Bench, Item
from benchwater.plugin.logs import Column
from benchwater.read.cells import CellContext, documented_unit, without_mark
from benchwater.read.dates import DateHints
from benchwater.read.headers import Header
from benchwater.units.quantities import is_unit


class BareUnits:
    """The units of bare numbers in one file: of the heading, else of bench.toml, else the documented ones.

    `stood_in` says in words which documented ones were needed.
    """

    def __init__(self, header: Header, bench: Bench, dates: DateHints) -> None:
        """Of a file with that header, and what its column of days says."""
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
