"""Published cases and their answers, from tests/references/."""

import csv
import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

STATS = Path(__file__).parent / "references" / "stats"
TRADE = Path(__file__).parent / "references" / "trade"


@dataclass(frozen=True)
class ReferenceCase:
    """Rows of a case (as text), and its `expected` and `published` answers by key."""

    name: str
    rows: tuple[Mapping[str, str], ...]
    expected: Mapping[str, Any]
    published: Mapping[str, Any]

    def numbers(self, column: str, **where: str) -> list[float]:
        """Return a column as floats, of the rows whose other columns equal `where`."""
        return [float(row[column]) for row in self.rows if all(row[k] == v for k, v in where.items())]

    def answer(self, key: str) -> tuple[Any, float]:
        """Return the expected value of `key` and its absolute tolerance."""
        entry = self.expected[key]
        return entry["value"], entry["tol"]


def read_table(path: Path) -> tuple[Mapping[str, str], ...]:
    """Return the rows of a CSV as text."""
    with path.open(encoding="utf-8", newline="") as handle:
        return tuple(csv.DictReader(handle))


def reference_case(name: str) -> ReferenceCase:
    """Return a case of tests/references/stats by name."""
    answers = json.loads((STATS / f"{name}.json").read_text(encoding="utf-8"))
    return ReferenceCase(
        name, read_table(STATS / f"{name}.csv"), answers["expected"], answers.get("published", {})
    )


def worked_examples(kind: str) -> list[tuple[str, dict[str, Any], dict[str, Any], float]]:
    """Return worked examples of a kind: (id, inputs, expected, relative tolerance)."""
    return [
        (row["id"], json.loads(row["inputs_json"]), json.loads(row["expected_json"]), float(row["tol_rel"]))
        for row in read_table(TRADE / "worked_examples.csv")
        if row["kind"] == kind
    ]
