"""Whole processes, measured: wall time, processor time and peak memory of each run."""

import os
import statistics
import subprocess
import tempfile
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

ONE_THREAD = dict.fromkeys(
    ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMEXPR_NUM_THREADS"), "1"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """One run: seconds on the clock, seconds of processors, peak of resident memory in MiB, what it said.

    The peak is that of the largest process, where a run is of several.
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


def run_once(command: Sequence[str | Path], *, statuses: Sequence[int] = (0,)) -> Run:
    """Run a command to its end. RuntimeError where it ends in another way than it should."""
    with tempfile.TemporaryFile() as out, tempfile.TemporaryFile() as err:
        begun = time.perf_counter()
        process = subprocess.Popen(
            [str(word) for word in command], stdout=out, stderr=err, env={**os.environ, **ONE_THREAD}
        )
        _, status, usage = os.wait4(process.pid, 0)
        wall = time.perf_counter() - begun
        process.returncode = os.waitstatus_to_exitcode(status)
        said = []
        for stream in (out, err):
            stream.seek(0)
            said.append(stream.read().decode(errors="replace"))
    if process.returncode not in statuses:
        raise RuntimeError(f"{command[0]} ended with {process.returncode}: {said[1][-2000:]}")
    return Run(wall=wall, cpu=usage.ru_utime + usage.ru_stime, peak=usage.ru_maxrss / 1024, out=said[0])


def measure(
    commands: Mapping[str, Sequence[str | Path]], repeats: int, *, statuses: Sequence[int] = (0,)
) -> dict[str, Measured]:
    """Run all of them in turn, so that a machine that slows down does so for all; the first turn warms up."""
    runs: dict[str, list[Run]] = {name: [] for name in commands}
    for turn in range(repeats + 1):
        for name, command in commands.items():
            run = run_once(command, statuses=statuses)
            if turn or not repeats:
                runs[name].append(run)
    return {
        name: Measured(
            wall=statistics.median(run.wall for run in of_one),
            cpu=statistics.median(run.cpu for run in of_one),
            peak=statistics.median(run.peak for run in of_one),
            runs=len(of_one),
        )
        for name, of_one in runs.items()
    }
