"""A worker process, forked early, that gets ready while this process does something else."""

import copyreg
import multiprocessing
import os
import select
import signal
import sys
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from multiprocessing.connection import Connection
from types import MappingProxyType
from typing import Any


def can_fork() -> bool:
    """Return whether a forked worker is safe here (Linux) and has a processor of its own."""
    return sys.platform == "linux" and len(os.sched_getaffinity(0)) > 1


class WorkerProcess:
    """Context manager that forks a worker on entry and kills it on exit.

    The worker calls `prepare` at once, then each function that it is sent. A function submitted before entry
    goes with the fork, so that it need not be picklable. A function that the worker cannot run or send back
    runs in this process instead, as all do outside the context or where `can_fork` is false.
    """

    def __init__(self, prepare: Callable[[], object] = lambda: None) -> None:
        """Take what the worker calls first; nothing is forked yet."""
        self._prepare = prepare
        self._process: Any = None
        self._pipe: Any = None
        self._function: Callable[[], Any] | None = None
        self._life = -1

    def __enter__(self) -> "WorkerProcess":
        """Fork the worker."""
        if can_fork():
            context = multiprocessing.get_context("fork")
            self._pipe, workers_end = context.Pipe()
            life, self._life = os.pipe()
            self._process = context.Process(
                target=_serve,
                args=(workers_end, self._pipe, self._prepare, self._function),
                kwargs={"life": (life, self._life)},
                daemon=True,
            )
            with warnings.catch_warnings():  # Python 3.12 warns of other threads: numpy's are idle here
                warnings.simplefilter("ignore", DeprecationWarning)
                self._process.start()
            workers_end.close()
            os.close(life)
        return self

    def __exit__(self, *error: object) -> None:
        """Kill the worker."""
        self._stop()

    def submit(self, function: Callable[[], Any]) -> None:
        """Have the worker call the function."""
        self._function = function
        if self._process is not None:
            try:
                self._pipe.send(function)
            except Exception:  # it cannot be pickled, or the worker has died: `result` calls it here
                self._stop()

    def result(self) -> Any:
        """Wait for what the submitted function returns, or raise what it raises."""
        function, self._function = self._function, None
        assert function is not None
        if self._process is not None:
            try:
                return self._pipe.recv()
            except Exception:  # the worker has died, or what it sent cannot be unpickled
                self._stop()
        return function()

    def _stop(self) -> None:
        if self._process is not None:
            self._process.kill()
            self._process.join()
            self._pipe.close()
            os.close(self._life)
            self._process = None


def _serve(
    pipe: Connection,
    parents_end: Connection,
    prepare: Callable[[], object],
    first: Callable[[], Any] | None,
    *,
    life: tuple[int, int],
) -> None:
    """Call functions until one fails or the parent has ended."""
    parents_life, own_copy = life
    os.close(own_copy)
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C reaches both processes; the parent kills this one
    parents_end.close()  # or this process would not see the other end close
    with suppress(Exception):
        prepare()
        if first is not None:
            with _ending_with_parent(parents_life):
                found = first()
            pipe.send(found)
        while True:
            function = pipe.recv()
            with _ending_with_parent(parents_life):
                found = function()
            pipe.send(found)


@contextmanager
def _ending_with_parent(life: int) -> Iterator[None]:
    """Context manager in which the system ends this process at once when the parent has ended.

    The parent's end of the pipe `life` closes then, which sends a signal. A thread that waits for the parent
    would not do: a regular expression can hold the interpreter for ever.
    """
    import fcntl

    flags = fcntl.fcntl(life, fcntl.F_GETFL)
    signal.signal(signal.SIGIO, signal.SIG_DFL)
    fcntl.fcntl(life, fcntl.F_SETOWN, os.getpid())
    fcntl.fcntl(life, fcntl.F_SETFL, flags | os.O_ASYNC)
    if select.select([life], [], [], 0)[0]:
        raise EOFError("the parent has ended")
    yield
    fcntl.fcntl(life, fcntl.F_SETFL, flags)


def _read_only(entries: dict[Any, Any]) -> MappingProxyType[Any, Any]:
    return MappingProxyType(entries)


copyreg.pickle(MappingProxyType, lambda mapping: (_read_only, (dict(mapping),)))
