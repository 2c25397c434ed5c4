import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from pypdf import PdfReader

from benchwater.files import LOG_ENDINGS, WORKBOOKS
from benchwater.render.pdf import PrintingUnavailable
from command_line import run
from small_bench import SMALL_BENCH

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "sample_logs"

FINE = """
from benchwater.plugin import Analysis, Finding, Section, hookimpl

def analyse(season, span):
    return Section(status="ok", findings=(Finding(id="rows", text="Seen by my own plugin.", value=1.0),))

@hookimpl
def analyses():
    return [Analysis(id="mine", title="My own question", question="What?", order=950, analyse=analyse)]
"""
BROKEN = (
    FINE.replace('"mine"', '"broken"')
    .replace("My own", "A broken")
    .replace("    return Section(", '    season.log("pour")["no such column"]\n    return Section(')
)


def workspace(tmp_path, **plugins):
    (tmp_path / "bench.toml").write_text(SMALL_BENCH)
    (tmp_path / "p.csv").write_text("date,mold,cavity,outcome\n2026-05-02,round-jig,1/8,good\n")
    (tmp_path / "plugins").mkdir()
    for name, text in plugins.items():
        (tmp_path / "plugins" / f"{name}.py").write_text(text)
    return tmp_path


def twin(folder):
    return json.loads((folder / "season-report.json").read_text(encoding="utf-8"))


def test_a_new_workspace_gives_a_nearly_empty_report(tmp_path):
    run("start", tmp_path)
    outcome = run("report", tmp_path, "--month", "2026-05")
    assert (outcome.status, outcome.err) == (0, "")
    made = twin(tmp_path / "reports" / "2026-05")
    statuses = {section["id"]: section["status"] for section in made["sections"]}
    statuses.pop("bench_safety", None)
    assert set(statuses.values()) == {"empty"}
    assert made["set_aside"] == []


def test_what_went_wrong_is_said_line_by_line_with_status_1(tmp_path, monkeypatch):
    folder = workspace(tmp_path, broken=BROKEN, unloadable="1/0\n")
    (folder / "notes.docx").write_text("no log")
    older = folder / "reports" / "2026-05" / "season-report.pdf"
    older.parent.mkdir(parents=True)
    older.write_bytes(b"of another month")

    def without_libraries():
        raise PrintingUnavailable("Install Pango.")

    monkeypatch.setattr("benchwater.render.pdf.weasyprint", without_libraries)
    outcome = run("report", folder, "--trust", "--only", "broken")
    assert outcome.status == 1
    assert outcome.err.splitlines() == [
        f"No row of notes.docx was read: it is not a log: logs end in {', '.join(LOG_ENDINGS + WORKBOOKS)}.",
        "Plugin unloadable.py (workspace) could not be loaded: ZeroDivisionError: division by zero (line 1)",
        "broken failed. This analysis broke: KeyError: 'no such column' (broken.py, line 5)",
        "The PDF was not printed. Install Pango.",
    ]
    assert [path.name for path in sorted(older.parent.iterdir())] == [
        "season-report.html",
        "season-report.json",
    ]
    assert "1 row used, 0 set aside (see the appendix" in outcome.out


@pytest.mark.slow
def test_a_dropped_file_is_a_section_and_a_broken_one_is_a_failed_section_among_the_rest(tmp_path):
    folder = workspace(tmp_path, mine=FINE, broken=BROKEN, unloadable="1/0\n")
    outcome = run("report", folder)
    assert outcome.status == 1
    assert "broken failed" in outcome.err
    assert "broken.py, line 5" in outcome.err
    assert "unloadable.py" in outcome.err
    assert "Traceback" not in outcome.err
    sections = {section["id"]: section for section in twin(folder / "reports" / "2026-05")["sections"]}
    assert sections["mine"]["findings"][0]["text"] == "Seen by my own plugin."
    assert sections["broken"]["status"] == "failed"
    assert "KeyError" in sections["broken"]["why"]
    pdf = folder / "reports" / "2026-05" / "season-report.pdf"
    text = "".join(page.extract_text() for page in PdfReader(pdf).pages)
    assert all(shown in text for shown in ("My own question", "A broken question", "KeyError")), text
    assert "Traceback" in run("report", folder, "--debug").err
    refused = run("report", folder, "--no-workspace-plugins")
    assert refused.status == 0
    assert "mine" not in [section["id"] for section in twin(folder / "reports" / "2026-05")["sections"]]


def test_only_selects_analyses_and_refuses_an_unknown_name(tmp_path):
    folder = workspace(tmp_path, mine=FINE)
    assert run("report", folder, "--only", "mine").status == 0
    assert [section["id"] for section in twin(folder / "reports" / "2026-05")["sections"]] == ["mine"]
    near = run("report", folder, "--only", "mime")
    assert (near.status, "did you mean `mine`?" in near.err) == (2, True)
    unknown = run("report", folder, "--only", "weather")
    assert (unknown.status, "there are: material_balance, " in unknown.err) == (2, True)


def test_only_says_why_a_plugin_did_not_load(tmp_path):
    folder = workspace(tmp_path, mine=FINE.replace("950", '"950"'), rainy="import no_such_module\n")
    outcome = run("report", folder, "--only", "mine")
    assert (outcome.status, "no_such_module" in outcome.err) == (2, False)
    assert "`mine`: mine.py (workspace) could not be loaded: TypeError: `Analysis.order`" in outcome.err
    assert all(
        f"{name}.py (workspace)" in run("report", folder, "--only", "x").err for name in ("mine", "rainy")
    )
    (folder / "bench.toml").write_text(SMALL_BENCH + '[plugins]\noff = ["cost"]\n')
    assert "`cost` is switched off in bench.toml" in run("report", folder, "--only", "cost").err


def test_an_invalid_month_is_refused(tmp_path):
    outcome = run("report", workspace(tmp_path), "--month", "May")
    assert outcome.status == 2
    assert "2026-05" in outcome.err


def test_a_month_without_rows_is_said_after_the_report(tmp_path):
    folder = workspace(tmp_path)
    outcome = run("report", folder, "--month", "2026-06", "--only", "defect_rate")
    assert (outcome.status, outcome.err) == (0, "")
    assert outcome.out.splitlines()[-2:] == [
        "1 row used, 0 set aside (see the appendix, or `benchwater check`).",
        "No row is of 2026-06: the latest is of 2026-05-02.",
    ]
    assert "No row" not in run("report", folder, "--month", "2026-05", "--only", "defect_rate").out


def test_a_read_only_folder_is_refused(tmp_path):
    folder = workspace(tmp_path)
    (tmp_path / "blocked").write_text("a file where a folder is wanted")
    outcome = run("report", folder, "--out", tmp_path / "blocked" / "deeper")
    assert outcome.status == 2
    assert "blocked" in outcome.err
    assert "Traceback" not in outcome.err


def on_one_processor():
    os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})


@pytest.mark.slow
def test_the_same_logs_give_the_same_bytes_in_another_time_zone_and_with_one_processor(tmp_path):
    for name, environment, begin in (
        ("one", {"PYTHONHASHSEED": "1", "TZ": "Pacific/Auckland", "LC_ALL": "C.UTF-8"}, None),
        (
            "two",
            {"PYTHONHASHSEED": "2", "TZ": "America/Anchorage", "LC_ALL": "C"},
            on_one_processor if sys.platform == "linux" else None,
        ),
    ):
        subprocess.run(
            [
                sys.executable,
                "-m",
                "benchwater",
                "report",
                DEMO,
                "--month",
                "2026-06",
                "--out",
                tmp_path / name,
            ],
            check=True,
            env={**os.environ, **environment},
            stdout=subprocess.PIPE,
            preexec_fn=begin,
        )
    for ending in ("pdf", "html", "json"):
        one, two = (tmp_path / name / "2026-06" / f"season-report.{ending}" for name in ("one", "two"))
        assert one.read_bytes() == two.read_bytes(), ending
