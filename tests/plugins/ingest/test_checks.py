"""What the pour and finishing logs refuse beyond a cell that cannot be read, and what they still take."""

from pathlib import Path
from types import ModuleType

import pytest

from benchwater.plugin import Bench
from benchwater.testing import make_season, plugin_file

ROOT = Path(__file__).parents[3]
POUR, FINISHING = (plugin_file(ROOT / f"plugins/ingest/{name}.py") for name in ("pour", "finishing"))
BENCH = """
[bench]
name = "Test bench"
units = "metric"
[items.alloy]
kind = "metal"
[items.goo]
kind = "plastic"
[items.hook]
kind = "insert"
[items.pearl]
kind = "coat"
unit = "g"
[molds.ball]
material = "alloy"
[[molds.ball.cavities]]
name = "1/8"
mass = "3 g"
"""
CAST = {"count": 1, "mold_temp_c": 550.0, "melt_temp_c": 800.0, "outcome": "reject", "flaw": "flash"}
CAST |= {"material": None}
COATED = {"coat": "pearl", "count": 4, "rejects": 4}


@pytest.fixture(scope="module")
def bench() -> Bench:
    logs = {"pour.csv": "date,mold,cavity,outcome\n2026-05-01,ball,1/8,good\n"}
    return make_season(BENCH, logs).season.bench


@pytest.mark.parametrize(
    ("log", "row", "changes", "column", "why"),
    [
        (POUR, CAST, {}, None, ""),
        (POUR, CAST, {"count": 0}, "count", "is 0"),
        (POUR, CAST, {"mold_temp_c": 550.1}, "mold_temp", "a mold can be (above 550 °C)"),
        (POUR, CAST, {"melt_temp_c": 800.1}, "melt_temp", "this bench can melt (above 800 °C)"),
        (POUR, CAST, {"mold_temp_c": None, "melt_temp_c": None}, None, ""),
        (POUR, CAST, {"outcome": "blank"}, "flaw", "makes no casting to have a flaw"),
        (POUR, CAST, {"outcome": "blank", "flaw": None}, None, ""),
        (POUR, CAST, {"material": "goo"}, None, ""),
        (POUR, CAST, {"material": "hook"}, "material", "is kept as insert, and only metal or plastic"),
        (FINISHING, COATED, {}, None, ""),
        (FINISHING, COATED, {"coat": "goo"}, "coat", "is kept as plastic, and not as a coat"),
        (FINISHING, COATED, {"count": 0, "rejects": 0}, "count", "is 0"),
        (FINISHING, COATED, {"rejects": 5}, "rejects", "is more than the 4 pieces"),
    ],
)
def test_a_row_that_cannot_be_is_refused_with_its_column_and_reason(
    bench: Bench,
    log: ModuleType,
    row: dict[str, object],
    changes: dict[str, object],
    column: str | None,
    why: str,
) -> None:
    found = list(log.check_row({**row, **changes}, bench))
    assert [each.column for each in found] == ([column] if column else [])
    assert all(why in each.why for each in found)
