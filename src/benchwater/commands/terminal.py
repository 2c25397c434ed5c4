"""What commands share: printable text, a progress line, and options of the same name."""

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, TypeVar

import click

_UNSAFE = frozenset({"Cc", "Cf", "Cn", "Co", "Cs", "Zl", "Zp"})
_Command = TypeVar("_Command", bound=Callable[..., Any])


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
        """Take the format, as in strptime, and what the message calls it."""
        super().__init__([form])
        self._needed = f"is not {what} (accepted: `{example}`)"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Parse the moment."""
        try:
            return super().convert(value, param, ctx)
        except click.BadParameter:
            self.fail(f"`{plain(str(value))}` {self._needed}", param, ctx)


DAY = Moment("%Y-%m-%d", "a day", "2026-06-01")
TIME_OF_DAY = Moment("%H:%M", "a time of day", "06:30")


class Folder(click.Path):
    """A folder, existing or to be made; the error message says what is there instead."""

    def __init__(self, *, exists: bool = False) -> None:
        """Take whether the folder must exist."""
        super().__init__(file_okay=False, exists=exists, path_type=Path)

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Parse the folder."""
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
    """Add the argument for the workspace; its default is the current folder."""
    return click.argument(
        "folder",
        type=Folder(exists=True),
        default=Path(),
        required=False,
    )(command)


def debug_option(command: _Command) -> _Command:
    """Add `--debug`. See `debugging`; `guarded` looks for it too."""
    return click.option(
        "--debug", is_flag=True, expose_value=False, callback=_store_debug, help="Show tracebacks."
    )(command)


def debugging() -> bool:
    """Return whether `--debug` was given."""
    return bool(click.get_current_context().meta.get("benchwater.debug", False))


def _store_debug(context: click.Context, parameter: click.Parameter, value: bool) -> None:
    context.meta["benchwater.debug"] = value


def workspace_plugins_option(command: _Command) -> _Command:
    """Add `--no-workspace-plugins`."""
    return click.option(
        "--no-workspace-plugins",
        "workspace_plugins",
        flag_value=False,
        default=True,
        help="Leave the folder's own plugins/ out: they run as your own code.",
    )(command)


@contextmanager
def progress() -> Iterator[Callable[[str], None]]:
    """Show the current step on standard error if that is a terminal; yield the function that sets it."""
    if not sys.stderr.isatty():
        yield lambda step: None
        return
    from rich.console import Console
    from rich.text import Text

    console = Console(stderr=True)
    with console.status(Text("Starting")) as status:
        yield lambda step: status.update(Text(plain(step)))
