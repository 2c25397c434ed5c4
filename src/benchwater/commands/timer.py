"""`benchwater timer`: have the operating system run `due` every day."""

import os
import shutil
import sys
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchwater.commands.terminal import DONE, OUT_OPTION, TIME_OF_DAY, plain, workspace_command
from benchwater.files import BENCH_NAME

if TYPE_CHECKING:
    from benchwater.schedule.timers import Job, TimerFile


@workspace_command(
    click.option(
        "--show", "action", flag_value="show", default=True, help="Show it; change nothing (the default)."
    ),
    click.option("--install", "action", flag_value="install", help="Install it, or update it."),
    click.option("--remove", "action", flag_value="remove", help="Remove it."),
    click.option("--at", metavar="HH:MM", default="06:30", type=TIME_OF_DAY, help="When (left out: 06:30)."),
    click.option(
        "--system",
        type=click.Choice(["systemd", "launchd", "schtasks", "cron"]),
        help="Which timer (left out: the one this computer has).",
    ),
    OUT_OPTION,
)
def timer(
    folder: Path, action: str, at: datetime, system: str | None, out: Path | None, workspace_plugins: bool
) -> int:
    """Show, install or remove a daily run of `due` for FOLDER (left out: this folder).

    It is a systemd user timer on Linux, a launchd agent on macOS, a task of the Task Scheduler on
    Windows, and a line in your crontab where there is nothing else. A missed run loses nothing: the next
    one writes whatever is owed. Each run appends what it did to due.log beside the reports, which stays
    small. Files that benchwater did not write are never replaced or removed.

    Exit status: 0 done; 2 it cannot be done; the message says why.
    """
    from benchwater.schedule.timers import LOG_NAME, Job, this_system

    folder = folder.resolve()
    if action != "remove" and not (folder / BENCH_NAME).exists():
        from benchwater.read.bench_file import no_bench

        raise no_bench(folder)
    out = (out or folder / "reports").resolve()
    job = Job(
        python=sys.executable,
        folder=folder,
        out=out,
        log=out / LOG_NAME,
        hour=at.hour,
        minute=at.minute,
        workspace_plugins=workspace_plugins,
    )
    system = system or this_system()
    for line in _steps(system, action, job):
        click.echo(plain(line))
    if action != "remove":
        click.echo(f"Log: {plain(str(job.log))}")
    return DONE


def _steps(system: str, action: str, job: "Job") -> Iterator[str]:
    from benchwater.schedule import timers

    tool = {"systemd": "systemctl", "launchd": "launchctl", "schtasks": "schtasks", "cron": "crontab"}[system]
    if action != "show" and shutil.which(tool) is None:
        raise timers.TimerError(f"there is no `{tool}` on this computer: name another timer with --system")
    if system == "cron":
        if action == "show":
            yield from ("In your crontab:\n", *timers.cron_lines(job), "")
        else:
            yield from timers.update_crontab(job, timers.run_command, install=action == "install")
        return
    timer = timers.timer_for(system, job, Path.home(), os.environ)
    if action == "install":
        yield from timers.install(timer, timers.run_command)
        yield timer.note
    elif action == "remove":
        yield from timers.remove(timer, timers.run_command)
    else:
        for file in timer.files:
            yield f"{file.path} ({_status(file)}):\n"
            yield file.text.expandtabs(2)
        yield "Switched on with:"
        yield from (f"  {' '.join(words)}" for words in timer.on)
        yield timer.note


def _status(file: "TimerFile") -> str:
    if not file.path.exists():
        return "not there"
    if file.is_in_place():
        return "in place"
    return "another one is in place" if file.is_ours() else "there, and not written by benchwater"
