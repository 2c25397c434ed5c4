"""What every command shares at the terminal: plain text, progress, and options of the same name."""

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, TypeVar

import click

_Command = TypeVar("_Command", bound=Callable[..., Any])


def plain(text: str) -> str:
    """Text from a log or a file's name, safe to print: control and format characters are shown as `\\x1b`."""
    import unicodedata

    return "".join(
        character
        if character in "\n " or unicodedata.category(character)[0] != "C"
        else character.encode("unicode_escape").decode("ascii")
        for character in text
    )


class Written(click.DateTime):
    """A day or a time of day as it is to be written; the message on another one says what is accepted."""

    def __init__(self, form: str, what: str, example: str) -> None:
        """`form` as strptime has it."""
        super().__init__([form])
        self._needed = f"is not {what} (accepted: `{example}`)"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """The moment."""
        try:
            return super().convert(value, param, ctx)
        except click.BadParameter:
            self.fail(f"`{plain(str(value))}` {self._needed}", param, ctx)


DAY = Written("%Y-%m-%d", "a day", "2026-06-01")
TIME_OF_DAY = Written("%H:%M", "a time of day", "06:30")


class Folder(click.Path):
    """A folder, there already or to be made; the message on anything else says what it is."""

    def __init__(self, *, exists: bool = False) -> None:
        """`exists` where it has to be there."""
        super().__init__(file_okay=False, exists=exists, path_type=Path)

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """The folder."""
        try:
            return super().convert(value, param, ctx)
        except click.BadParameter:
            path, name = Path(value), plain(str(value))
            if path.is_dir():
                self.fail(f"`{name}` is a folder that you may not read", param, ctx)
            if path.exists():
                self.fail(f"`{name}` is a file, and a folder is needed", param, ctx)
            self.fail(f"there is no folder `{name}` (`benchwater start` makes one)", param, ctx)


def folder_argument(command: _Command) -> _Command:
    """The workspace: the current folder when left out."""
    return click.argument(
        "folder",
        type=Folder(exists=True),
        default=Path(),
        required=False,
    )(command)


def debug_option(command: _Command) -> _Command:
    """`--debug`: see `debugging`; the guard around the command line looks for it as well."""
    return click.option(
        "--debug", is_flag=True, expose_value=False, callback=_note_debug, help="Show tracebacks."
    )(command)


def debugging() -> bool:
    """Whether `--debug` was given."""
    return bool(click.get_current_context().meta.get("benchwater.debug", False))


def _note_debug(context: click.Context, parameter: click.Parameter, value: bool) -> None:
    context.meta["benchwater.debug"] = value


def workspace_plugins_option(command: _Command) -> _Command:
    """`--no-workspace-plugins`."""
    return click.option(
        "--no-workspace-plugins",
        "workspace_plugins",
        flag_value=False,
        default=True,
        help="Leave the folder's own plugins/ out: they run as your own code.",
    )(command)


@contextmanager
def progress() -> Iterator[Callable[[str], None]]:
    """A line on the terminal that says what is being done; silent when standard error is no terminal."""
    if not sys.stderr.isatty():
        yield lambda step: None
        return
    from rich.console import Console
    from rich.text import Text

    console = Console(stderr=True)
    with console.status(Text("Starting")) as status:
        yield lambda step: status.update(Text(plain(step)))
