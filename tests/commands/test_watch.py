import os
import queue
import signal
import subprocess
import sys
import threading
from datetime import date, datetime
from importlib import import_module

import pytest

from benchwater.plugin_host import trust
from benchwater.schedule import watching
from command_line import run
from small_bench import SMALL_BENCH, write_files

pytestmark = pytest.mark.skipif(os.name == "nt", reason="ends processes by POSIX signals")

command = import_module("benchwater.commands.watch")
HEADER = "date,mold,cavity,outcome\n"
WAIT_S = 90


class Watching:
    """A `benchwater watch` in a process of its own, and its lines as they come."""

    def __init__(self, folder, *options: str) -> None:
        words = [sys.executable, "-m", "benchwater", "watch", str(folder), "--today", "2026-06-01", *options]
        self.process = subprocess.Popen(
            words, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, start_new_session=True
        )
        self._lines: queue.Queue[str] = queue.Queue()
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self._lines.put(line.rstrip("\n"))

    def line(self) -> str:
        return self._lines.get(timeout=WAIT_S)

    def end(self, how: signal.Signals) -> tuple[int, list[str]]:
        self.process.send_signal(how)
        status = self.process.wait(WAIT_S)
        self._reader.join(WAIT_S)
        return status, list(self._lines.queue)

    def close(self) -> None:
        if self.process.poll() is None:
            self.process.kill()
            self.process.wait()
        self._reader.join(WAIT_S)
        assert self.process.stdout is not None
        self.process.stdout.close()


@pytest.fixture
def folder(tmp_path):
    rows = HEADER + "2026-06-02,round-jig,1/8,good\n"
    return write_files(tmp_path, {"bench.toml": SMALL_BENCH, "pour.csv": rows})


@pytest.fixture
def watch(folder):
    started = []

    def start(*options):
        started.append(Watching(folder, *options))
        assert started[-1].line() == f"Watching {folder.resolve()} (Ctrl-C ends it)."
        return started[-1]

    yield start
    for each in started:
        each.close()


@pytest.mark.slow
@pytest.mark.parametrize("option", [(), ("--poll",)])
def test_watch_writes_what_becomes_owed_continues_after_errors_and_ends_cleanly(folder, watch, option):
    (folder / "pour.csv").write_text(HEADER + "2026-05-02,round-jig,1/8,good\n")
    watcher = watch(*option)
    assert watcher.line().startswith("2026-05: wrote ")
    (folder / "bench.toml").write_text("[bench\n")
    assert watcher.line().startswith("Error: bench.toml, line 1: `[bench` is not valid TOML")
    (folder / "bench.toml").write_text(SMALL_BENCH)
    assert watcher.line() == "bench.toml changed: nothing is owed"
    (folder / "new.csv").write_text(HEADER + "2026-05-05,round-jig,1/8,good\n")
    line = watcher.line()
    assert line.startswith("2026-05: wrote ")
    assert line.endswith("(new.csv changed)")
    assert watcher.end(signal.SIGTERM) == (0, ["Stopped watching."])


@pytest.mark.slow
@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGTERM])
def test_watch_ends_cleanly_while_a_report_is_made_and_leaves_no_lock(folder, watch, how):
    (folder / "plugins").mkdir()
    (folder / "plugins" / "slow.py").write_text(
        "import time\nfrom benchwater.plugin import Analysis, Section, hookimpl\n\n"
        "def analyse(season, span):\n"
        f"    open({str(folder / 'reports' / 'begun')!r}, 'w').close()\n    time.sleep(60)\n\n"
        "@hookimpl\ndef analyses():\n"
        "    return [Analysis(id='slow', title='T', question='Q?', order=1, analyse=analyse)]\n"
    )
    trust.trust(folder)
    (folder / "pour.csv").write_text(HEADER + "2026-05-02,round-jig,1/8,good\n")
    watcher = watch()
    begun = threading.Event()
    for _ in range(WAIT_S * 10):
        if (folder / "reports" / "begun").exists():
            break
        begun.wait(0.1)
    assert (folder / "reports" / ".being-written").exists()
    status, lines = watcher.end(how)
    assert (status, lines[-1]) == (0, "Stopped watching.")
    assert not (folder / "reports" / ".being-written").exists()


@pytest.mark.slow
def test_watch_itself_imports_nothing_heavy(folder):
    heavy = ("pandas", "numpy", "pint", "weasyprint", "matplotlib", "scipy", "statsmodels", "jinja2")
    code = (
        "import os, signal, sys, threading; from benchwater.commands import cli\n"
        "threading.Timer(4, os.kill, (os.getpid(), signal.SIGTERM)).start()\n"
        f"status = cli.main(['watch', {str(folder)!r}, '--today', '2026-06-01'], standalone_mode=False)\n"
        f"print(status, [name for name in {heavy!r} if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-2:] == ["Stopped watching.", "0 []"]


@pytest.fixture
def watched(folder, monkeypatch):
    """Run `watch` in this process: it sees these changes, and runs this Python instead of `due`."""
    commands: list[list[str]] = []

    def run_watch(due: str, *changes: tuple[str, ...] | signal.Signals, options=()):
        def seen(*arguments: object, **others: object):
            for change in changes:
                if isinstance(change, signal.Signals):
                    os.kill(os.getpid(), change)
                else:
                    yield change

        def started(command, **others):
            commands.append(command)
            return real([sys.executable, "-c", due], **others)

        monkeypatch.setattr(watching, "quiet_changes", seen)
        monkeypatch.setattr(subprocess, "Popen", started)
        return run("watch", folder, *options), commands

    real = subprocess.Popen
    return run_watch


def test_watch_prints_what_due_says_and_what_changed_where_it_says_nothing(folder, watched):
    spoke, _ = watched("print('2026-05: wrote it')", (), ("a.csv",), signal.SIGTERM)
    assert spoke.status == 0
    assert spoke.out.splitlines()[1:] == ["2026-05: wrote it"] * 2 + ["Stopped watching."]
    silent, _ = watched("", (), ("a.csv",), ("a.csv", "b.csv", "c\n.csv", "d.csv", "e.csv"), signal.SIGINT)
    assert silent.out.splitlines()[1:-1] == [
        "a.csv changed: nothing is owed",
        "a.csv, b.csv, c\\n.csv and 2 more changed: nothing is owed",
    ]


def test_watch_goes_on_after_a_due_that_was_killed_or_could_not_begin(folder, watched, monkeypatch):
    outcome, _ = watched("import os; os.kill(os.getpid(), 9)", ("a.csv",), ("b.csv",), signal.SIGTERM)
    assert outcome.err.splitlines() == ["`due` was ended by signal 9; still watching."] * 2
    monkeypatch.setattr(sys, "executable", str(folder / "no python"))
    outcome, _ = watched("", ("a.csv",), ("b.csv",), signal.SIGTERM)
    assert outcome.err.splitlines() == ["`due` could not be run: No such file or directory"] * 2


def test_due_is_run_with_the_options_of_watch(folder, watched):
    given = ("--out", folder / "out", "--today", "2026-06-01", "--no-workspace-plugins", "--debug")
    watched("", (), signal.SIGTERM)
    _, commands = watched("", (), signal.SIGTERM, options=given)
    due = [sys.executable, "-P", "-m", "benchwater", "due", "--out"]
    assert commands == [
        [*due, str(folder / "reports"), "--", str(folder)],
        [*due, *map(str, given[1:]), "--", str(folder)],
    ]


def test_a_new_day_is_told_once_and_never_where_the_day_is_given(monkeypatch):
    class Calendar(date):
        day_of_year = 1

        @classmethod
        def today(cls):
            return date(2026, 1, cls.day_of_year)

    monkeypatch.setattr(command, "date", Calendar)
    free, fixed = command._Calendar(None), command._Calendar(datetime(2026, 6, 1))
    assert not free.new_day()
    Calendar.day_of_year = 2
    assert (free.new_day(), free.new_day(), fixed.new_day()) == (True, False, False)
