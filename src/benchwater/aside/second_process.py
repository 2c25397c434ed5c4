"""A second process for one kind of work, begun early and given its work later.

It is a fork of this one, so that it has everything that is in memory here. It gives its answer back pickled;
what it prints may be lost. It is of use on Linux, where the libraries used here bear a fork, and with two
processors.
"""

import contextlib
import copyreg
import os
import pickle
import signal
import sys
import warnings
from collections.abc import Callable, Sequence
from types import MappingProxyType, TracebackType
from typing import IO, Any, Generic, NamedTuple, TypeVar

_NOT_TO_BE_PICKLED = (pickle.PicklingError, TypeError, AttributeError)
_NOT_TO_BE_READ = (pickle.UnpicklingError, EOFError, AttributeError, ImportError, IndexError)
_Given = TypeVar("_Given")
_Answer = TypeVar("_Answer")


class _Forked(NamedTuple):
    pid: int
    to: IO[bytes]
    back: IO[bytes]


def of_use() -> bool:
    """Whether a second process can be forked, and has a processor to run on."""
    return sys.platform == "linux" and len(os.sched_getaffinity(0)) > 1


class SecondProcess(Generic[_Given, _Answer]):
    """The process, as a context: begun at the start, and gone at the end whatever it is at.

    `prepare` is done there at once, `work` when it is given something. What fails there or cannot be handed
    over, for whatever reason, is done here: so `answer` gives, and raises, what `work` does.
    """

    def __init__(
        self,
        work: Callable[[_Given], _Answer],
        *,
        prepare: Callable[[], object] = lambda: None,
        shares: Sequence[int] = (),
    ) -> None:
        """Not yet begun. `shares` are open files that it is to read from as well."""
        self._work = work
        self._prepare = prepare
        self._shares = shares
        self._process: _Forked | None = None
        self._waiting: list[_Given] = []

    def __enter__(self) -> "SecondProcess[_Given, _Answer]":
        """Begin it, where that is of use."""
        if of_use():
            with contextlib.suppress(OSError):
                self._process = self._fork()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """End it."""
        self._end()

    def give(self, given: _Given) -> None:
        """Let the work begin."""
        self._waiting = [given]
        if self._process is not None:
            try:
                _send(given, self._process.to)
            except (OSError, *_NOT_TO_BE_PICKLED):
                self._end()

    def answer(self) -> _Answer:
        """What came of the work, waited for."""
        (given,), self._waiting = self._waiting, []
        if self._process is not None:
            try:
                told: _Answer = pickle.load(self._process.back)
                return told
            except (OSError, *_NOT_TO_BE_READ):
                self._end()
        return self._work(given)

    def _end(self) -> None:
        if self._process is None:
            return
        pid, to, back = self._process
        self._process = None
        with contextlib.suppress(OSError):
            os.kill(pid, signal.SIGKILL)
        with contextlib.suppress(ChildProcessError):
            os.waitpid(pid, 0)
        for pipe in (to, back):
            with contextlib.suppress(OSError):
                pipe.close()

    def _fork(self) -> _Forked:
        theirs_in, ours_out = os.pipe()
        ours_in, theirs_out = os.pipe()
        with warnings.catch_warnings():
            # From Python 3.12 on: numpy's threads are idle here, and OpenBLAS sees to them across a fork.
            warnings.filterwarnings("ignore", message=".*multi-threaded.*fork", category=DeprecationWarning)
            pid = os.fork()
        if not pid:
            self._serve(theirs_in, theirs_out)
        os.close(theirs_in)
        os.close(theirs_out)
        return _Forked(pid, os.fdopen(ours_out, "wb"), os.fdopen(ours_in, "rb"))

    def _serve(self, asked: int, answers: int) -> None:
        """What the process does until nothing more comes: it never returns."""
        try:
            _close_all_but(asked, answers, *self._shares)
            with os.fdopen(asked, "rb") as given, os.fdopen(answers, "wb") as answered:
                self._prepare()
                while True:
                    _send(self._work(pickle.load(given)), answered)
        finally:
            os._exit(0)


class _Pickler(pickle.Pickler):
    dispatch_table = copyreg.dispatch_table | {
        MappingProxyType: lambda table: (_read_only, (dict(table),)),
    }


def _read_only(table: dict[Any, Any]) -> MappingProxyType[Any, Any]:
    return MappingProxyType(table)


def _send(what: object, pipe: IO[bytes]) -> None:
    _Pickler(pipe, pickle.HIGHEST_PROTOCOL).dump(what)
    pipe.flush()


def _close_all_but(*kept: int) -> None:
    """Locks and pipes that are open here are the first process' own: they end with it."""
    begin = 3
    for number in sorted(kept):
        os.closerange(begin, number)
        begin = number + 1
    os.closerange(begin, os.sysconf("SC_OPEN_MAX"))
