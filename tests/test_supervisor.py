"""What a plugin can do to a run, and what must happen: the report is written, and the plugin is named."""

import json
import os
import signal
import subprocess
import sys
import textwrap
import time
from pathlib import Path

import pytest

from benchwater import supervisor
from small_bench import SMALL_BENCH

RUN = """
import signal, sys
signal.signal(signal.SIGINT, signal.default_int_handler)  # ignored where the tests run in the background
from benchwater import supervisor
from benchwater.analyse import run
from benchwater.commands import main
supervisor.LONGEST_CALL_S, supervisor.GRACE_S, run.LONGEST_ANALYSIS_S = 3.0, 0.5, 3.0
supervisor.MEMORY_SHARE = 0
sys.argv = ["benchwater", *sys.argv[1:]]
main()
"""
PLUGIN = """
import os, re, sys, time
from benchwater.plugin import Analysis, Column, LogKind, RowProblem, Section, hookimpl

class Own(BaseException):
    pass

class Mute(Exception):
    def __str__(self):
        raise RuntimeError("no")

def hold():
    re.match(r"(a+)+b", "a" * 60)

def at_import():
    {at_import}

def analyse(season, span):
    {analyse}
    return Section.empty("Nothing.")

def check(row, bench):
    {check}
    return []

at_import()

@hookimpl
def analyses():
    {hook}
    return [Analysis(id="mine", title="Mine", question="?", order=1, needs=(), analyse=analyse)]

@hookimpl
def log_kinds():
    date = Column(name="date", meaning="day", kind="date", needed=True)
    sky = Column(name="sky", meaning="how it looked", kind="text", needed=True)
    return [LogKind(name="weather", title="Weather", columns=(date, sky), check=check)]

@hookimpl
def report_written(report):
    {report_written}
"""
FOREVER = "while True: pass"
SLOW = "it was not done after 3 seconds"
TAKES_MEMORY = "takes all memory"
ATTACKS: dict[str, tuple[str, str, tuple[str, ...]]] = {
    "loops": (FOREVER, SLOW, ("at_import", "check", "hook", "report_written")),
    "holds the interpreter in a regular expression": ("hold()", SLOW, ("at_import", "check", "analyse")),
    "ends the process": ("os._exit(0)", "it ended the program (exit status 0)", ("hook", "analyse")),
    "kills itself": ("os.kill(os.getpid(), 9)", "it ended the program (signal 9)", ("report_written",)),
    "raises GeneratorExit": ("raise GeneratorExit", "GeneratorExit", ("at_import", "analyse")),
    "raises a BaseException of its own": ("raise Own('mine')", "Own: mine", ("check", "report_written")),
    "raises what cannot be said": (
        "raise Mute",
        "Mute: (its message raises RuntimeError)",
        ("check", "at_import", "analyse"),
    ),
    "leaves by sys.exit": ("sys.exit(0)", "SystemExit: 0", ("hook",)),
    TAKES_MEMORY: (
        "x = [bytearray(1 << 30) for _ in range(1000)]",
        "MemoryError",
        ("at_import", "check", "analyse"),
    ),
}


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "plugins").mkdir()
    (tmp_path / "bench.toml").write_text(SMALL_BENCH)
    (tmp_path / "pour.csv").write_text("date,mold,cavity,outcome\n2026-05-02,round-jig,1/8,good\n")
    (tmp_path / "sky.csv").write_text("date,sky\n2026-05-01,blue\n")
    return tmp_path


def started(folder: Path, *arguments: str, **attacks: str) -> subprocess.Popen[str]:
    parts = dict.fromkeys(("at_import", "analyse", "check", "hook", "report_written"), "pass") | attacks
    (folder / "plugins" / "mine.py").write_text(PLUGIN.format(**parts))
    return subprocess.Popen(
        [sys.executable, "-c", textwrap.dedent(RUN), arguments[0], ".", "--trust", *arguments[1:]],
        cwd=folder,
        text=True,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env={**os.environ, "XDG_STATE_HOME": str(folder.parent / "state")},
    )


def cases(*wanted: str) -> list[tuple[str, str]]:
    return [
        (place, attack) for attack, (*_, places) in ATTACKS.items() for place in places if place in wanted
    ]


@pytest.mark.slow
@pytest.mark.parametrize(("place", "attack"), cases("at_import", "check", "hook"))
def test_a_plugin_that_breaks_while_logs_are_read_is_named_and_they_are_read(folder, place, attack):
    code, words, _ = ATTACKS[attack]
    out, err = started(folder, "check", **{place: code}).communicate(timeout=60)
    assert "pour.csv" in out, err
    (line,) = [line for line in out.splitlines() if line.startswith("  mine.py (workspace)")]
    assert words in line or (attack == TAKES_MEMORY and SLOW in line)


@pytest.mark.slow
@pytest.mark.parametrize(("place", "attack"), cases("analyse", "report_written"))
def test_a_plugin_that_breaks_on_a_report_is_named_and_the_report_is_written(folder, place, attack):
    code, words, _ = ATTACKS[attack]
    only = () if place == "report_written" else ("--only", "mine", "--only", "pour_plan")
    process = started(folder, "report", *only, **{place: code})
    _, err = process.communicate(timeout=100)
    assert process.returncode == 1, err
    assert words in err or (attack == TAKES_MEMORY and SLOW in err)
    twin = json.loads((folder / "reports" / "2026-05" / "season-report.json").read_text())
    statuses = {section["id"]: section["status"] for section in twin["sections"]}
    assert statuses["mine"] == ("failed" if place == "analyse" else "empty")
    assert statuses["pour_plan"] != "failed"


def test_a_plugin_that_changes_the_working_directory_changes_no_folder_of_the_run(folder):
    out, err = started(folder, "check", at_import="os.chdir('/')").communicate(timeout=60)
    assert "pour.csv" in out, err


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT, signal.SIGKILL])
def test_a_signal_to_the_run_ends_all_of_it(folder, number):
    with started(folder, "check", at_import="print(os.getpid(), flush=True); time.sleep(1000)") as process:
        assert process.stdout is not None
        child = int(process.stdout.readline())
        process.send_signal(number)
        assert process.wait(20) == {signal.SIGINT: 130}.get(number, -number)
    for _ in range(100):
        try:
            os.kill(child, 0)
        except ProcessLookupError:
            break
        time.sleep(0.05)
    else:
        pytest.fail("the child is still there")


def test_a_call_is_timed_though_another_process_of_the_run_makes_and_ends_its_own():
    code = """
import os, time
from benchwater import supervisor

def run():
    with supervisor.plugin_call("Mine  of\\nmine.py", 0.2):
        if os.fork() == 0:
            with supervisor.plugin_call("Another", 100):
                pass
            os._exit(0)
        time.sleep(30)

supervisor.GRACE_S = 0.2
supervisor.supervise(run, lambda told: print(told, flush=True))
"""
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=20)
    assert run.stdout == "Mine of mine.py: it was not done after 0.2 seconds. Starting again without it.\n"
    assert "StoppedError: it was not done after 0.2 seconds" in run.stderr


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGKILL])
def test_a_run_that_is_ended_outside_a_plugin_ends_by_the_same_signal(number):
    code = f"""
import os
from benchwater import commands
commands.guarded = lambda *_: os.kill(os.getpid(), {number})
commands.main()
"""
    run = subprocess.run([sys.executable, "-c", code, "check"], capture_output=True, check=False)
    assert (run.returncode, run.stderr) == (-number, b"")


def test_a_process_that_is_not_supervised_keeps_its_own_settings_of_memory(monkeypatch):
    monkeypatch.setattr(
        "benchwater.supervisor.ctypes.CDLL", lambda name: pytest.fail("the library was asked")
    )
    supervisor.return_freed_memory()
