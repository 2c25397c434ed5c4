"""Which unit a bare number of a column stands in: heading, then bench.toml, then documented default."""

from benchwater.plugin.bench import Bench
from benchwater.plugin.logs import Column
from benchwater.read.cells import CellContext, documented_unit
from benchwater.read.headers import Header


class BareUnits:
    """The units of one file's columns; `stood_in` says in words which documented ones were needed."""

    def __init__(self, header: Header, bench: Bench) -> None:
        """Of a file with that header."""
        self.bench = bench
        self.kind = header.kind
        self.by_heading = {h.column.name: h.unit for h in header.headings if h.column is not None and h.unit}
        self.stood_in: set[str] = set()

    def context(self, column: Column, text: str, decimal_comma: bool) -> CellContext:
        """What one cell of the column is read against."""
        defaults = self.bench.default_units
        stated = (
            self.by_heading.get(column.name)
            or defaults.get(f"{self.kind.name}.{column.name}")
            or defaults.get(column.name)
        )
        if stated is None and (unit := documented_unit(column, self.bench)) is not None:
            if _is_bare(text):
                self.stood_in.add(
                    f"bare numbers in `{column.name}` of the {self.kind.name} log were read as {unit} "
                    f"(say otherwise under [defaults])"
                )
            stated = unit
        return CellContext(bench=self.bench, decimal_comma=decimal_comma, bare_unit=stated)


def _is_bare(text: str) -> bool:
    return bool(text) and text.lstrip("+-−").replace(".", "").replace(",", "").isdigit()
