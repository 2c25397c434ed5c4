"""`benchwater sheets`, as its user runs it."""

from pathlib import Path

import pypdf
import pytest

from command_line import run
from sheets.sample_benches import crowded_text
from small_bench import SMALL_BENCH

PLUGIN = """
from benchwater.plugin import Column, LogKind, hookimpl

@hookimpl
def log_kinds():
    return [LogKind(name="tide", title="Tide log", columns=(
        Column(name="date", meaning="day", kind="date", needed=True),
        Column(name="stage", meaning="of the tide", kind="word", words=("ebb", "flood"), needed=True),
        Column(name="height", meaning="above chart", kind="length", bare_unit="m"),
    ))]
"""


def workspace(folder: Path, bench: str = SMALL_BENCH) -> Path:
    folder.mkdir(exist_ok=True)
    (folder / "bench.toml").write_text(bench, encoding="utf-8")
    return folder


@pytest.mark.slow
def test_a_started_workspace_gets_a_sheet_of_every_log(tmp_path):
    run("start", tmp_path / "bench")
    outcome = run("sheets", tmp_path / "bench")
    assert (outcome.status, outcome.err) == (0, "")
    written = sorted(path.name for path in (tmp_path / "bench/reports/sheets").iterdir())
    assert written == ["catch.pdf", "finishing.pdf", "fishing.pdf", "inventory.pdf", "pour.pdf"]
    assert outcome.out.count("Wrote") == 5
    assert run("check", tmp_path / "bench").status == 0


def test_one_log_somewhere_else(tmp_path):
    outcome = run("sheets", workspace(tmp_path / "b"), "--log", "pour", "--out", tmp_path / "print/here")
    assert outcome.status == 0
    assert [path.name for path in (tmp_path / "print/here").iterdir()] == ["pour.pdf"]
    assert not (tmp_path / "b/reports").exists()


def test_an_unknown_log_is_refused_with_the_nearest_name(tmp_path):
    outcome = run("sheets", workspace(tmp_path), "--log", "poor")
    assert outcome.status == 2
    assert "there is no log `poor`; did you mean `pour`?" in outcome.err
    far = run("sheets", tmp_path, "--log", "zzz")
    assert "there are: catch, finishing, fishing, inventory, pour" in far.err
    assert not (tmp_path / "reports").exists()


def test_a_log_of_the_makers_own_plugin_gets_a_sheet_unless_left_out(tmp_path):
    (workspace(tmp_path) / "plugins").mkdir()
    (tmp_path / "plugins/tide.py").write_text(PLUGIN)
    outcome = run("sheets", tmp_path, "--log", "tide")
    assert outcome.status == 0, outcome.err
    fields = pypdf.PdfReader(tmp_path / "reports/sheets/tide.pdf").get_fields()
    assert fields is not None
    assert {"r01 stage ebb", "r01 stage flood", "r01 height", "date"} <= set(fields)
    assert run("sheets", tmp_path, "--log", "tide", "--no-workspace-plugins").status == 2


def test_a_broken_plugin_is_reported_and_the_sheets_are_written(tmp_path):
    (workspace(tmp_path) / "plugins").mkdir()
    (tmp_path / "plugins/broken.py").write_text("raise ValueError('rust')\n")
    outcome = run("sheets", tmp_path, "--log", "catch")
    assert outcome.status == 1
    assert "rust" in outcome.err
    assert (tmp_path / "reports/sheets/catch.pdf").exists()


def test_a_folder_without_a_bench_says_how_to_begin(tmp_path):
    outcome = run("sheets", tmp_path)
    assert outcome.status == 2
    assert "benchwater start" in outcome.err


@pytest.mark.slow
def test_several_pages_are_counted(tmp_path):
    outcome = run("sheets", workspace(tmp_path, crowded_text(16)), "--log", "pour")
    assert outcome.status == 0
    pages = len(pypdf.PdfReader(tmp_path / "reports/sheets/pour.pdf").pages)
    assert pages > 1
    assert f"pour.pdf ({pages} pages)" in outcome.out


@pytest.mark.slow
def test_the_season_ahead_is_printed_as_lists_to_tick(tmp_path):
    outcome = run("sheets", "sample_logs", "--shopping", "--out", tmp_path)
    assert outcome.status == 0, outcome.err
    text = "".join(page.extract_text() for page in pypdf.PdfReader(tmp_path / "shopping.pdf").pages)
    assert "Before next season" in text
    assert "fills of guard-jig" in text
