"""Run the command line in this process."""

import contextlib
import io
from dataclasses import dataclass

from benchwater.commands import cli
from benchwater.commands.terminal import guarded


@dataclass(frozen=True)
class Outcome:
    """Exit status and printed text of a command."""

    status: int
    out: str
    err: str


def run(*arguments: object) -> Outcome:
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        status = guarded(cli, [str(argument) for argument in arguments])
    return Outcome(status, out.getvalue(), err.getvalue())
