"""Set a timer up or take it away: only files that benchwater wrote are ever replaced or removed."""

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
class Answer:
    """What a command of the system answered."""

    status: int
    out: str = ""
    err: str = ""


Runner = Callable[[Sequence[str], str | None], Answer]


def run_command(words: Sequence[str], given: str | None = None) -> Answer:
    """Run a command of the system, with a text on its standard input."""
    try:
        done = subprocess.run(
            words, input=given, capture_output=True, text=True, errors="replace", check=False
        )
    except OSError as error:
        raise TimerError(f"`{words[0]}` cannot be run: {error.strerror or error}") from error
    return Answer(status=done.returncode, out=done.stdout, err=done.stderr)


def this_system(platform: str = sys.platform, found: Callable[[str], str | None] = shutil.which) -> str:
    """Which timer this computer has. TimerError where it has none that is known."""
    if platform == "darwin":
        return "launchd"
    if platform == "win32":
        return "schtasks"
    if found("systemctl") and Path("/run/systemd/system").is_dir():
        return "systemd"
    if found("crontab"):
        return "cron"
    raise TimerError(
        "this computer has no timer that is known (systemd, launchd, Task Scheduler, cron): have whatever "
        "it has run `benchwater due` once a day, or name one with --system"
    )


def timer_for(system: str, job: Job, home: Path, environment: Mapping[str, str]) -> Timer:
    """The timer for a system that keeps it in files; cron has none."""
    if system == "systemd":
        return systemd_timer(job, home, environment)
    if system == "launchd":
        return launchd_timer(job, home, os.getuid() if hasattr(os, "getuid") else 0)
    return task_scheduler_timer(job, home, environment)


def install(timer: Timer, run: Runner) -> Iterator[str]:
    """Put the files in place and switch the timer on; says each step. Doing it again changes nothing."""
    for file in timer.files:
        _refuse_foreign(file)
    _refuse_foreign_task(timer, run)
    for file in timer.files:
        if file.path.exists() and file.path.read_bytes() == file.data:
            yield f"Already there: {file.path}"
            continue
        file.path.parent.mkdir(parents=True, exist_ok=True)
        write_atomically(file.path, file.data)
        yield f"Wrote {file.path}"
    *first, last = timer.on
    for words in first:
        run(words, None)
    _must(run(last, None), last)
    yield f"Switched on: {' '.join(last)}"


def remove(timer: Timer, run: Runner) -> Iterator[str]:
    """Switch the timer off and take its files away; says each step. Nothing there is fine too."""
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
    """Add the job's line to the crontab, or bring it up to date."""
    before = _crontab(run)
    after = with_job(before, job)
    if after == before:
        yield "Already in your crontab."
        return
    words = ("crontab", "-")
    _must(run(words, after), words)
    yield "Added to your crontab (`crontab -l` shows it)."


def remove_from_crontab(job: Job, run: Runner) -> Iterator[str]:
    """Take the job's line out of the crontab."""
    before = _crontab(run)
    after = without_job(before, job)
    if after == before:
        yield "There is no timer for this folder."
        return
    words = ("crontab", "-")
    _must(run(words, after), words)
    yield "Taken out of your crontab."


def _crontab(run: Runner) -> str:
    """The crontab as it is. One that cannot be read must not be taken for an empty one."""
    words = ("crontab", "-l")
    answer = run(words, None)
    if answer.status != 0 and "no crontab" in answer.err.lower():
        return ""
    _must(answer, words)
    return answer.out


def _must(answer: Answer, words: Sequence[str]) -> None:
    if answer.status != 0:
        said = " ".join((answer.err or answer.out).split())
        raise TimerError(f"`{' '.join(words)}` did not work (status {answer.status}): {said or 'no reason'}")


def _refuse_foreign(file: TimerFile) -> None:
    if not file.is_ours():
        raise TimerError(
            f"{file.path} was not written by benchwater and is left as it is: move it away first"
        )


def _refuse_foreign_task(timer: Timer, run: Runner) -> None:
    """A task of that name that benchwater did not make: only Windows keeps tasks apart from their files."""
    if timer.system != "schtasks" or any(file.path.exists() for file in timer.files):
        return
    task = timer.on[-1][3]
    answer = run(("schtasks", "/Query", "/TN", task, "/XML"), None)
    if answer.status == 0 and MARK not in answer.out:
        raise TimerError(f"the task {task} was not made by benchwater and is left as it is")
