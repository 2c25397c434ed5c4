import json
import os
import re
import subprocess
import sys

import pytest

from benchwater.schedule.manifest import FORMAT
from closed_folders import close_folder
from command_line import run
from small_bench import SMALL_BENCH, write_files

HEADER = "date,mold,cavity,outcome\n"
MAY = "2026-05-02,round-jig,1/8,good\n"
HEAVY = (
    "pandas", "numpy", "pint", "weasyprint", "matplotlib", "scipy", "statsmodels", "jinja2", "rich",
    "watchfiles", "pluggy",
)  # fmt: skip
BROKEN = """
from benchwater.plugin import Analysis, hookimpl

def analyse(season, span):
    raise ValueError("no luck")

@hookimpl
def analyses():
    return [Analysis(id="broken", title="T", question="Q?", order=1, analyse=analyse)]
"""


@pytest.fixture
def folder(tmp_path):
    return write_files(tmp_path, {"bench.toml": SMALL_BENCH, "pour-may.csv": HEADER + MAY})


def shown(report_folder):
    return sorted(path.name for path in report_folder.iterdir())


@pytest.mark.slow
def test_due_writes_what_is_owed_and_then_does_nothing_quickly(folder):
    first = run("due", folder, "--today", "2026-06-01")
    assert (first.status, first.err) == (0, "")
    pdf = folder / "reports" / "2026-05" / "season-report.pdf"
    assert first.out == f"2026-05: wrote {pdf}, .html, .json (no report yet)\n"
    assert shown(pdf.parent) == ["season-report.html", "season-report.json", "season-report.pdf"]
    code = (
        "import sys; from benchwater.commands import cli\n"
        f"status = cli.main(['due', {str(folder)!r}, '--today', '2026-06-01'], standalone_mode=False)\n"
        f"print(status, [name for name in {HEAVY!r} if name in sys.modules])"
    )
    second = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert (second.stdout, second.stderr) == ("0 []\n", "")
    assert run("due", folder, "--today", "2026-06-01", "--list").out.startswith("2026-05      written\n")


@pytest.mark.slow
def test_rows_set_aside_are_counted_once_behind_the_reports_written_and_in_the_log(folder):
    (folder / "pour-may.csv").write_text(HEADER + MAY + MAY.replace("05-02", "06-02") + "2026-06-03,,,\n")
    log = folder / "reports" / "due.log"
    outcome = run("due", folder, "--today", "2026-07-01", "--log", log)
    assert (outcome.status, outcome.err) == (0, "")
    told = [line.partition(": wrote")[0] for line in outcome.out.splitlines()]
    assert told == ["2026-05", "2026-06", "1 row set aside (see the appendix, or `benchwater check`)."]
    assert "  1 row set aside" in log.read_text()


@pytest.mark.slow
def test_due_writes_the_same_bytes_as_report_does(folder):
    run("due", folder, "--today", "2027-03-01")
    run("report", folder, "--month", "2026-05", "--out", folder / "by hand")
    run("report", folder, "--season", "--out", folder / "by hand")
    for label in ("2026-05", "season-2026"):
        for name in ("season-report.pdf", "season-report.html", "season-report.json"):
            made = (folder / "reports" / label / name).read_bytes()
            assert made == (folder / "by hand" / label / name).read_bytes()


@pytest.mark.slow
def test_a_failed_section_gives_status_1_once_and_is_tried_again_when_mended(folder):
    (folder / "plugins").mkdir()
    (folder / "plugins" / "broken.py").write_text(BROKEN)
    first = run("due", folder, "--today", "2026-06-01")
    assert first.status == 1
    assert "2026-05: broken failed. This analysis broke: ValueError: no luck" in first.err
    assert "Traceback" not in first.err
    again = run("due", folder, "--today", "2026-06-01")
    assert (again.status, again.out, again.err) == (0, "", "")
    assert "written (broken failed)" in run("due", folder, "--today", "2026-06-01", "--list").out
    (folder / "plugins" / "broken.py").write_text("from benchwater.plugin import hookimpl\n" + BROKEN)
    traced = run("due", folder, "--today", "2026-06-01", "--debug")
    assert "(plugins/broken.py changed)" in traced.out
    assert "Traceback" in traced.err


def test_list_prints_the_state_of_each_period_and_writes_nothing(folder):
    (folder / "pour-july.csv").write_text(HEADER + MAY.replace("05-02", "07-02"))
    before = sorted(path.name for path in folder.rglob("*"))
    outcome = run("due", folder, "--list", "--today", "2026-07-10")
    assert (outcome.status, outcome.err) == (0, "")
    assert outcome.out.splitlines() == [
        "2026-05      owed: no report yet",
        "2026-06      no rows",
        "2026-07      not ended",
        "season-2026  not ended",
    ]
    assert sorted(path.name for path in folder.rglob("*")) == before


def test_a_folder_without_rows_gives_status_0(folder):
    (folder / "pour-may.csv").unlink()
    outcome = run("due", folder, "--today", "2026-07-10")
    assert (outcome.status, outcome.out, outcome.err) == (0, "", "")
    assert "no rows yet" in run("due", folder, "--list", "--today", "2026-07-10").out


def test_an_error_is_one_sentence_and_is_in_the_log(folder):
    (folder / "bench.toml").write_text("[bench\n")
    log = folder / "reports" / "due.log"
    outcome = run("due", folder, "--log", log)
    assert outcome.status == 2
    assert "bench.toml" in outcome.err
    assert "Traceback" not in outcome.err
    assert "bench.toml, line 1: `[bench` is not valid TOML" in log.read_text()
    assert run("due", folder, "--today", "yesterday").status == 2


def test_the_log_records_a_run_with_nothing_to_do(folder):
    log = folder / "reports" / "due.log"
    outcome = run("due", folder, "--today", "2026-05-31", "--log", log)
    assert (outcome.status, outcome.out) == (0, "")
    assert re.fullmatch(r"\d{4}-\d\d-\d\d \d\d:\d\d  nothing is owed\n", log.read_text())


def test_a_report_that_cannot_be_written_is_named_and_stays_owed(folder):
    (folder / "reports").mkdir()
    (folder / "reports" / "2026-05").write_text("a file where a folder is wanted")
    outcome = run("due", folder, "--today", "2026-06-01")
    assert outcome.status == 1
    assert outcome.err.startswith("2026-05: not written.")
    assert "Traceback" not in outcome.err
    assert "owed" in run("due", folder, "--today", "2026-06-01", "--list").out


def test_the_manifest_lies_beside_the_reports_wherever_they_go(folder, tmp_path_factory):
    out = tmp_path_factory.mktemp("elsewhere")
    run("due", folder, "--today", "2026-05-31", "--out", out)
    assert json.loads((out / ".benchwater-due.json").read_text())["format"] == FORMAT
    assert not (folder / "reports").exists()


@pytest.mark.parametrize("command", ["due", "watch"])
def test_an_invalid_day_is_refused(folder, command):
    outcome = run(command, folder, "--today", "2026-02-30")
    assert outcome.status == 2
    assert "`2026-02-30` is not a day (accepted: `2026-06-01`)" in outcome.err


@pytest.mark.slow
def test_due_does_not_write_what_report_wrote_until_report_replaces_it_with_less(folder):
    assert run("report", folder).status == 0
    place = folder / "reports" / "2026-05"
    assert run("due", folder, "--today", "2026-05-31", "--list").out.startswith("2026-05      not ended\n")
    made = {path: path.stat().st_mtime_ns for path in place.iterdir()}
    due = run("due", folder, "--today", "2026-06-01")
    assert (due.status, due.out, due.err) == (0, "", "")
    assert {path: path.stat().st_mtime_ns for path in place.iterdir()} == made
    whole = {path: path.read_bytes() for path in made}
    assert run("report", folder, "--only", "defect_rate").status == 0
    again = run("due", folder, "--today", "2026-06-01")
    assert again.out.startswith(f"2026-05: wrote {place / 'season-report.pdf'}")
    assert {path: path.read_bytes() for path in place.iterdir()} == whole


def test_due_says_what_the_reports_that_it_writes_lack(folder, monkeypatch):
    for name in ("bench", "water"):
        (folder / name).mkdir()
    close_folder(monkeypatch, folder / "bench", folder / "water")
    outcome = run("due", folder, "--today", "2026-06-01")
    assert (outcome.status, outcome.out[:14]) == (1, "2026-05: wrote")
    assert outcome.err == "Nothing in `bench` and `water` is in these reports, as it cannot be read.\n"


def test_the_log_tells_what_a_run_did_before_it_was_killed(folder):
    plugins = folder / "plugins"
    plugins.mkdir()
    (plugins / "late.py").write_text(
        "import os, signal\nfrom benchwater.plugin import hookimpl\n\n@hookimpl\n"
        "def report_written(report):\n    os.kill(os.getpid(), signal.SIGKILL)\n"
    )
    log = folder / "due.log"
    arguments = ("due", folder, "--trust", "--today", "2026-06-01", "--log", log)
    script = "import sys; from benchwater.commands import cli; cli(sys.argv[1:])"
    done = subprocess.run([sys.executable, "-c", script, *map(str, arguments)], check=False)
    assert done.returncode == -9
    assert "  2026-05: wrote " in log.read_text()


def test_due_says_which_report_it_keeps_as_a_folder_cannot_be_read(folder, monkeypatch):
    (folder / "water").mkdir()
    (folder / "water" / "more.csv").write_text(HEADER + MAY.replace("05-02", "05-03"))
    assert run("due", folder, "--today", "2026-06-01").status == 0
    html = folder / "reports" / "2026-05" / "season-report.html"
    before = html.read_bytes()
    close_folder(monkeypatch, folder / "water")
    outcome = run("due", folder, "--today", "2026-06-01")
    assert outcome.status == 1
    assert outcome.err.startswith("2026-05: kept as it was: `water` cannot be read now")
    assert html.read_bytes() == before


def test_due_follows_no_link_and_waits_for_no_fifo_in_place_of_its_own_files(folder, tmp_path_factory):
    outside = tmp_path_factory.mktemp("outside") / "start-file"
    outside.write_text("{}")
    out = folder / "reports"
    out.mkdir()
    for name, status in (("due.log", 2), (".being-written", 2), (".benchwater-due.json", 0)):
        for make in (lambda path: path.symlink_to(outside), os.mkfifo):
            (out / ".benchwater-due.json").unlink(missing_ok=True)
            make(out / name)
            outcome = run("due", folder, "--today", "2026-05-31", "--log", out / "due.log")
            assert outcome.status == status, outcome.err
            assert outside.read_text() == "{}"
            (out / name).unlink()


def test_bench_toml_that_is_a_link_or_fifo_is_refused(folder, tmp_path_factory):
    outside = tmp_path_factory.mktemp("outside") / "bench.toml"
    (folder / "bench.toml").rename(outside)
    for make in (lambda path: path.symlink_to(outside), os.mkfifo):
        make(folder / "bench.toml")
        outcome = run("due", folder, "--today", "2026-06-01")
        assert outcome.status == 2
        assert "bench.toml cannot be opened: is " in outcome.err
        (folder / "bench.toml").unlink()
