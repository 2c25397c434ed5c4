"""The JSON twin keeps the report contract: its keys, spans first, canonical numbers, nothing infinite."""

import json
import math
from collections.abc import Callable
from dataclasses import replace
from datetime import date, datetime
from typing import Any

import numpy as np
import pandas as pd
import pytest

from benchwater.analyse.report import Report, ReportSection, SpanSection
from benchwater.plugin.section import Action, Finding, Section, Table, TableColumn
from benchwater.render.json_twin import render_json
from render.sample_report import MAY, SEASON, hostile_report, sample_report


def test_the_shape_of_the_contract(report: Report) -> None:
    text = render_json(report)
    twin = json.loads(text)
    assert text == render_json(report)
    assert text.endswith("}\n")
    assert "°F" in text
    assert twin["format"] == 1
    assert twin["bench"] == "Alder Flat bench"
    assert (twin["period"]["label"], twin["period"]["start"], twin["period"]["end"]) == (
        "2026-05",
        "2026-05-01",
        "2026-06-01",
    )
    assert {"start": "2026-03-01", "end": "2026-06-01"}.items() <= twin["season"].items()
    assert {"file", "sha256", "log", "rows", "set_aside", "used", "repeated"} <= twin["sources"][0].keys()
    assert {"file", "line", "column", "value", "why"} <= twin["set_aside"][0].keys()
    assert [each["id"] for each in twin["sections"]] == [section.id for section in report.sections]
    for section in twin["sections"]:
        assert {
            "id",
            "title",
            "status",
            "why",
            "findings",
            "tables",
            "figures",
            "actions",
            "methods",
            "cards",
        } <= section.keys()
        assert {each["status"] for each in section["spans"]} <= {"ok", "thin", "empty", "failed"}
        for finding in section["findings"]:
            wanted = {"id", "text", "value", "low", "high", "level", "unit", "n", "group", "span"}
            assert wanted <= finding.keys()
            assert finding["span"] in ("period", "season")
            assert (finding["level"] is None) == (finding["low"] is None and finding["high"] is None)
        for table in section["tables"]:
            assert table["columns"][0] == "span"
            assert all(len(row) == len(table["columns"]) for row in table["rows"])
        assert len({table["id"] for table in section["tables"]}) == len(section["tables"])
        assert all({"id", "span", "alt", "svg"} <= figure.keys() for figure in section["figures"])
    advice = "text because section worth worth_unit urgent id state since or_earlier span"
    assert list(twin["actions"][0]) == advice.split()
    first = twin["sections"][0]
    assert first["findings"][0]["value"] == 177.8
    assert [each["id"] for each in first["actions"]] == ["warm-up", "cavity"]
    by_temperature = first["tables"][0]
    assert len(by_temperature["rows"]) == 24
    assert by_temperature["units"]["low_c"] == "degC"
    assert len(twin["sections"][1]["tables"][0]["rows"]) == 30  # paper shows twelve
    assert "key" in twin["sections"][1]["tables"][0]["columns"]  # hidden on paper
    assert twin["sections"][2]["tables"][0]["unit_from"]["opening"] == "unit"
    (card,) = first["cards"]
    assert (card["id"], card["tables"]) == ("mold:ball", ["by_cavity"])
    assert card["lines"][0] == {
        "label": "Start at",
        "text": "352 °F (340 to 367)",
        "findings": ["target_temp"],
    }


def test_parts_merge_into_one_table_and_one_list_of_advice(report: Report) -> None:
    may = _section(("item", "only_may"), (("lead", 1.0),), "May's wording")
    season = _section(("span", "item", "only_season"), (("season", "lead", 2.0),), "the season's wording")
    section = replace(
        report.sections[0],
        parts=(SpanSection(span=MAY, section=may), SpanSection(span=SEASON, section=season)),
    )
    twin = _twin_of(section, report)
    (table,) = twin["tables"]
    assert table["columns"] == ["span", "item", "only_may", "only_season"]
    assert table["rows"] == [["period", "lead", 1.0, None], ["season", "lead", None, 2.0]]
    assert [action["text"] for action in twin["actions"]] == ["the season's wording"]
    assert twin["methods"] == ["weighing"]


@pytest.mark.parametrize(
    ("cell", "written"),
    [
        (math.nan, None),
        (math.inf, None),
        (np.float64("-inf"), None),
        (np.int64(7), 7),
        (np.bool_(True), True),
        (True, True),
        (pd.NaT, None),
        (pd.NA, None),
        (pd.Timestamp("2026-05-03"), "2026-05-03"),
        (datetime(2026, 5, 3, 17, 40), "2026-05-03T17:40"),
        (date(2026, 5, 3), "2026-05-03"),
        (0.1 + 0.2, 0.3),
    ],
)
def test_a_cell_is_plain(cell: Any, written: object, report: Report) -> None:
    section = replace(
        report.sections[0],
        parts=(SpanSection(span=MAY, section=_section(("cell",), ((cell,),), "advice")),),
    )
    assert _twin_of(section, report)["tables"][0]["rows"] == [["period", written]]


def test_hostile_text_stays_data(report: Report) -> None:
    twin = json.loads(render_json(hostile_report()))
    assert twin["set_aside"][0]["value"].startswith("<script>")
    assert "\x1b[31m" in twin["set_aside"][0]["value"]
    render_json(hostile_report()).encode("utf-8")


@pytest.mark.parametrize("made", [sample_report, hostile_report])
def test_each_row_stands_on_a_line_as_the_json_library_writes_it(made: Callable[[], Report]) -> None:
    cells = ("],\n   [", '"],\n   ["', "}", "[", None, True, 0.1, 7, math.nan, date(2026, 5, 3))
    rows = (cells, cells[::-1], cells)
    names = tuple(f"c{number}" for number in range(len(cells)))
    section = replace(
        made().sections[0],
        parts=(SpanSection(span=MAY, section=_section(names, rows, "advice")),),
    )
    for report in (made(), replace(made(), sections=(section,), sources=(), repeats=())):
        text = render_json(report)
        assert json.loads(text) == json.loads(" ".join(text.split("\n")))
    read = json.loads(text)["sections"][0]["tables"][0]["rows"]
    lines = [line.strip().removesuffix(",") for line in text.split("\n")]
    assert all(json.dumps(row, ensure_ascii=False) in lines for row in read)
    assert read[0] == ["period", *cells[:8], None, "2026-05-03"]
    assert read[1][1:] == read[0][:0:-1]


def _section(names: tuple[str, ...], rows: tuple[tuple[Any, ...], ...], advice: str) -> Section:
    columns = tuple(TableColumn(name=name, label=name) for name in names)
    return Section(
        status="ok",
        findings=(Finding(id="f", text="A sentence.", value=math.nan, more={"p": math.inf}),),
        tables=(Table(id="t", title="T", columns=columns, rows=rows),),
        actions=(Action(id="a", text=advice, because="so"),),
        methods=("weighing",),
    )


def _twin_of(section: ReportSection, report: Report) -> Any:
    twin = json.loads(render_json(replace(report, sections=(section,))))["sections"][0]
    assert twin["findings"][0]["value"] is None
    assert twin["findings"][0]["more"] == {"p": None}
    return twin
