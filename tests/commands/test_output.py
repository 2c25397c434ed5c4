"""Exit statuses and output that other programs and odd terminals get."""

import errno
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from benchwater.files import write_atomically
from command_line import run
from small_bench import SMALL_BENCH, write_files

ROWS = "date,mold,cavity,outcome\n2026-04-02,round-jig,1/8,good\n2026-05-02,round-jig,1/8,purple\n"


@pytest.fixture
def folder(tmp_path):
    return write_files(tmp_path, {"bench.toml": SMALL_BENCH, "pour.csv": ROWS})


def shell(folder: Path, line: str, **environment: str) -> "subprocess.CompletedProcess[str]":
    return subprocess.run(
        ["bash", "-c", line.replace("benchwater", f"{sys.executable} -m benchwater")],
        cwd=folder,
        env={**os.environ, **environment},
        capture_output=True,
        text=True,
        check=False,
    )


def test_without_a_command_it_shows_the_commands_and_succeeds():
    outcome = run()
    assert outcome.status == 0
    assert "new-analysis" in outcome.out


def test_check_fails_on_what_was_set_aside_only_if_it_is_strict(folder):
    assert run("check", folder).status == 0
    assert run("check", folder, "--strict").status == 1


def test_check_prints_json_for_other_programs(folder):
    found = json.loads(run("check", folder, "--json").out)
    (row,) = found["set_aside"]
    assert (row["file"], row["line"], row["column"], row["value"]) == ("pour.csv", 3, "outcome", "purple")
    assert (found["sources"][0]["rows"], found["plugin_problems"]) == (2, [])


@pytest.mark.slow
def test_a_quiet_report_prints_nothing_when_all_went_well(folder):
    outcome = run("report", folder, "--quiet", "--only", "pour_plan")
    assert (outcome.status, outcome.out, outcome.err) == (0, "", "")


@pytest.mark.parametrize("closed", ["2>&-", ">&-", "<&- 2>&-"])
def test_closed_streams_are_no_error(folder, closed):
    assert shell(folder, f"benchwater check . {closed}").returncode == 0


def test_a_terminal_without_the_letters_of_a_name_shows_their_codes(folder):
    (folder / "bench.toml").write_text(SMALL_BENCH.replace("Small bench", "Верстак"))
    done = shell(folder, "benchwater check .", PYTHONIOENCODING="iso-8859-1", PYTHONUTF8="0")
    assert done.returncode == 0, done.stderr
    assert "\\u0412" in done.stdout


@pytest.mark.slow
def test_due_writes_all_that_is_owed_though_nobody_reads_its_output(folder):
    (folder / "pour.csv").write_text(ROWS.replace("purple", "good"))
    shell(folder, "benchwater due . --today 2026-06-02 | true")
    assert sorted(path.parent.name for path in folder.glob("reports/*/season-report.json")) == [
        "2026-04",
        "2026-05",
    ]


def test_a_full_disk_names_the_file(tmp_path, monkeypatch):
    def full(descriptor):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OSError, match=r"No space left on device: .*report\.pdf"):
        write_atomically(tmp_path / "report.pdf", b"x")
