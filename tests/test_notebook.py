"""`benchwater.load`: what a notebook gets from a folder."""

import csv
import json
import subprocess
import sys
import warnings
from pathlib import Path

import pandas as pd
import pytest

import benchwater
from benchwater.export import safe_text
from benchwater.notebook import PlaceError, SetAsideWarning
from benchwater.plugin import Season
from small_bench import SMALL_BENCH
from table_schema_rules import descriptor_faults, file_faults

DEMO = Path(__file__).parents[1] / "sample_logs"
POUR = """\
date,mold,cavity,outcome,mold_temp,note,=oven
2026-04-04,round-jig,1/8,good,310 F,"=HYPERLINK(""x"",""y"")",-2
2026-05-02 19:30,round-jig,1/8,good,-2 C,"+1, said Ansa",@home
2026-05-03,round-jig,1/8,iffy,hot,,
"""
STOCK = "date,item,move,amount\n2026-04-01,alloy,counted,1 lb\n2026-04-01,hook-2,counted,50\n"


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "bench.toml").write_text(SMALL_BENCH)
    (tmp_path / "pour.csv").write_text(POUR)
    (tmp_path / "stock.csv").write_text(STOCK)
    return tmp_path


def loaded(folder):
    with pytest.warns(SetAsideWarning, match="1 row set aside"):
        return benchwater.load(folder)


def test_load_gives_the_season_up_to_the_last_row_and_what_was_set_aside(folder):
    season = loaded(folder)
    assert issubclass(type(season), Season)
    assert list(season.log("pour")["mold_temp_c"]) == pytest.approx([(310 - 32) / 1.8, -2.0])
    assert (str(season.start), str(season.end)) == ("2026-03-01", "2026-05-03")
    assert len(season.rows("pour", season.span)) == 2
    assert [(row.line, row.value) for row in season.set_aside.itertuples()] == [(4, "iffy")]
    assert "pour 2" in repr(season)
    told = season.describe("pour").set_index("column")
    assert told.loc["mold_temp_c", "unit"] == "degC"
    assert told.loc["mold_temp_c", "meaning"] == "mold temperature just before this fill"


def test_cells_set_aside_are_told_and_their_rows_count(tmp_path):
    (tmp_path / "bench.toml").write_text(SMALL_BENCH)
    (tmp_path / "pour.csv").write_text(
        "date,mold,cavity,outcome,mold_temp\n2026-05-02,round-jig,1/8,good,hot\n"
    )
    with pytest.warns(SetAsideWarning, match="1 cell set aside"):
        season = benchwater.load(tmp_path)
    assert [(cell.line, cell.value) for cell in season.cells_set_aside.itertuples()] == [(2, "hot")]
    assert len(season.log("pour")) == 1


def test_a_folder_with_every_row_set_aside_loads(tmp_path):
    (tmp_path / "bench.toml").write_text(SMALL_BENCH)
    (tmp_path / "pour.csv").write_text("date,mold,cavity,outcome\nyesterday,round-jig,1/8,good\n")
    season = loaded(tmp_path)
    assert season.log("pour").empty
    assert season.set_aside["value"][0] == "yesterday"


def test_to_csv_conforms_to_its_schema_and_holds_the_same_numbers(folder, tmp_path_factory):
    season = loaded(folder)
    out = tmp_path_factory.mktemp("out")
    season.to_csv(out)
    resources = json.loads((out / "datapackage.json").read_text(encoding="utf-8"))["resources"]
    assert {resource["path"] for resource in resources} == {path.name for path in out.glob("*.csv")}
    for resource in resources:
        assert descriptor_faults(resource["schema"]) == []
        assert file_faults(resource["schema"], (out / resource["path"]).read_text(encoding="utf-8")) == []
    pour = pd.read_csv(out / "pour.csv", parse_dates=["date"])
    assert list(pour["mold_temp_c"]) == list(season.log("pour")["mold_temp_c"])
    assert list(pour["date"]) == list(season.log("pour")["date"])
    stock = pd.read_csv(out / "inventory.csv").set_index("item")
    assert dict(stock["amount"]) == pytest.approx({"alloy": 453.59237, "hook-2": 50})
    assert dict(stock["item_unit"]) == {"alloy": "g", "hook-2": "pieces"}


def test_to_csv_writes_no_formula_and_keeps_numbers(folder, tmp_path_factory):
    out = tmp_path_factory.mktemp("out")
    loaded(folder).to_csv(out)
    with (out / "pour.csv").open(encoding="utf-8", newline="") as stream:
        first, second = csv.DictReader(stream)
    assert first["note"] == '\'=HYPERLINK("x","y")'
    assert second["note"] == "'+1, said Ansa"
    assert (first["'=oven"], second["'=oven"]) == ("-2", "'@home")
    assert second["mold_temp_c"] == "-2.0"
    for text in ("=1", "+a", "-a", "@a", "\ta", "\ra", "-2+3", "＝1"):
        assert safe_text(text) == f"'{text}"
    for text in ("-2", "+3.5", "1-2", "a=b", ""):
        assert safe_text(text) == text


def test_to_csv_refuses_a_folder_that_is_read_for_logs(folder):
    season = loaded(folder)
    for place in (folder, folder / "exports", folder / "logs" / ".." / "more"):
        with pytest.raises(PlaceError, match="reports"):
            season.to_csv(place)
    season.to_csv(folder / "reports" / "tables")
    assert len(loaded(folder).log("pour")) == 2


@pytest.mark.slow
def test_to_csv_of_the_demo_season_conforms_to_its_schema(tmp_path):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", SetAsideWarning)
        season = benchwater.load(DEMO)
    season.to_csv(tmp_path)
    for resource in json.loads((tmp_path / "datapackage.json").read_text(encoding="utf-8"))["resources"]:
        text = (tmp_path / resource["path"]).read_text(encoding="utf-8")
        assert file_faults(resource["schema"], text) == [], resource["name"]
        assert len(text.splitlines()) > 30 or resource["name"] == "builds"


def test_importing_the_package_imports_nothing_heavy():
    code = "import sys, benchwater; print('pandas' in sys.modules or 'benchwater.notebook' in sys.modules)"
    assert subprocess.check_output([sys.executable, "-c", code], text=True).strip() == "False"


def test_load_is_offered_at_the_top():
    assert "load" in dir(benchwater)
    assert benchwater.__all__ == ["BenchError", "SetAsideWarning", "load"]
    assert benchwater.SetAsideWarning is SetAsideWarning
    assert issubclass(benchwater.BenchError, ValueError)
    with pytest.raises(AttributeError, match="lode"):
        benchwater.lode  # noqa: B018


def test_a_log_has_whole_numbers_and_yes_or_no_as_such(folder):
    (folder / "catch.csv").write_text(
        "date,species,build,released\n2026-05-01,perch,perch-grub,yes\n2026-05-01,perch,perch-grub,\n"
    )
    season = loaded(folder)
    assert (str(season["catch"]["count"].dtype), str(season["catch"]["released"].dtype)) == (
        "Int64",
        "boolean",
    )
    assert season["catch"]["released"].tolist() == [True, pd.NA]
    assert season.log("catch")["released"].tolist()[0] == "yes"
    with pytest.raises(KeyError, match="there are: "):
        season["poor"]


def test_a_month_ends_the_tables_and_is_what_section_reports_on(folder):
    with pytest.warns(SetAsideWarning):
        season = benchwater.load(folder, "2026-04")
    assert (len(season["pour"]), str(season.end)) == (1, "2026-05-01")
    section = season.section("pour_plan")
    assert section.id == "pour_plan"
    assert set(section.findings["span"]) <= {"period", "season"}
    assert season.report("2026-05", only=["bench_safety"]).label == "2026-05"
    with pytest.raises(KeyError, match="lead_rules has no section"):
        season.section("lead_rules")
