"""A grid of headings and records, before any log is recognised, and what a heading names."""

from collections.abc import Sequence
from dataclasses import dataclass

from benchwater.plugin.bench import Bench
from benchwater.read.bench_file import size_in_ounces
from benchwater.read.body import Body
from benchwater.read.coded import Indices
from benchwater.read.vocabulary import everyday_key

Coordinates = tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """Headings and the records below them, before any log is recognised.

    Columns behind the last heading hold cells that have none. `read_as` says what was taken how, `problem`
    why these records are of no log.
    """

    headings: tuple[str, ...]
    body: Body
    read_as: tuple[tuple[str, str], ...] = ()
    problem: str = ""

    def texts(self, position: int) -> list[str]:
        """The distinct cells of a column that hold anything."""
        column = self.body.columns[position]
        return [str(v) for v, used in zip(column.values, column.used_mask(), strict=True) if used and v]

    def take(self, rows: Indices, positions: Sequence[int]) -> "Grid":
        """Some records, and some of their columns."""
        body = self.body.take(rows)
        return Grid(
            headings=tuple(self.headings[at] for at in positions),
            body=Body(
                lines=body.lines,
                columns=(*(body.columns[at] for at in positions), *body.columns[len(self.headings) :]),
                irregular=body.irregular,
            ),
            read_as=self.read_as,
        )


def rows_of(grid: Grid) -> range:
    """The positions of a grid's headings."""
    return range(len(grid.headings))


def place_named(text: str, bench: Bench | None) -> Coordinates:
    """The cavity that a heading names, with its mold if it says that; any size where there is no bench."""
    if bench is None:
        return (("cavity", text),) if size_in_ounces(text) is not None else ()
    key = everyday_key(text)
    pairs = [(mold.name, name) for mold in bench.molds.values() for name in mold.cavities]
    both = [pair for pair in pairs if sorted(everyday_key(" ".join(pair)).split()) == sorted(key.split())]
    if len(both) == 1:
        return (("mold", both[0][0]), ("cavity", both[0][1]))
    names = [name for _, name in pairs if everyday_key(name) == key]
    return (("cavity", names[0]),) if names else ()
