import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from types import MappingProxyType

import pytest

from benchwater.aside import second_process
from benchwater.aside.second_process import SecondProcess

needs_two = pytest.mark.skipif(not second_process.of_use(), reason="no second process on this machine")


def whose(given: str) -> tuple[str, int]:
    return given, os.getpid()


@needs_two
def test_the_work_is_done_in_another_process_as_often_as_it_is_given():
    prepared: list[str] = []

    def work(given: str) -> tuple[str, int, list[str]]:
        return given, os.getpid(), prepared

    with SecondProcess(work, prepare=lambda: prepared.append("there")) as it:
        it.give("a")
        first = it.answer()
        it.give("b" * 1_000_000)
        second = it.answer()
    assert first[1] == second[1] != os.getpid()
    assert (first[0], len(second[0]), first[2], prepared) == ("a", 1_000_000, ["there"], [])


def test_with_one_processor_it_is_done_here(monkeypatch):
    monkeypatch.setattr(second_process, "of_use", lambda: False)
    with SecondProcess(whose) as it:
        it.give("c")
        assert it.answer() == ("c", os.getpid())


def test_one_that_was_never_begun_does_its_work_here():
    it = SecondProcess(whose)
    it.give("c")
    assert it.answer() == ("c", os.getpid())


@needs_two
@pytest.mark.parametrize(
    "fails",
    [
        lambda: os.kill(os.getpid(), signal.SIGKILL),
        lambda: os._exit(3),
        lambda: sys.exit("gone"),
        lambda: 1 / 0,
        lambda: lambda: "not to be pickled",
    ],
    ids=["killed", "left", "exited", "raised", "unpicklable"],
)
def test_what_the_other_process_cannot_do_is_done_here(fails):
    here = os.getpid()

    def work(given):
        return whose(given) if os.getpid() == here else fails()

    with SecondProcess(work) as it:
        for given in ("once", "and again"):
            it.give(given)
            assert it.answer() == (given, here)


@needs_two
def test_one_that_fails_while_it_gets_ready_harms_nothing():
    with SecondProcess(whose, prepare=lambda: 1 / 0) as it:
        it.give("x" * 1_000_000)
        assert it.answer()[1] == os.getpid()


@needs_two
def test_what_cannot_be_handed_over_is_worked_on_here():
    def count(given: list[Callable[[], int]]) -> tuple[int, int]:
        return len(given), os.getpid()

    with SecondProcess(count) as it:
        for _ in range(2):
            it.give([lambda: 1])
            assert it.answer() == (1, os.getpid())


@needs_two
def test_the_bench_s_mappings_can_be_handed_over_and_back():
    def same(given: MappingProxyType[str, MappingProxyType[str, int]]) -> tuple[object, int]:
        return given, os.getpid()

    tables = MappingProxyType({"a": MappingProxyType({"b": 1})})
    with SecondProcess(same) as it:
        it.give(tables)
        given, pid = it.answer()
    assert given == tables
    assert isinstance(given, MappingProxyType)
    assert pid != os.getpid()


def test_an_error_of_the_work_is_raised_here():
    def broken(given):
        raise LookupError(f"no {given}")

    with SecondProcess(broken) as it:
        it.give("metal")
        with pytest.raises(LookupError, match="no metal"):
            it.answer()


@needs_two
def test_it_is_gone_when_the_context_is_left_whatever_it_is_at():
    read, write = os.pipe()

    def endless(_):
        os.write(write, str(os.getpid()).encode())
        time.sleep(60)

    with SecondProcess(endless, shares=(write,)) as it:
        it.give(None)
        pid = int(os.read(read, 20))
    with pytest.raises(ProcessLookupError):
        os.kill(pid, 0)
    os.close(read)
    os.close(write)


@needs_two
def test_it_ends_where_children_are_not_to_be_waited_for():
    before = signal.signal(signal.SIGCHLD, signal.SIG_IGN)
    try:
        with SecondProcess(whose) as it:
            it.give("a")
            assert it.answer()[1] != os.getpid()
    finally:
        signal.signal(signal.SIGCHLD, before)


OWNER = """
import os, sys, time
from benchwater.aside.second_process import SecondProcess

def work(given):
    return os.getpid()

it = SecondProcess(work).__enter__()
it.give(None)
print(it.answer(), flush=True)
time.sleep(60)
"""


@needs_two
def test_it_does_not_outlive_a_first_process_that_was_killed():
    with subprocess.Popen([sys.executable, "-c", OWNER], stdout=subprocess.PIPE) as owner:
        assert owner.stdout is not None
        second = int(owner.stdout.readline())
        owner.kill()
        owner.wait()
        assert owner.stdout.read() == b"", "the pipe is at its end only when the second process is gone too"
    assert second != owner.pid


@needs_two
def test_it_holds_nothing_open_that_the_first_process_has_open(tmp_path):
    def is_open(number: int) -> bool:
        return os.path.exists(f"/proc/self/fd/{number}")

    with (tmp_path / "lock").open("w") as lock, SecondProcess(is_open) as it:
        it.give(lock.fileno())
        assert it.answer() is False
