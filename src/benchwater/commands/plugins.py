"""`benchwater plugins`: what is loaded, from where, in what order, and what failed."""

from pathlib import Path

import click

from benchwater.commands.guard import DONE, INCOMPLETE
from benchwater.commands.terminal import (
    debug_option,
    debugging,
    folder_argument,
    plain,
    workspace_plugins_option,
)


@click.command(short_help="List the plugins: from where, in what order, what failed.")
@folder_argument
@workspace_plugins_option
@debug_option
def plugins(folder: Path, workspace_plugins: bool) -> int:
    """List the plugins for FOLDER (left out: this folder), in the order of the report.

    Plugins come from three places: shipped with benchwater, installed packages, and FOLDER/plugins/.

    Exit status: 0 all loaded; 1 at least one could not be used.
    """
    from benchwater.plugin_host.load import load_plugins
    from benchwater.read.bench_file import FILE_NAME, load_bench

    off = load_bench(folder).plugins_off if (folder / FILE_NAME).exists() else ()
    found = load_plugins(folder if workspace_plugins else None, off)
    click.echo("Analyses, in the order of the report:")
    for analysis, plugin in found.analyses:
        click.echo(f"  {analysis.order:>5}  {analysis.id:<20} {plain(analysis.question)}")
        click.echo(f"{'':>29}{plugin.origin}: {plain(plugin.where)}")
    click.echo("\nLogs:")
    for plugin in found.loaded:
        for kind in plugin.log_kinds:
            needed = ", ".join(kind.signature)
            click.echo(
                f"  {kind.name:<12} known by its columns {needed} ({plugin.origin}: {plain(plugin.where)})"
            )
    if off:
        click.echo(f"\nSwitched off in bench.toml: {plain(', '.join(off))}")
    if found.problems:
        click.echo("\nCould not be used:")
    for problem in found.problems:
        click.echo(f"  {plain(problem.name)} ({problem.origin}) {plain(problem.why)}")
        if problem.detail and debugging():
            click.echo(problem.detail)
    return INCOMPLETE if found.problems else DONE
