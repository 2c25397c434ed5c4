"""The printing process: begun before anything is read, it gets WeasyPrint ready while the report is made."""

from typing import TYPE_CHECKING

from benchwater.aside.second_process import SecondProcess

if TYPE_CHECKING:
    from benchwater.render.pdf import Paper


def printer() -> "SecondProcess[Paper, bytes]":
    """The process, as a context, not yet begun: it is given a `Paper` and answers with a PDF.

    `answer` raises PrintingUnavailable where native libraries are missing.
    """
    return SecondProcess(_print, prepare=_get_ready)


def _print(paper: "Paper") -> bytes:
    from benchwater.render.pdf import print_paper

    return print_paper(paper)


def _get_ready() -> None:
    from benchwater.render.pdf import warm_up

    warm_up()
