"""Turn every error into one sentence and an exit status; `--debug` shows the traceback."""

import errno
import os
from collections.abc import Sequence
from pathlib import Path

import click

DONE, INCOMPLETE, REFUSED, INTERRUPTED = 0, 1, 2, 130


def guarded(cli: click.Group, arguments: Sequence[str]) -> int:
    """Run the command line and return its exit status.

    0 done, 1 done but something failed or was set aside, 2 the command or bench.toml cannot be used.
    """
    try:
        status = cli.main(args=list(arguments), prog_name="benchwater", standalone_mode=False)
    except click.exceptions.NoArgsIsHelpError as help_text:
        click.echo(help_text.format_message())
        return REFUSED
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
    from benchwater.commands.terminal import plain

    if isinstance(error, OSError):
        return f"Error: {plain(_cannot_be_used(error))}"
    if isinstance(error, ValueError | RuntimeError) and type(error).__module__.startswith("benchwater."):
        return f"Error: {plain(str(error))}"
    return (
        f"Error: benchwater stopped on something it did not expect "
        f"({type(error).__name__}: {plain(str(error))}). "
        f"Run again with --debug to see where, and please report it."
    )
