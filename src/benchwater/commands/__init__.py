"""The command line: the only place that prints. Commands import heavy libraries only when they need them."""

from collections.abc import Sequence

import click

from benchwater.commands.check import check
from benchwater.commands.due import due
from benchwater.commands.guard import guarded
from benchwater.commands.new_analysis import new_analysis
from benchwater.commands.plugins import plugins
from benchwater.commands.report import report
from benchwater.commands.sheets import sheets
from benchwater.commands.start import start
from benchwater.commands.timer import timer
from benchwater.commands.watch import watch

OVERVIEW = """\
The season report for people who make their own fishing lures.

Drop your CSV logs (pouring, stock, coating, fishing) into a folder with a bench.toml, and get a
monthly report that closes the books between bench and water and says what to do next.

\b
  benchwater start my-bench           a new folder: bench.toml and blank logs
  benchwater check my-bench           what was understood, what was set aside and why
  benchwater report my-bench          the report of the latest month, as PDF, HTML and JSON
  benchwater due my-bench             every report that is owed; `watch` and `timer` do it by themselves
"""


class _InOrder(click.Group):
    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(self.commands)


@click.group(
    cls=_InOrder,
    help=OVERVIEW,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
@click.version_option(package_name="benchwater", prog_name="benchwater")
def cli() -> None:
    """All commands."""


for _command in (start, sheets, check, report, due, watch, timer, plugins, new_analysis):
    cli.add_command(_command)


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command line and end the process with its exit status."""
    raise SystemExit(guarded(cli, arguments))


__all__ = ["cli", "main"]
