import subprocess
import sys
from dataclasses import replace
from datetime import date
from pathlib import Path

from click.shell_completion import ShellComplete

from benchwater.commands import cli
from benchwater.schedule.manifest import Inputs, Manifest, Period, Scan, write_manifest
from command_line import run

DEMO = Path(__file__).parents[2] / "sample_logs"

HEAVY = (
    "pandas",
    "numpy",
    "pint",
    "weasyprint",
    "matplotlib",
    "scipy",
    "statsmodels",
    "jinja2",
    "rich",
    "watchfiles",
)


def test_help_imports_nothing_heavy():
    code = (
        "import sys; from benchwater.commands import cli\n"
        "for words in (['--help'], ['report', '--help'], ['check', '--help']):\n"
        "    try: cli.main(words, standalone_mode=False)\n"
        "    except SystemExit: pass\n"
        f"print([name for name in {HEAVY!r} if name in sys.modules])"
    )
    result = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert result.stdout.splitlines()[-1] == "[]"


def test_every_command_is_in_the_help_with_a_whole_sentence():
    listed = run("--help").out.partition("Commands:")[2]
    for name in ("start", "sheets", "check", "report", "due", "watch", "timer", "plugins", "new-analysis"):
        assert name in listed
    assert "..." not in listed


def test_a_misspelt_command_is_a_plain_refusal():
    outcome = run("reprot")
    assert outcome.status == 2
    assert "reprot" in outcome.err
    assert "Traceback" not in outcome.err


def test_the_shell_completes_options_analyses_logs_and_months_with_rows(tmp_path):
    def completed(*words):
        *arguments, typed = words
        found = ShellComplete(cli, {}, "benchwater", "").get_completions([*map(str, arguments)], typed)
        return [each.value for each in found]

    ends = date(2026, 6, 1)
    period = Period(label="2026-05", month="2026-05", whole_season=False, ended_on=ends, rows_until=ends)
    season = replace(period, label="season-2026", whole_season=True)
    (tmp_path / "reports").mkdir()
    scan = Scan(inputs=Inputs(version="", bench=""), periods=(period, season))
    write_manifest(tmp_path / "reports", Manifest(scan=scan))
    assert completed("re") == ["report"]
    assert completed("report", "--tr") == ["--trip", "--trust"]
    assert completed("report", "--only", "catch") == ["catch_rate", "catch_size"]
    assert completed("report", tmp_path, "--month", "") == ["2026-05"]
    assert completed("sheets", "--log", "f") == ["finishing", "fishing"]


def test_a_closed_pipe_shows_no_traceback():
    command = [sys.executable, "-m", "benchwater", "check", str(DEMO)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.close()
        assert b"Traceback" not in process.stderr.read()
