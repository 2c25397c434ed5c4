"""Whole processes, measured: wall time and processor time of each run, and the peak of the memory they hold.

Time and memory are measured in runs of their own, for looking at memory takes time. Memory is the largest
sum, over the run, of what a command and all processes it started hold: the proportional set size of each
(`/proc/*/smaps_rollup`, so that pages several of them share count once), looked at every 25 ms. Where a
system has no such files, it is the peak of resident memory of the largest process.
"""

import os
import statistics
import subprocess
import tempfile
import threading
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

SETTINGS = dict.fromkeys(
    ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMEXPR_NUM_THREADS"), "1"
)
LEFT_OUT = ("PYTHONDONTWRITEBYTECODE", "PYTHONUNBUFFERED")
"""What build machines set and makers do not: compiled modules are kept, and output is buffered."""
EVERY_S = 0.025
PROC = Path("/proc")


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """One run: seconds on the clock, seconds of processors, peak of memory in MiB, what it said.

    Seconds of processors are those of the processes that were waited for.
    """

    wall: float
    cpu: float
    peak: float
    out: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """The medians of several runs."""

    wall: float
    cpu: float
    peak: float
    runs: int


def run_once(command: Sequence[str | Path], *, statuses: Sequence[int] = (0,), memory: bool = False) -> Run:
    """Run a command to its end. RuntimeError where it ends in another way than it should.

    With `memory` its memory is looked at all the while, and its times mean little.
    """
    environment = {name: value for name, value in os.environ.items() if name not in LEFT_OUT}
    with tempfile.TemporaryFile() as out, tempfile.TemporaryFile() as err:
        begun = time.perf_counter()
        process = subprocess.Popen(
            [str(word) for word in command], stdout=out, stderr=err, env={**environment, **SETTINGS}
        )
        watch = _Watch(process.pid) if memory and Path(PROC, "self", "smaps_rollup").exists() else None
        _, status, usage = os.wait4(process.pid, 0)
        wall = time.perf_counter() - begun
        peak = watch.stop() if watch is not None else usage.ru_maxrss / 1024
        process.returncode = os.waitstatus_to_exitcode(status)
        said = []
        for stream in (out, err):
            stream.seek(0)
            said.append(stream.read().decode(errors="replace"))
    if process.returncode not in statuses:
        raise RuntimeError(f"{command[0]} ended with {process.returncode}: {said[1][-2000:]}")
    return Run(wall=wall, cpu=usage.ru_utime + usage.ru_stime, peak=peak, out=said[0])


def measure(
    commands: Mapping[str, Sequence[str | Path]],
    repeats: int,
    *,
    statuses: Sequence[int] = (0,),
    memory: bool = False,
) -> dict[str, Measured]:
    """Run all of them in turn, so that a machine that slows down does so for all; the first turn warms up.

    With `memory` there are as many turns more, in which it is looked at.
    """
    timed = _turns(commands, repeats, statuses, memory=False, warm=True)
    watched = _turns(commands, repeats, statuses, memory=True, warm=False) if memory else timed
    return {
        name: Measured(
            wall=statistics.median(run.wall for run in of_one),
            cpu=statistics.median(run.cpu for run in of_one),
            peak=statistics.median(run.peak for run in watched[name]),
            runs=len(of_one),
        )
        for name, of_one in timed.items()
    }


def _turns(
    commands: Mapping[str, Sequence[str | Path]],
    repeats: int,
    statuses: Sequence[int],
    *,
    memory: bool,
    warm: bool,
) -> dict[str, list[Run]]:
    runs: dict[str, list[Run]] = {name: [] for name in commands}
    for turn in range(max(repeats, 1) + (warm and repeats > 0)):
        for name, command in commands.items():
            run = run_once(command, statuses=statuses, memory=memory)
            if turn or not warm or not repeats:
                runs[name].append(run)
    return runs


class _Watch:
    """Looks at a process and all that it started, until stopped."""

    def __init__(self, root: int) -> None:
        self._root = root
        self._peak = 0.0
        self._ended = threading.Event()
        self._thread = threading.Thread(target=self._look)
        self._thread.start()

    def stop(self) -> float:
        """The largest sum seen, in MiB."""
        self._ended.set()
        self._thread.join()
        return self._peak

    def _look(self) -> None:
        known: set[int] = {self._root}
        while not self._ended.wait(EVERY_S):
            known = set(_family(known))
            self._peak = max(self._peak, sum(map(_held, known)))


def _family(known: set[int]) -> Iterator[int]:
    """Those known, and all they started, also what a process that has ended left behind."""
    parents = {}
    for entry in PROC.iterdir():
        if entry.name.isdigit():
            with suppress(OSError, IndexError, ValueError):
                parents[int(entry.name)] = int(Path(entry, "stat").read_text().rpartition(")")[2].split()[1])
    for process in parents:
        line = process
        while line in parents and line not in known:
            line = parents[line]
        if line in known:
            yield process


def _held(process: int) -> float:
    """The proportional set size of a process in MiB; 0 where it has just ended."""
    with suppress(OSError, ValueError, StopIteration):
        lines = Path(PROC, str(process), "smaps_rollup").read_text().splitlines()
        return int(next(line for line in lines if line.startswith("Pss:")).split()[1]) / 1024
    return 0.0
