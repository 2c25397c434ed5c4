"""Which unit a bare number of a column stands in: heading, then bench.toml, then documented default."""

from benchwater.plugin.bench import Bench
from benchwater.plugin.logs import Column
from benchwater.read.cells import CellContext, documented_unit
from benchwater.read.headers import Header


class BareUnits:
    """The units of one file's columns; `stood_in` says in words which documented ones were needed."""

    def __init__(self, header: Header, bench: Bench) -> None:
        """Of a file with that header."""
        self.stood_in: set[str] = set()
        by_heading = {h.column.name: h.unit for h in header.headings if h.column is not None and h.unit}
        self._known: dict[str, tuple[CellContext, str]] = {}
        for column in header.kind.columns:
            stated = (
                by_heading.get(column.name)
                or bench.default_units.get(f"{header.kind.name}.{column.name}")
                or bench.default_units.get(column.name)
            )
            documented = documented_unit(column, bench) if stated is None else None
            context = CellContext(
                bench=bench, decimal_comma=header.separator == ";", bare_unit=stated or documented
            )
            note = (
                f"bare numbers in `{column.name}` of the {header.kind.name} log were read as {documented} "
                f"(say otherwise under [defaults])"
            )
            self._known[column.name] = context, note if documented is not None else ""

    def context(self, column: Column, text: str) -> CellContext:
        """What one cell of the column is read against."""
        context, note = self._known[column.name]
        if note and _is_bare(text):
            self.stood_in.add(note)
        return context


def _is_bare(text: str) -> bool:
    return bool(text) and text.lstrip("+-−").replace(".", "").replace(",", "").isdigit()
