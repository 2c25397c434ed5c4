import os
import re
import signal
import subprocess
import sys
import time
from functools import partial
from pathlib import Path
from types import MappingProxyType

import pytest

from benchwater import worker_process
from benchwater.pipeline import Request, make_report, read_workspace
from benchwater.render.html import render_html
from benchwater.worker_process import WorkerProcess

DEMO = Path(__file__).parents[1] / "sample_logs"
needs_fork = pytest.mark.skipif(not worker_process.can_fork(), reason="no worker on this machine")
HERE = os.getpid()


def length_and_process(text: str) -> tuple[int, int]:
    return len(text), os.getpid()


@needs_fork
def test_a_worker_runs_each_function_after_it_has_prepared():
    prepared: list[str] = []

    with WorkerProcess(prepare=lambda: prepared.append("there")) as worker:
        worker.submit(partial(length_and_process, "a" * 1_000_000))
        length, first = worker.result()
        worker.submit(os.getpid)
        assert worker.result() == first != HERE
    assert (length, prepared) == (1_000_000, [])


def test_functions_run_in_this_process_where_it_cannot_fork(monkeypatch):
    monkeypatch.setattr(worker_process, "can_fork", lambda: False)
    with WorkerProcess() as worker:
        worker.submit(os.getpid)
        assert worker.result() == HERE


def test_functions_run_in_this_process_outside_the_context():
    worker = WorkerProcess()
    worker.submit(os.getpid)
    assert worker.result() == HERE


@needs_fork
def test_a_function_submitted_before_entry_need_not_be_picklable():
    worker = WorkerProcess()
    worker.submit(lambda: os.getpid())
    with worker:
        assert worker.result() != HERE
        worker.submit(os.getpid)
        assert worker.result() != HERE
    worker.submit(lambda: os.getpid())
    assert worker.result() == HERE


def killed_in_the_worker() -> int:
    if os.getpid() != HERE:
        os.kill(os.getpid(), signal.SIGKILL)
    return os.getpid()


def raises_in_the_worker() -> int:
    if os.getpid() != HERE:
        raise ValueError
    return os.getpid()


def returns_what_cannot_be_pickled() -> object:
    return os.getpid() if os.getpid() == HERE else lambda: 1


@needs_fork
@pytest.mark.parametrize(
    "function",
    [killed_in_the_worker, raises_in_the_worker, returns_what_cannot_be_pickled, lambda: os.getpid()],
)
def test_a_function_the_worker_cannot_run_runs_here(function):
    with WorkerProcess() as worker:
        for _ in range(2):
            worker.submit(function)
            assert worker.result() == HERE


@needs_fork
def test_a_worker_that_cannot_prepare_is_done_without():
    with WorkerProcess(prepare=lambda: 1 / 0) as worker:
        worker.submit(partial(length_and_process, "x" * 1_000_000))
        assert worker.result() == (1_000_000, HERE)


def test_what_the_function_raises_is_raised_here():
    with WorkerProcess() as worker:
        worker.submit(partial(int, "metal"))
        with pytest.raises(ValueError, match="metal"):
            worker.result()


@needs_fork
def test_leaving_the_context_kills_the_worker_whatever_it_does():
    with WorkerProcess() as worker:
        worker.submit(os.getpid)
        process = worker.result()
        worker.submit(partial(time.sleep, 60))
    with pytest.raises(ProcessLookupError):
        os.kill(process, 0)


OWNER = """
import os, time
from benchwater.worker_process import WorkerProcess

with WorkerProcess() as worker:
    worker.submit(os.getpid)
    print(worker.result(), flush=True)
    time.sleep(60)
"""


@needs_fork
def test_a_worker_ends_when_its_parent_is_killed():
    with subprocess.Popen([sys.executable, "-c", OWNER], stdout=subprocess.PIPE) as owner:
        assert owner.stdout is not None
        worker = int(owner.stdout.readline())
        owner.kill()
        owner.wait()
        assert owner.stdout.read() == b"", "the pipe is at its end only when the worker has ended too"
    assert worker != owner.pid


@needs_fork
def test_a_report_of_the_demo_renders_to_the_same_page_in_a_worker():
    report = make_report(read_workspace(DEMO), Request(month="2026-05", only=("cost", "bench_safety")))
    assert isinstance(report.bench.molds, MappingProxyType)
    with WorkerProcess() as worker:
        worker.submit(partial(render_html, report, ["pour.csv"]))
        page = worker.result()
        worker.submit(os.getpid)
        assert worker.result() != HERE, "the worker received the whole report"
    assert page == render_html(report, ["pour.csv"])


@needs_fork
def test_a_worker_that_holds_its_interpreter_ends_with_its_parent(tmp_path):
    """As a supervised run that is killed must leave no process behind, whatever a plugin does there."""
    held = tmp_path / "held"
    parent = os.fork()
    if parent == 0:
        worker = WorkerProcess()
        worker.submit(lambda: (held.write_text(str(os.getpid())), re.match(r"(a+)+$", "a" * 60 + "b")))
        worker.__enter__()
        time.sleep(60)
    while not (held.exists() and held.read_text()):
        time.sleep(0.02)
    os.kill(parent, signal.SIGKILL)
    os.waitpid(parent, 0)
    worker_id = int(held.read_text())
    for _ in range(200):
        state = Path(f"/proc/{worker_id}/stat")
        if not state.exists() or state.read_text().rpartition(") ")[2][0] == "Z":
            return
        time.sleep(0.02)
    os.kill(worker_id, signal.SIGKILL)
    raise AssertionError("the worker went on without its parent")
