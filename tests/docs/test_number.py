"""The table in DEVELOPERS.md that follows one number from cell to page."""

import ast
import json
from pathlib import Path

import pytest

from benchwater.pipeline import Request, make_report, read_workspace
from benchwater.render.html import render_html
from benchwater.render.json_twin import render_json, rounded
from command_line import run
from developers import ROOT, part, rows, typed

WAY = part("How a number travels from cell to page")
HEADER = "date,mold,cavity,outcome,count,fill,mold_temp [F],flaw"
BEFORE = [f"2026-05-02,round-jig,1/8,good,2,{fill},{299 + fill}," for fill in range(1, 16)]


@pytest.mark.parametrize("row", rows(WAY), ids=lambda row: row[0])
def test_each_function_is_in_the_file_that_the_table_names(row):
    (name,) = typed(row[0])
    path = ROOT / name if name.startswith("plugins/") else ROOT / "src" / "benchwater" / name
    tree = ast.walk(ast.parse(path.read_text(encoding="utf-8")))
    defined = {node.name for node in tree if isinstance(node, ast.FunctionDef)}
    assert typed(row[1])
    assert set(typed(row[1])) <= defined


def test_cell_has_the_values_that_the_table_names(tmp_path: Path) -> None:
    assert run("start", tmp_path).status == 0
    log = tmp_path / "pours" / "may.csv"
    log.parent.mkdir()
    log.write_text("\n".join([HEADER, *BEFORE, "2026-05-09,round-jig,1/8,reject,2,1,245.5,short fill"]))
    workspace = read_workspace(tmp_path, workspace_plugins=False)
    poured = workspace.reading.tables["pour"]
    row = poured[(poured["file"] == "pours/may.csv") & (poured["line"] == 17)].iloc[0]
    assert row["mold_temp_c"] == pytest.approx((245.5 - 32) / 1.8)

    report = make_report(workspace, Request(month="2026-05", only=("defect_rate",)))
    (section,) = json.loads(render_json(report))["sections"]
    tables = {table["id"]: table for table in section["tables"]}
    heat = tables["mold_heat"]
    measured = [cells[heat["columns"].index("measured_c")] for cells in heat["rows"]]
    written = rounded(row["mold_temp_c"])
    assert written in measured
    assert f"writes {written} under `measured_c` of `mold_heat`" in WAY
    edges = [(cells[2], cells[3]) for cells in tables["by_temperature"]["rows"]]
    assert (pytest.approx((225 - 32) / 1.8), pytest.approx((250 - 32) / 1.8)) in edges
    page = render_html(report)
    assert "°F" in page
    assert ">225<" in page.replace("\n", "")
    assert ">250<" in page.replace("\n", "")
