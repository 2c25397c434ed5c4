"""`benchwater due`: write each report that is owed, and nothing else."""

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchwater.commands.terminal import (
    DAY,
    DONE,
    INCOMPLETE,
    OUT_OPTION,
    debugging,
    plain,
    plain_line,
    progress,
    sentence_for,
    workspace_command,
)

if TYPE_CHECKING:
    from benchwater.schedule.catch_up import Done

_LONGEST_NAME, _MOST_NAMES = 80, 3


@workspace_command(
    OUT_OPTION,
    click.option(
        "--today",
        metavar="DATE",
        type=DAY,
        help="The day that counts as today, such as 2026-06-01 (left out: today).",
    ),
    click.option(
        "--list",
        "only_list",
        is_flag=True,
        help="List each period and whether it is owed a report; write nothing.",
    ),
    click.option(
        "--log",
        type=click.Path(dir_okay=False, path_type=Path),
        help="Also append what each run did to this file, which stays small (used by `timer`).",
    ),
)
def due(
    folder: Path,
    out: Path | None,
    today: datetime | None,
    only_list: bool,
    log: Path | None,
    workspace_plugins: bool,
) -> int:
    """Write each report of FOLDER (left out: this folder) that is owed.

    Every month that has ended and has rows is owed a report; so is every season that has ended. A report
    is owed again when its files are gone, or when something it was made from has changed: its rows,
    bench.toml, a plugin, or benchwater itself. Rows of later months change no earlier report. A report in
    which something failed is written again once something it was made from changes. A report stays as it
    was while a log or folder that it was made from cannot be read. All this is recorded in
    .benchwater-due.json beside the reports.

    With nothing to do it is quick and prints nothing.

    Exit status: 0 nothing was owed, or all of it is written; 1 a report could not be written, something
    in one failed, one was kept as logs could not be read, or a plugin could do nothing with it;
    2 bench.toml cannot be used, or another run is still writing.
    """
    day = date.today() if today is None else today.date()
    out = out or folder / "reports"
    if only_list:
        return _list(folder, out, day, workspace_plugins)
    with _Output(log).kept() as output:
        return _write_owed(folder, out, day, workspace_plugins, output)


def _write_owed(folder: Path, out: Path, day: date, workspace_plugins: bool, output: "_Output") -> int:
    from benchwater.schedule.manifest import hash_inputs, read_manifest
    from benchwater.schedule.owed import nothing_to_do

    inputs = hash_inputs(folder, workspace_plugins=workspace_plugins)
    if nothing_to_do(read_manifest(out), inputs, out, day):
        return DONE
    from benchwater.schedule.catch_up import catch_up

    clean, wrote, set_aside = True, False, 0
    with progress() as step:
        for done in catch_up(folder, out, day, workspace_plugins=workspace_plugins, progress=step):
            _print(done, output)
            clean, set_aside = clean and done.clean, max(set_aside, done.set_aside)
            wrote = wrote or bool(done.files)
    if set_aside:
        from benchwater.words import counted

        output.line(f"{counted(set_aside, 'row')} set aside (see the appendix, or `benchwater check`).")
    if wrote and inputs.unreadable:
        from benchwater.words import listed, shorten

        names = listed([f"`{shorten(name, _LONGEST_NAME)}`" for name in inputs.unreadable], _MOST_NAMES)
        output.line(f"Nothing in {names} is in these reports, as it cannot be read.", err=True)
        clean = False
    return DONE if clean else INCOMPLETE


def _print(done: "Done", output: "_Output") -> None:
    if done.files:
        first, *others = done.files
        named = ", ".join([str(first), *(path.suffix for path in others)])
        output.line(f"{done.label}: wrote {named} ({plain_line(done.why)})")
    if done.error is not None:
        output.line(f"{done.label}: not written. {sentence_for(done.error)}", err=True)
    for problem in done.problems:
        output.line(f"{done.label}: {problem}", err=True)
    if debugging():
        for trace in done.traces:
            click.echo(trace, err=True)


def _list(folder: Path, out: Path, day: date, workspace_plugins: bool) -> int:
    from benchwater.schedule.manifest import hash_inputs, read_manifest
    from benchwater.schedule.owed import scan_folder, states

    manifest = read_manifest(out)
    inputs = hash_inputs(folder, workspace_plugins=workspace_plugins)
    with progress() as step:
        scan, _ = scan_folder(
            folder, manifest, inputs=inputs, workspace_plugins=workspace_plugins, progress=step
        )
    found = states(scan, manifest.reports, out, day, unreadable=inputs.unreadable)
    width = max((len(state.label) for state in found), default=0)
    for state in found:
        click.echo(f"{state.label:<{width}}  {plain_line(state.what)}")
    if not found:
        click.echo("The logs hold no rows yet.")
    return DONE


class _Output:
    """Prints lines, and appends each to the log at once: a run that is killed has said what it did."""

    def __init__(self, log: Path | None) -> None:
        self._log = log
        self._is_empty = True
        self._refusal: OSError | None = None

    def line(self, text: str, *, err: bool = False) -> None:
        self._append(plain(text))
        try:
            click.echo(plain(text), err=err)
        except BrokenPipeError:  # nobody reads on, as after `| head`: what is owed is written all the same
            nowhere = os.open(os.devnull, os.O_WRONLY)
            os.dup2(nowhere, sys.stdout.fileno())

    @contextmanager
    def kept(self) -> Iterator["_Output"]:
        """Append how the command ended, too; raise what keeps the log from being written at the end."""
        try:
            yield self
        except Exception as error:
            self._append(sentence_for(error))
            raise
        except BaseException:
            self._append("stopped before it was done")
            raise
        if self._is_empty:
            self._append("nothing is owed")
        if self._refusal is not None:
            raise self._refusal

    def _append(self, text: str) -> None:
        from benchwater.files import append_lines

        self._is_empty = False
        if self._log is not None and self._refusal is None:
            stamp = f"{datetime.now():%Y-%m-%d %H:%M}"
            try:
                append_lines(self._log, [f"{stamp}  {line}" for line in text.split("\n")])
            except OSError as error:
                self._refusal = error
