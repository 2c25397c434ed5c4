"""`benchwater check`: read everything, print what was understood and what was set aside."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchwater.commands.terminal import (
    DONE,
    INCOMPLETE,
    plain_line,
    print_plugin_problem,
    progress,
    workspace_command,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from benchwater.pipeline import Workspace
    from benchwater.read.outcome import SetAside


@workspace_command()
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
    _print_questions(workspace)
    _print_repeats(workspace)
    _print_set_aside(workspace)
    _print_plugins(workspace)
    reading = workspace.reading
    clean = not (
        reading.set_aside
        or reading.cells_set_aside
        or reading.not_read
        or reading.column_questions
        or reading.questions
        or workspace.plugins.problems
    )
    return DONE if clean else INCOMPLETE


def _print_bench(workspace: "Workspace") -> None:
    from benchwater.words import counted

    bench = workspace.bench
    click.echo(
        f"{plain_line(bench.name)}: {counted(len(bench.items), 'item')}, "
        f"{counted(len(bench.molds), 'mold')}, {counted(len(bench.builds), 'build')}"
    )
    for fallback in bench.fallbacks:
        click.echo(f"  note: {plain_line(fallback)}")


def _print_files(workspace: "Workspace") -> None:
    reading = workspace.reading
    if not reading.sources and not reading.not_read:
        click.echo("No logs yet: drop CSV files into this folder.")
    if reading.sources:
        width = max(len(plain_line(source.file)) for source in reading.sources)
        click.echo(f"\n{'file':<{width}}  {'log':<10}{'rows':>6}{'used':>6}{'repeated':>10}{'set aside':>11}")
    for source in reading.sources:
        click.echo(
            f"{plain_line(source.file):<{width}}  {source.log:<10}{source.rows:>6}{source.used:>6}"
            f"{source.repeated:>10}{source.set_aside:>11}"
        )
        for unread in (each for each in reading.unread_columns if each.file == source.file):
            what = unread.question if unread.may_be else f"`{unread.column}` was not read"
            click.echo(f"  {plain_line(what)}")
    if reading.not_read:
        click.echo("\nNot read:")
    for entry in reading.not_read:
        click.echo(f"  {plain_line(entry.file)} {plain_line(entry.why)}")


def _print_read_as(workspace: "Workspace") -> None:
    if workspace.reading.read_as:
        click.echo("\nRead as:")
    for each in workspace.reading.read_as:
        click.echo(f"  {plain_line(each.file)}: `{plain_line(each.written)}` as `{plain_line(each.read_as)}`")


def _print_questions(workspace: "Workspace") -> None:
    if workspace.reading.questions:
        click.echo("\nTo be answered:")
    for question in workspace.reading.questions:
        click.echo(f"  {plain_line(question)}")


def _print_repeats(workspace: "Workspace") -> None:
    if workspace.reading.repeats:
        click.echo("\nTaken as repeats (say otherwise with `keep_repeats` under [logs] in bench.toml):")
    for repeat in workspace.reading.repeats:
        lines = f"line{'' if repeat.lines.isdecimal() else 's'} {repeat.lines}"
        click.echo(f"  {plain_line(repeat.file)}, {lines}: already in {plain_line(repeat.first_in)}")


def _print_set_aside(workspace: "Workspace") -> None:
    from benchwater.words import counted

    reading = workspace.reading
    _print_entries(f"Set aside: {counted(len(reading.set_aside), 'row')}", reading.set_aside)
    cells = counted(len(reading.cells_set_aside), "cell")
    _print_entries(f"Set aside alone: {cells} of rows that count", reading.cells_set_aside)


def _print_entries(title: str, entries: "Sequence[SetAside]") -> None:
    if entries:
        click.echo(f"\n{title}")
    for entry in entries:
        column = f", column `{plain_line(entry.column)}`" if entry.column else ""
        written = f"`{plain_line(entry.value)}` " if entry.value else ""
        click.echo(f"  {plain_line(entry.file)}, line {entry.line}{column}: {written}{plain_line(entry.why)}")


def _print_plugins(workspace: "Workspace") -> None:
    if workspace.plugins.problems:
        click.echo("\nPlugins that could not be used:")
    for problem in workspace.plugins.problems:
        print_plugin_problem(problem)
