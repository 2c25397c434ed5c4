"""Install or remove a timer. Only files that benchwater wrote are replaced or removed."""

import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from benchwater.files import write_atomically
from benchwater.schedule.timers import (
    MARK,
    Job,
    Timer,
    TimerError,
    TimerFile,
    launchd_timer,
    systemd_timer,
    task_scheduler_timer,
    with_job,
    without_job,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Completed:
    """The exit status and output of a system command."""

    status: int
    out: str = ""
    err: str = ""


Runner = Callable[[Sequence[str], str | None], Completed]


def run_command(words: Sequence[str], given: str | None = None) -> Completed:
    """Run a system command with a text on its standard input. TimerError if it cannot be started."""
    try:
        done = subprocess.run(
            words, input=given, capture_output=True, text=True, errors="surrogateescape", check=False
        )
    except OSError as error:
        raise TimerError(f"`{words[0]}` cannot be run: {error.strerror or error}") from error
    return Completed(status=done.returncode, out=done.stdout, err=done.stderr)


def this_system(platform: str = sys.platform, which: Callable[[str], str | None] = shutil.which) -> str:
    """Return the timer that this computer has. TimerError if it has none of the four."""
    if platform == "darwin":
        return "launchd"
    if platform == "win32":
        return "schtasks"
    if which("systemctl") and Path("/run/systemd/system").is_dir():
        return "systemd"
    if which("crontab"):
        return "cron"
    raise TimerError(
        "this computer has no timer that is known (systemd, launchd, Task Scheduler, cron): have whatever "
        "it has run `benchwater due` once a day, or name one with --system"
    )


def timer_for(system: str, job: Job, home: Path, environment: Mapping[str, str]) -> Timer:
    """Return the timer of a system that keeps it in files: all but cron."""
    if system == "systemd":
        return systemd_timer(job, home, environment)
    if system == "launchd":
        return launchd_timer(job, home, os.getuid() if hasattr(os, "getuid") else 0)
    return task_scheduler_timer(job, home, environment)


def install(timer: Timer, run: Runner) -> Iterator[str]:
    """Write the files and switch the timer on; yield each step. A second run changes nothing."""
    for file in timer.files:
        _refuse_foreign(file)
    _refuse_foreign_task(timer, run)
    for file in timer.files:
        if file.is_in_place():
            yield f"Already there: {file.path}"
            continue
        file.path.parent.mkdir(parents=True, exist_ok=True)
        write_atomically(file.path, file.data)
        yield f"Wrote {file.path}"
    *first, last = timer.on
    for words in first:
        run(words, None)
    _check(run(last, None), last)
    yield f"Switched on: {' '.join(last)}"


def remove(timer: Timer, run: Runner) -> Iterator[str]:
    """Switch the timer off and remove its files; yield each step. It may be absent."""
    there = [file for file in timer.files if file.path.exists()]
    for file in there:
        _refuse_foreign(file)
    if not there:
        yield "There is no timer for this folder."
        return
    for words in timer.off:
        run(words, None)
    for file in there:
        file.path.unlink(missing_ok=True)
        yield f"Removed {file.path}"
    for words in timer.after_removal:
        run(words, None)


def install_in_crontab(job: Job, run: Runner) -> Iterator[str]:
    """Add the job's line to the crontab, or update it; yield what was done."""
    before = _crontab(run)
    after = with_job(before, job)
    if after == before:
        yield "Already in your crontab."
        return
    words = ("crontab", "-")
    _check(run(words, after), words)
    yield "Added to your crontab (`crontab -l` shows it)."


def remove_from_crontab(job: Job, run: Runner) -> Iterator[str]:
    """Remove the job's line from the crontab; yield what was done."""
    before = _crontab(run)
    after = without_job(before, job)
    if after == before:
        yield "There is no timer for this folder."
        return
    words = ("crontab", "-")
    _check(run(words, after), words)
    yield "Taken out of your crontab."


def _crontab(run: Runner) -> str:
    """Return the crontab. TimerError if it cannot be read: it must not pass for an empty one."""
    words = ("crontab", "-l")
    completed = run(words, None)
    if completed.status != 0 and "no crontab" in completed.err.lower():
        return ""
    _check(completed, words)
    return completed.out


def _check(completed: Completed, words: Sequence[str]) -> None:
    if completed.status != 0:
        output = " ".join((completed.err or completed.out).split())
        raise TimerError(
            f"`{' '.join(words)}` did not work (status {completed.status}): {output or 'no reason'}"
        )


def _refuse_foreign(file: TimerFile) -> None:
    if not file.is_ours():
        raise TimerError(
            f"{file.path} was not written by benchwater and is left as it is: move it away first"
        )


def _refuse_foreign_task(timer: Timer, run: Runner) -> None:
    """Refuse a task of that name that benchwater did not make; only Windows keeps tasks apart from files."""
    if timer.system != "schtasks" or any(file.path.exists() for file in timer.files):
        return
    task = timer.on[-1][3]
    completed = run(("schtasks", "/Query", "/TN", task, "/XML"), None)
    if completed.status == 0 and MARK not in completed.out:
        raise TimerError(f"the task {task} was not made by benchwater and is left as it is")
