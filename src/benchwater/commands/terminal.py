"""What commands share: exit statuses, errors as sentences, printable text, common options, progress."""

import errno
import functools
import os
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, TextIO

import click

if TYPE_CHECKING:
    from benchwater.plugin_host.loaded import PluginProblem

DONE, INCOMPLETE, REFUSED, INTERRUPTED = 0, 1, 2, 130
_UNSAFE = frozenset({"Cc", "Cf", "Cn", "Co", "Cs", "Zl", "Zp"})
_Decorator = Callable[[Callable[..., Any]], Callable[..., Any]]


def plain(text: str) -> str:
    """Escape control characters, format characters and line separators (as `\\x1b`) but no line feed."""
    import unicodedata

    return "".join(
        character
        if character in "\n " or unicodedata.category(character) not in _UNSAFE
        else character.encode("unicode_escape").decode("ascii")
        for character in text
    )


def plain_line(text: str) -> str:
    """Escape the same and line breaks, so that the text stays on its line."""
    return plain(text).replace("\n", "\\n")


class Moment(click.DateTime):
    """A day or a time of day in one format; the error message says which."""

    def __init__(self, form: str, what: str, example: str) -> None:
        super().__init__([form])
        self._needed = f"is not {what} (accepted: `{example}`)"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        try:
            return super().convert(value, param, ctx)
        except click.BadParameter:
            self.fail(f"`{plain(str(value))}` {self._needed}", param, ctx)


DAY = Moment("%Y-%m-%d", "a day", "2026-06-01")
TIME_OF_DAY = Moment("%H:%M", "a time of day", "06:30")


class Folder(click.Path):
    """A folder, existing or to be made; the error message says what is there instead."""

    def __init__(self, *, exists: bool = False) -> None:
        super().__init__(file_okay=False, exists=exists, path_type=Path)

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        try:
            return super().convert(value, param, ctx)
        except click.BadParameter:
            path, name = Path(value), plain(str(value))
            if path.is_dir():
                self.fail(f"`{name}` is a folder that you may not read", param, ctx)
            if path.exists():
                self.fail(f"`{name}` is a file, and a folder is needed", param, ctx)
            self.fail(f"there is no folder `{name}` (`benchwater start` makes one)", param, ctx)


def completed_by(
    names: Callable[[Path], Iterable[str]],
) -> Callable[[click.Context, click.Parameter, str], list[str]]:
    """Return how the shell completes an option: by the names for the folder given so far."""

    def complete(context: click.Context, _parameter: click.Parameter, typed: str) -> list[str]:
        folder = Path(context.args[0] if context.args else "")  # an unfinished option leaves arguments there
        return [name for name in names(folder) if name.startswith(typed)]

    return complete


def _store_debug(context: click.Context, _parameter: click.Parameter, value: bool) -> None:
    context.meta["benchwater.debug"] = value


DEBUG_OPTION = click.option(
    "--debug", is_flag=True, expose_value=False, callback=_store_debug, help="Show tracebacks."
)
OUT_OPTION = click.option("--out", type=Folder(), help="Where reports go (left out: reports/ in FOLDER).")
_FOLDER_ARGUMENT = click.argument("folder", type=Folder(exists=True), default=Path(), required=False)
_PLUGINS_OPTION = click.option(
    "--no-workspace-plugins",
    "workspace_plugins",
    flag_value=False,
    default=True,
    help="Leave the folder's own plugins/ out: they run as your own code.",
)
_TRUST_OPTION = click.option(
    "--trust", is_flag=True, help="Say yes to the folder's own plugins/ as they are now, and remember it."
)


def workspace_command(*options: _Decorator) -> Callable[[Callable[..., Any]], click.Command]:
    """Return the decorator of a command on a workspace, which adds what all such commands take."""

    def decorate(function: Callable[..., Any]) -> click.Command:
        @functools.wraps(function)
        def with_plugins(*, folder: Path, workspace_plugins: bool, trust: bool, **others: Any) -> Any:
            if workspace_plugins:
                _ask_trust(folder, trust)
            return function(folder=folder, workspace_plugins=workspace_plugins, **others)

        command: Any = with_plugins
        added: tuple[_Decorator, ...] = (_PLUGINS_OPTION, _TRUST_OPTION, DEBUG_OPTION)
        for add in reversed((_FOLDER_ARGUMENT, *options, *added)):
            command = add(command)
        return click.command()(command)

    return decorate


def _ask_trust(folder: Path, yes: bool) -> None:
    """Ask, on a terminal, whether the folder's own plugins may run, if this user has not said yes to them."""
    from benchwater.plugin_host import trust

    names = trust.untrusted(folder)
    if not names:
        return
    if not yes and _is_terminal(sys.stdin) and _is_terminal(sys.stderr):
        click.echo("This folder brings Python code of its own, which would run as you:", err=True)
        for name in names:
            click.echo(f"  {plain_line(str(folder / 'plugins' / name))}", err=True)
        click.echo("You have not said yes to these files as they are now.", err=True)
        yes = click.confirm("Run them, from now on until one of them changes?", default=False, err=True)
    if yes:
        trust.trust(folder)


def _is_terminal(stream: TextIO | None) -> bool:
    """Return whether the stream is a terminal; a closed one is None."""
    return stream is not None and stream.isatty()


def debugging() -> bool:
    """Return whether `--debug` was given."""
    return bool(click.get_current_context().meta.get("benchwater.debug", False))


def print_plugin_problem(problem: "PluginProblem", start: str = "  ", *, err: bool = False) -> None:
    """Print a plugin's name, where it comes from and what failed; with `--debug` also the traceback."""
    click.echo(f"{start}{plain_line(problem.name)} ({problem.origin}) {plain_line(problem.why)}", err=err)
    if problem.detail and debugging():
        click.echo(problem.detail, err=err)


@contextmanager
def progress() -> Iterator[Callable[[str], None]]:
    """Show the current step on standard error if that is a terminal; yield the function that sets it."""
    if not _is_terminal(sys.stderr):
        yield lambda step: None
        return
    from rich.console import Console
    from rich.text import Text

    console = Console(stderr=True)
    with console.status(Text("Starting")) as status:
        yield lambda step: status.update(Text(plain(step)))


def guarded(cli: click.Group, arguments: Sequence[str]) -> int:
    """Run the command line and return its exit status.

    0 done, 1 done but something failed or was set aside, 2 the command or bench.toml cannot be used.
    """
    try:
        status = cli.main(args=list(arguments), prog_name="benchwater", standalone_mode=False)
    except click.ClickException as error:
        error.show()
        return REFUSED
    except (click.Abort, KeyboardInterrupt):
        click.echo("Stopped.", err=True)
        return INTERRUPTED
    except Exception as error:
        if "--debug" in arguments:
            import traceback

            traceback.print_exc()
        else:
            click.echo(sentence_for(error), err=True)
        return REFUSED
    return status if isinstance(status, int) else DONE


_HELP = {
    errno.EACCES: "it may be read-only, another person's, or open in another program",
    errno.EPERM: "it may be read-only, another person's, or open in another program",
    errno.EROFS: "name another folder with --out",
    errno.ENOSPC: "make room, or name another folder with --out",
    errno.ENOTDIR: "a file is where a folder is needed: move it away",
    errno.EEXIST: "a file is where a folder is needed: move it away",
}
"""What may help when the system refuses a file or folder, by error number."""


def _cannot_be_used(error: OSError) -> str:
    """Return what cannot be used (for a hidden file of benchwater, its folder), why, and what may help."""
    named = error.filename2 or error.filename
    what, about = error.strerror or str(error), _HELP.get(error.errno or 0)
    if named is None or isinstance(named, int):
        return what
    path = Path(os.fsdecode(named))
    path = path.parent if path.name.startswith(".") else path
    path = next((above for above in path.parents if above.is_file()), path)
    return f"{path}: {what}" + (f" ({about})" if about else "")


def sentence_for(error: Exception) -> str:
    """Return what is wrong, in one sentence for the maker."""
    if isinstance(error, OSError):
        return f"Error: {plain(_cannot_be_used(error))}"
    if isinstance(error, ValueError | RuntimeError) and type(error).__module__.startswith("benchwater."):
        return f"Error: {plain(str(error))}"
    return (
        f"Error: benchwater stopped on something it did not expect "
        f"({type(error).__name__}: {plain(str(error))}). "
        f"Run again with --debug to see where, and please report it."
    )
