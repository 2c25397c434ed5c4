"""`benchwater check`: read everything, print what was understood and what was set aside."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchwater.commands.guard import DONE, INCOMPLETE
from benchwater.commands.terminal import (
    debug_option,
    folder_argument,
    plain,
    progress,
    workspace_plugins_option,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from benchwater.pipeline import Workspace
    from benchwater.read.outcome import SetAside


@click.command()
@folder_argument
@workspace_plugins_option
@debug_option
def check(folder: Path, workspace_plugins: bool) -> int:
    """Read FOLDER (left out: this folder); print what was understood and what was set aside.

    It writes nothing. It lists every row and cell that cannot be used: file, line, column, the cell as
    written, and what would have been accepted.

    Exit status: 0 everything was understood; 1 something was set aside, not read or asked about; 2 bench.toml
    cannot be used.
    """
    from benchwater.pipeline import read_workspace

    with progress() as step:
        workspace = read_workspace(folder, workspace_plugins=workspace_plugins, progress=step)
    _print_bench(workspace)
    _print_files(workspace)
    _print_read_as(workspace)
    _print_repeats(workspace)
    _print_set_aside(workspace)
    _print_plugins(workspace)
    reading = workspace.reading
    clean = not (
        reading.set_aside
        or reading.cells_set_aside
        or reading.not_read
        or reading.column_questions
        or workspace.plugins.problems
    )
    return DONE if clean else INCOMPLETE


def _print_bench(workspace: "Workspace") -> None:
    bench = workspace.bench
    click.echo(
        f"{plain(bench.name)}: {_count(len(bench.items), 'item')}, {_count(len(bench.molds), 'mold')}, "
        f"{_count(len(bench.builds), 'build')}"
    )
    for fallback in bench.fallbacks:
        click.echo(f"  note: {plain(fallback)}")


def _print_files(workspace: "Workspace") -> None:
    reading = workspace.reading
    if not reading.sources and not reading.not_read:
        click.echo("No logs yet: drop CSV files into this folder.")
    if reading.sources:
        width = max(len(plain(source.file)) for source in reading.sources)
        click.echo(f"\n{'file':<{width}}  {'log':<10}{'rows':>6}{'used':>6}{'repeated':>10}{'set aside':>11}")
    for source in reading.sources:
        click.echo(
            f"{plain(source.file):<{width}}  {source.log:<10}{source.rows:>6}{source.used:>6}"
            f"{source.repeated:>10}{source.set_aside:>11}"
        )
        for unread in (each for each in reading.unread_columns if each.file == source.file):
            what = plain(unread.question) if unread.may_be else f"`{plain(unread.column)}` was not read"
            click.echo(f"  {what}")
    if reading.not_read:
        click.echo("\nNot read:")
    for entry in reading.not_read:
        click.echo(f"  {plain(entry.file)} {plain(entry.why)}")


def _print_read_as(workspace: "Workspace") -> None:
    if workspace.reading.read_as:
        click.echo("\nRead as:")
    for each in workspace.reading.read_as:
        click.echo(f"  {plain(each.file)}: `{plain(each.written)}` as `{plain(each.read_as)}`")


def _print_repeats(workspace: "Workspace") -> None:
    if workspace.reading.repeats:
        click.echo("\nTaken as repeats (say otherwise with `keep_repeats` under [logs] in bench.toml):")
    for repeat in workspace.reading.repeats:
        lines = f"line{'' if repeat.lines.isdecimal() else 's'} {repeat.lines}"
        click.echo(f"  {plain(repeat.file)}, {lines}: already in {plain(repeat.first_in)}")


def _print_set_aside(workspace: "Workspace") -> None:
    reading = workspace.reading
    _print_entries(f"Set aside: {_count(len(reading.set_aside), 'row')}", reading.set_aside)
    cells = _count(len(reading.cells_set_aside), "cell")
    _print_entries(f"Set aside alone: {cells} of rows that count", reading.cells_set_aside)


def _print_entries(title: str, entries: "Sequence[SetAside]") -> None:
    if entries:
        click.echo(f"\n{title}")
    for entry in entries:
        column = f", column `{plain(entry.column)}`" if entry.column else ""
        written = f"`{plain(entry.value)}` " if entry.value else ""
        click.echo(f"  {plain(entry.file)}, line {entry.line}{column}: {written}{plain(entry.why)}")


def _print_plugins(workspace: "Workspace") -> None:
    if workspace.plugins.problems:
        click.echo("\nPlugins that could not be used:")
    for problem in workspace.plugins.problems:
        click.echo(f"  {plain(problem.name)} ({problem.origin}) {plain(problem.why)}")


def _count(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"
