import os
import queue
import signal
import subprocess
import sys
import threading

import pytest

from benchwater.plugin_host import trust
from small_bench import SMALL_BENCH

pytestmark = [pytest.mark.slow, pytest.mark.skipif(os.name == "nt", reason="ends processes by POSIX signals")]

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
    (tmp_path / "bench.toml").write_text(SMALL_BENCH)
    (tmp_path / "pour.csv").write_text(HEADER + "2026-06-02,round-jig,1/8,good\n")
    return tmp_path


@pytest.fixture
def watch(folder):
    started = []

    def start(*options):
        started.append(Watching(folder, *options))
        assert started[-1].line() == f"Watching {folder.resolve()} (Ctrl-C ends it)."
        return started[-1]

    yield start
    for watching in started:
        watching.close()


@pytest.mark.parametrize("option", [(), ("--poll",)])
def test_watch_writes_what_becomes_owed_continues_after_errors_and_ends_cleanly(folder, watch, option):
    (folder / "pour.csv").write_text(HEADER + "2026-05-02,round-jig,1/8,good\n")
    watching = watch(*option)
    assert watching.line().startswith("2026-05: wrote ")
    (folder / "bench.toml").write_text("[bench\n")
    assert watching.line().startswith("Error: bench.toml, line 1: `[bench` is not valid TOML")
    (folder / "bench.toml").write_text(SMALL_BENCH)
    assert watching.line() == "bench.toml changed: nothing is owed"
    (folder / "new.csv").write_text(HEADER + "2026-05-05,round-jig,1/8,good\n")
    line = watching.line()
    assert line.startswith("2026-05: wrote ")
    assert line.endswith("(new.csv changed)")
    assert watching.end(signal.SIGTERM) == (0, ["Stopped watching."])


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
    watching = watch()
    begun = threading.Event()
    for _ in range(WAIT_S * 10):
        if (folder / "reports" / "begun").exists():
            break
        begun.wait(0.1)
    assert (folder / "reports" / ".being-written").exists()
    status, lines = watching.end(how)
    assert (status, lines[-1]) == (0, "Stopped watching.")
    assert not (folder / "reports" / ".being-written").exists()


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
