"""`benchwater watch`: run `due` whenever files change."""

import os
import signal
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import date, datetime
from pathlib import Path
from types import FrameType
from typing import TYPE_CHECKING

import click

from benchwater.commands.terminal import (
    DAY,
    DONE,
    OUT_OPTION,
    debugging,
    plain,
    plain_line,
    workspace_command,
)
from benchwater.text import first_few

if TYPE_CHECKING:
    import subprocess

_MOST_LISTED = 3


@workspace_command(
    OUT_OPTION,
    click.option(
        "--today",
        metavar="DATE",
        type=DAY,
        help="The day that counts as today (left out: today, whichever day it has become).",
    ),
    click.option(
        "--poll", is_flag=True, help="Check for changes by polling: for network folders that report none."
    ),
)
def watch(folder: Path, out: Path | None, today: datetime | None, poll: bool, workspace_plugins: bool) -> int:
    """Watch FOLDER (left out: this folder) and write each report that is owed, until stopped.

    It runs `benchwater due` at the start, two seconds after the last change of a log, bench.toml or a
    plugin, and when a new day begins. It prints what goes wrong, and keeps watching.

    Exit status: 0 stopped by Ctrl-C or by a signal; 2 FOLDER cannot be watched.
    """
    from benchwater.schedule.watching import Relevant, quiet_changes

    out = out or folder / "reports"
    command = _due_command(folder, out, today, workspace_plugins)
    calendar = _Calendar(today)
    with _interrupt_on_signals():
        try:
            click.echo(f"Watching {plain(str(folder.resolve()))} (Ctrl-C ends it).")
            for names in quiet_changes(folder, Relevant(folder, out), poll=poll, due_again=calendar.new_day):
                calendar.new_day()
                _run_due(command, names)
        except KeyboardInterrupt:
            click.echo("Stopped watching.")
    return DONE


class _Calendar:
    """Tells when a new day has begun."""

    def __init__(self, fixed: datetime | None) -> None:
        self._fixed = fixed is not None
        self._day = date.today()

    def new_day(self) -> bool:
        day = date.today()
        is_new = not self._fixed and day != self._day
        self._day = day
        return is_new


def _due_command(folder: Path, out: Path, today: datetime | None, workspace_plugins: bool) -> list[str]:
    """Return the command: a separate process frees its memory, and runs an update made meanwhile."""
    command = [sys.executable, "-P", "-m", "benchwater", "due", "--out", str(out)]
    if today is not None:
        command += ["--today", f"{today:%Y-%m-%d}"]
    if not workspace_plugins:
        command.append("--no-workspace-plugins")
    if debugging():
        command.append("--debug")
    return [*command, "--", str(folder)]


def _run_due(command: Sequence[str], names: Sequence[str]) -> None:
    """Run `due` and print its lines as they come; print that nothing is owed if it printed none."""
    import subprocess

    try:
        run = subprocess.Popen(
            command,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            encoding="utf-8",
            errors="replace",
            env={**os.environ, "PYTHONIOENCODING": "utf-8"},
            start_new_session=os.name != "nt",
        )
    except OSError as error:
        click.echo(f"`due` could not be run: {error.strerror or error}", err=True)
        return
    silent = True
    with run:
        try:
            for line in run.stdout or ():
                silent = False
                click.echo(line.rstrip("\n"))
        except KeyboardInterrupt:
            _stop(run)
            raise
    if silent and run.returncode < 0:
        click.echo(f"`due` was ended by signal {-run.returncode}; still watching.", err=True)
    elif silent and names:
        click.echo(f"{plain_line(first_few(names, _MOST_LISTED))} changed: nothing is owed")


def _stop(run: "subprocess.Popen[str]") -> None:
    import subprocess

    if os.name != "nt":
        os.killpg(run.pid, signal.SIGINT)
    try:
        run.wait(10)
    except subprocess.TimeoutExpired:
        run.kill()
        run.wait()


@contextmanager
def _interrupt_on_signals() -> Iterator[None]:
    """Raise KeyboardInterrupt on SIGINT and SIGTERM, also if started in the background."""

    def end(number: int, frame: FrameType | None) -> None:
        raise KeyboardInterrupt

    before = {number: signal.signal(number, end) for number in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
