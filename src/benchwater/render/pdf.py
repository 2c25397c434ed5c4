"""The PDF report: the HTML printed by WeasyPrint, PDF/UA-1 and PDF/A-3a, the same bytes every time."""

import base64
import contextlib
import gc
import io
import warnings
from datetime import datetime
from typing import TYPE_CHECKING, Any

from benchwater.analyse.report import Report
from benchwater.render.archive import VARIANT, mark_both
from benchwater.render.attached import AttachedLog
from benchwater.render.fonts import FACES, FAMILY
from benchwater.render.json_twin import render_json
from benchwater.render.native_libraries import install_hint
from benchwater.render.text import visible

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from types import ModuleType


class PrintingUnavailable(RuntimeError):  # noqa: N818 - what cannot be done, not what went wrong
    """The PDF cannot be made on this machine; the message says what to install."""


def print_pdf(
    html: str, report: Report, logs: "Sequence[AttachedLog]" = (), twin: str | None = None
) -> bytes:
    """The PDF of `render_html(report)`, with `render_json(report)` (`twin`, where made already) and `logs`.

    It reads nothing but what it is given.

    Title, language and dates come from the HTML. What WeasyPrint has to say it logs under `weasyprint`.
    Raises PrintingUnavailable where native libraries are missing.
    """
    weasyprint = _weasyprint()
    from weasyprint.text.fonts import FontConfiguration
    from weasyprint.urls import URLFetcher

    fetcher = URLFetcher(allowed_protocols={"data"}, allow_redirects=False)
    fonts = FontConfiguration()
    made = datetime(report.period.end.year, report.period.end.month, report.period.end.day)
    numbers: Any = weasyprint.Attachment(
        string=render_json(report) if twin is None else twin,
        name="season-report.json",
        description="The numbers of this report, unrounded, for other programs",
        created=made,
        modified=made,
        relationship="Data",
        url_fetcher=fetcher,
    )
    sources = [
        weasyprint.Attachment(
            string=log.data,
            name=log.name,
            description=f"{visible(log.file)}, a log this report was made from (SHA-256 {log.sha256})",
            created=made,
            modified=made,
            relationship="Source",
            url_fetcher=fetcher,
        )
        for log in logs
    ]
    typeface = weasyprint.CSS(string=_font_faces(), font_config=fonts, url_fetcher=fetcher)
    page = weasyprint.HTML(string=html, url_fetcher=fetcher)
    with _garbage_left_lying(), warnings.catch_warnings():
        # WeasyPrint leaves the colour profile that PDF/A asks for open.
        warnings.filterwarnings("ignore", message="unclosed file .*sRGB2014[.]icc", category=ResourceWarning)
        pdf: bytes = page.write_pdf(
            stylesheets=[typeface],
            font_config=fonts,
            attachments=[numbers, *sources],
            pdf_variant=VARIANT,
            finisher=mark_both,
        )
    return pdf


@contextlib.contextmanager
def _garbage_left_lying() -> "Iterator[None]":
    """Lay out without garbage collection: a fifth faster (2.8 s for 3.5 s on the demo), freed afterwards."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


def _weasyprint() -> "ModuleType":
    """WeasyPrint, whose import prints to standard output where a native library is missing."""
    try:
        with contextlib.redirect_stdout(io.StringIO()):
            import weasyprint
    except OSError as error:
        raise PrintingUnavailable(f"{install_hint()}\n({error})") from error
    module: ModuleType = weasyprint
    return module


def _font_faces() -> str:
    return "\n".join(
        f'@font-face {{ font-family: "{FAMILY}"; font-weight: {face.weight}; font-style: {face.style}; '
        f'src: url("data:font/ttf;base64,{base64.b64encode(face.path.read_bytes()).decode("ascii")}") }}'
        for face in FACES
    )
