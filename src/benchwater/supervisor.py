"""Supervise a run: a plugin that holds it or ends it is named, and the run starts again without that call."""

import contextlib
import ctypes
import os
import select
import signal
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from types import FrameType

LONGEST_CALL_S = 120.0
GRACE_S = 10.0
LEAST_MEMORY_BYTES = 3 << 30
MEMORY_SHARE = 0.75
_M_TRIM_THRESHOLD = -1
_LEAST_FREED_BYTES = 256 * 1024
_POLL_S = 0.2
_INTERRUPTED_S = 1.0

_stopped: dict[str, str] = {}
"""The calls of plugins that held or ended an earlier attempt of this run, and how."""
_to_supervisor: int | None = None


class StoppedError(RuntimeError):
    """A call of a plugin's code that held or ended the run before; the message says how."""


@contextmanager
def plugin_call(what: str, seconds: float | None = None) -> Iterator[None]:
    """Context manager for every call of a plugin's code, which the supervisor limits to `seconds`
    (left out: LONGEST_CALL_S).

    `what` names the call, the same in each attempt. StoppedError if it held or ended an earlier attempt. The
    working directory is the same afterwards. Calls do not nest.
    """
    what = " ".join(what.split())
    if what in _stopped:
        raise StoppedError(_stopped[what])
    folder = None
    with contextlib.suppress(OSError):
        folder = os.getcwd()
    _tell(LONGEST_CALL_S if seconds is None else seconds, what)
    try:
        yield
    finally:
        _tell(0, "")
        if folder is not None:
            with contextlib.suppress(OSError):
                os.chdir(folder)


def supervise(run: Callable[[], int], say: Callable[[str], object]) -> int:
    """Return what `run` returns, in a process that can be killed, with its memory limited.

    If a plugin's call takes longer than its limit, or ends the process, `say` is told, and `run` is called
    again in another process, where that call raises StoppedError. Systems without `fork` call `run` directly.
    """
    if not hasattr(os, "fork"):
        return run()
    while True:
        attempt = _Attempt()
        if attempt.child == 0:
            _limit_memory()
            return run()
        status = attempt.wait()
        if not attempt.held or attempt.held in _stopped:
            return status
        why = attempt.why or f"it ended the program ({_ending(status)})"
        _stopped[attempt.held] = why
        say(f"{attempt.held}: {why}. Starting again without it.")


def return_freed_memory() -> None:
    """Have glibc return to the system what a supervised run frees from now on (mallopt(3)).

    Elsewhere, as in a notebook, the process is not this program's, and nothing is changed.
    """
    if _to_supervisor is not None:
        with contextlib.suppress(AttributeError, OSError):
            libc = ctypes.CDLL(None)
            libc.mallopt(_M_TRIM_THRESHOLD, _LEAST_FREED_BYTES)
            libc.malloc_trim(0)


@dataclass(slots=True)
class _Call:
    """A call of a plugin's code, its limit, and how long it has been waited for."""

    what: str
    seconds: float
    waited: float = 0.0


class _Attempt:
    """A forked process. `child` is 0 in it, and its id in this one; `held` is the call that it ended in."""

    def __init__(self) -> None:
        self.held = ""
        self.why = ""
        self._calls_of: dict[int, _Call] = {}
        self._passed_on = False
        self._interrupted_at: float | None = None
        calls, to_calls = os.pipe()
        life, end_of_life = os.pipe()
        before = {number: signal.signal(number, self._pass_on) for number in (signal.SIGINT, signal.SIGTERM)}
        self.child = 0
        self.child = os.fork()
        self._calls = calls
        if self.child == 0:
            for number, handler in before.items():
                signal.signal(number, handler)
            os.close(calls)
            os.close(end_of_life)
            global _to_supervisor
            _to_supervisor = to_calls
            threading.Thread(target=_end_with, args=(life,), daemon=True).start()
            return
        os.close(to_calls)
        os.close(life)
        self._end_of_life = end_of_life

    def wait(self) -> int:
        """Return the exit status of the child once it has ended, or has been killed."""
        ended = False
        while not ended:
            ready, _, _ = select.select([self._calls], [], [], _POLL_S)
            if ready:
                told = os.read(self._calls, 65_536).decode("utf-8", "replace")
                for line in told.splitlines():
                    process, seconds, what = line.split(" ", 2)
                    self._calls_of[int(process)] = _Call(what, float(seconds))
                ended = not told
            for call in self._calls_of.values():
                call.waited += 0 if ready else _POLL_S  # no clock: a run that was suspended has not waited
            if self._interrupted_at is not None and time.monotonic() > self._interrupted_at + _INTERRUPTED_S:
                self._interrupted_at = None
                os.kill(self.child, signal.SIGINT)
            for call in self._calls_of.values():
                if call.what and call.waited > call.seconds + GRACE_S and not self.held:
                    self.held, self.why = call.what, f"it was not done after {call.seconds:g} seconds"
                    os.kill(self.child, signal.SIGKILL)
            done, status = os.waitpid(self.child, 0 if ended else os.WNOHANG)
            ended = done != 0
        if not self.held and not self._passed_on and self.child in self._calls_of:
            self.held = self._calls_of[self.child].what
        os.close(self._calls)
        os.close(self._end_of_life)
        return os.waitstatus_to_exitcode(status)

    def _pass_on(self, number: int, frame: FrameType | None) -> None:
        """Give a signal to the child; a terminal's Ctrl-C has reached it already."""
        if number == signal.SIGINT:
            self._interrupted_at = time.monotonic()
        elif self.child:
            self._passed_on = True
            os.kill(self.child, number)


def _tell(seconds: float, what: str) -> None:
    """Tell the supervisor which call this process is in, and its limit; no words where it is in none."""
    if _to_supervisor is not None:
        with contextlib.suppress(OSError):
            line = f"{os.getpid()} {seconds} {what}\n"
            os.write(_to_supervisor, line.encode("utf-8", "replace"))


def _end_with(life: int) -> None:
    """End this process when the supervisor has ended, which closes the other end of the pipe."""
    os.read(life, 1)
    os._exit(1)


def _limit_memory() -> None:
    """Let a plugin that takes all memory get a MemoryError before the computer has none left."""
    import resource

    soft, hard = resource.getrlimit(resource.RLIMIT_AS)
    if soft == resource.RLIM_INFINITY and sys.platform == "linux":
        physical = os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE")
        most = max(LEAST_MEMORY_BYTES, int(physical * MEMORY_SHARE))
        with contextlib.suppress(OSError, ValueError):
            resource.setrlimit(resource.RLIMIT_AS, (most, hard))


def _ending(status: int) -> str:
    return f"signal {-status}" if status < 0 else f"exit status {status}"
