"""`benchwater plugins`: what is loaded, from where, in what order, and what failed."""

from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchwater.commands.terminal import (
    DONE,
    INCOMPLETE,
    Folder,
    plain,
    print_plugin_problem,
    workspace_command,
)

if TYPE_CHECKING:
    from benchwater.plugin.hooks import Option

_MOST_NAMES = 8


@workspace_command(
    click.option(
        "--schema",
        "schemas",
        metavar="OUT",
        type=Folder(),
        help="Also write the Table Schema (JSON) of every log into the folder OUT.",
    ),
)
def plugins(folder: Path, schemas: Path | None, workspace_plugins: bool) -> int:
    """List the plugins for FOLDER (left out: this folder), in the order of the report.

    Plugins come from three places: shipped with benchwater, installed packages, and FOLDER/plugins/.
    Options are set in bench.toml, under [plugins.ID].

    With --schema, other programs can validate your logs: for each log it writes into OUT
    <log>.schema.json, for the log as you write it, and <log>.canonical.schema.json, for the log in
    canonical units as season.to_csv writes it.

    Exit status: 0 all loaded; 1 at least one could not be used; 2 bench.toml cannot be used.
    """
    from benchwater.plugin_host.load import load_plugins
    from benchwater.plugin_host.options import read_options
    from benchwater.read.bench_file import FILE_NAME, load_bench
    from benchwater.text import first_few

    bench_file = load_bench(folder) if (folder / FILE_NAME).exists() else None
    off = bench_file.plugins_off if bench_file is not None else ()
    found = load_plugins(folder if workspace_plugins else None, off)
    click.echo("Analyses, in the order of the report:")
    for analysis, plugin in found.analyses:
        click.echo(f"  {analysis.order:>5}  {analysis.id:<20} {plain(analysis.question)}")
        click.echo(f"{'':>29}{plugin.origin}: {plain(plugin.where)}")
        _list_options(analysis.options, indent=29)
    click.echo("\nLogs:")
    for plugin in found.loaded:
        for kind in plugin.log_kinds:
            needed = ", ".join(kind.signature)
            click.echo(
                f"  {kind.name:<12} known by its columns {needed} ({plugin.origin}: {plain(plugin.where)})"
            )
            for column in kind.columns:
                others = dict.fromkeys((*column.also, *column.everyday))
                also = f": also {first_few(others, _MOST_NAMES)}" if others else ""
                click.echo(plain(f"{'':>15}{column.name}{also}"))
    click.echo("\nDone with each report that was written:")
    for plugin in found.loaded:
        if plugin.report_written is not None:
            click.echo(f"  {plain(plugin.id)} ({plugin.origin}: {plain(plugin.where)})")
            _list_options(plugin.report_options, indent=15)
    if off:
        click.echo(f"\nSwitched off in bench.toml: {plain(', '.join(off))}")
    if found.problems:
        click.echo("\nCould not be used:")
    for problem in found.problems:
        print_plugin_problem(problem)
    if bench_file is not None:
        options = bench_file.bench.plugin_options
        read_options(found, options, bench_file.plugin_lines, complete=workspace_plugins)
    if schemas is not None:
        from benchwater.export import write_schemas

        bench = bench_file.bench if bench_file is not None else None
        click.echo("")
        for path in write_schemas(found.log_kinds, bench, schemas):
            click.echo(f"Wrote {plain(str(path))}")
    return INCOMPLETE if found.problems else DONE


def _list_options(options: "Iterable[Option]", *, indent: int) -> None:
    from benchwater.units import QUANTITIES, is_quantity

    for option in options:
        unit = f" {QUANTITIES[option.kind].canonical}" if is_quantity(option.kind) else ""
        left_out = "" if option.default is None else f" (left out: {option.default}{unit})"
        click.echo(f"{'':>{indent}}option {option.name}: {plain(option.meaning + left_out)}")
