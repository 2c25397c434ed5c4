"""Writing one log as a person's program would: delimiter, encoding, line ends, header spelling."""

import csv
import io
import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

DECIMAL_COLUMNS = ("mold_temp", "melt_temp", "mass")


@dataclass
class Row:
    """One record as text by plain column name; `mistake` names the column that makes it unreadable."""

    cells: dict[str, str]
    mistake: str | None = None
    kind: str = ""


@dataclass(frozen=True)
class SetAside:
    """A row that has to be set aside: where its record starts and what is wrong in it."""

    file: str
    line: int
    column: str
    value: str
    kind: str


@dataclass(frozen=True)
class Dialect:
    """How one file is written. `headers` pairs each plain column name with the header text used here."""

    headers: Sequence[tuple[str, str]]
    delimiter: str = ","
    encoding: str = "utf-8"
    newline: str = "\n"
    decimal_comma: bool = False


@dataclass
class LogFile:
    """A log under its path in the logs folder."""

    path: str
    dialect: Dialect
    rows: list[Row] = field(default_factory=list)

    def write(self, folder: Path) -> list[SetAside]:
        """Write the file and say on which physical line each faulty record starts."""
        found: list[SetAside] = []
        line = 1
        text = io.StringIO()
        writer = csv.writer(text, delimiter=self.dialect.delimiter, lineterminator="\n")
        writer.writerow([header for _, header in self.dialect.headers])
        for row in self.rows:
            line = text.getvalue().count("\n") + 1
            cells = [self._cell(column, row) for column, _ in self.dialect.headers]
            writer.writerow(cells)
            if row.mistake is not None:
                found.append(SetAside(self.path, line, row.mistake, row.cells.get(row.mistake, ""), row.kind))
        target = folder / self.path
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(text.getvalue().replace("\n", self.dialect.newline).encode(self.dialect.encoding))
        return found

    def _cell(self, column: str, row: Row) -> str:
        value = row.cells.get(column, "")
        if self.dialect.decimal_comma and column in DECIMAL_COLUMNS:
            return re.sub(r"(?<=\d)\.(?=\d)", ",", value)
        return value


def plain(*columns: str) -> list[tuple[str, str]]:
    """Headers spelt exactly as the columns are named."""
    return [(column, column) for column in columns]
