"""The command line, the only place that prints. What a command needs is imported when it is called."""

import importlib
import os
import signal
import sys
from contextlib import suppress
from functools import partial
from io import TextIOWrapper

import click

import benchwater
from benchwater.commands.terminal import guarded
from benchwater.supervisor import supervise

COMMANDS = {
    "start": ("start", "Make a new workspace: bench.toml and blank logs."),
    "sheets": ("sheets", "Print blank log sheets for the bench and the boat."),
    "check": ("check", "Read everything: what was understood, what was set aside."),
    "report": ("report", "Write the report of a folder as PDF, HTML and JSON."),
    "due": ("due", "Write each report that is owed, and nothing else."),
    "watch": ("watch", "Write reports as files arrive, until stopped."),
    "timer": ("timer", "Have the operating system run `due` every day."),
    "plugins": ("plugins", "List the plugins: from where, in what order, what failed."),
    "new-analysis": ("start", "Write a plugin and its test, ready to edit."),
}
"""The module of each command, and its line in the overview."""
SUPERVISED = frozenset({"sheets", "check", "report", "due", "plugins", "new-analysis"})
"""The commands that run plugins."""

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


class _Commands(click.Group):
    """Imports a command's module only when the command is called: a command starts quickly."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        module = importlib.import_module(f"benchwater.commands.{COMMANDS[cmd_name][0]}")
        command = getattr(module, cmd_name.replace("-", "_"))
        return command if isinstance(command, click.Command) else None

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        if args and not args[0].startswith("-") and args[0] not in COMMANDS:
            from benchwater.commands.terminal import plain
            from benchwater.text import did_you_mean

            hint = did_you_mean(args[0], COMMANDS, f"there are: {', '.join(COMMANDS)}")
            ctx.fail(f"there is no command `{plain(args[0])}`{hint}")
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(name, help) for name, (_, help) in COMMANDS.items()])


@click.group(
    cls=_Commands,
    help=OVERVIEW,
    invoke_without_command=True,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
@click.version_option(benchwater.__version__, prog_name="benchwater")
@click.pass_context
def cli(context: click.Context) -> None:
    """All commands."""
    if context.invoked_subcommand is None:
        click.echo(context.get_help())


def main() -> None:
    """Run the command line and exit with its status."""
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # small matrices gain nothing from more threads
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")  # a terminal of another encoding shows names so
    arguments = sys.argv[1:]
    if not SUPERVISED.intersection(arguments[:1]):
        sys.exit(guarded(cli, arguments))
    status = supervise(lambda: guarded(cli, arguments), partial(click.echo, err=True))
    if status < 0:
        with suppress(OSError):  # SIGKILL has no handler
            signal.signal(-status, signal.SIG_DFL)
        os.kill(os.getpid(), -status)
    sys.exit(status)
