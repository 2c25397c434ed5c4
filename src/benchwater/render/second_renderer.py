"""A process that renders: begun before anything is read, it gets ready while the report is being made."""

import gc
from collections.abc import Callable
from typing import Any, TypeAlias

from benchwater.aside.second_process import SecondProcess

Renderer: TypeAlias = SecondProcess[Callable[[], Any], Any]


def renderer() -> Renderer:
    """The process, as a context, not yet begun: given a piece of rendering, it answers what that gives."""
    return SecondProcess(_render, prepare=_get_ready)


def _render(piece: Callable[[], Any]) -> Any:
    return piece()


def _get_ready() -> None:
    gc.disable()  # it renders a page or two and ends: its garbage may lie
    from benchwater.render import html, pdf, printing  # noqa: F401

    printing.weasyprint()
    html.compile_templates()
