"""The PDF report: the HTML printed by WeasyPrint, tagged (PDF/UA-1), the same bytes for the same report."""

import base64
import contextlib
import gc
import io
from datetime import datetime
from typing import TYPE_CHECKING, Any

from benchwater.analyse.report import Report
from benchwater.render.attached import AttachedLog
from benchwater.render.fonts import FACES, FAMILY
from benchwater.render.json_twin import render_json
from benchwater.render.text import visible

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from types import ModuleType

INSTALL_HINT = """\
Printing needs Pango's native libraries. Install them, then run again:
  Debian, Ubuntu:  apt-get install libpangoft2-1.0-0 libharfbuzz-subset0
  macOS:           brew install pango
  Windows:         MSYS2, then in its shell: pacman -S mingw-w64-x86_64-pango"""


class PrintingUnavailable(RuntimeError):  # noqa: N818 - what cannot be done, not what went wrong
    """The PDF cannot be made on this machine; the message says what to install."""


def print_pdf(html: str, report: Report, logs: "Sequence[AttachedLog]" = ()) -> bytes:
    """The PDF of `render_html(report)`, with the JSON twin and `logs` attached.

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
    twin: Any = weasyprint.Attachment(
        string=render_json(report),
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
    with _garbage_left_lying():
        pdf: bytes = page.write_pdf(
            stylesheets=[typeface], font_config=fonts, attachments=[twin, *sources], pdf_variant="pdf/ua-1"
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
        raise PrintingUnavailable(f"{INSTALL_HINT}\n({error})") from error
    module: ModuleType = weasyprint
    return module


def _font_faces() -> str:
    return "\n".join(
        f'@font-face {{ font-family: "{FAMILY}"; font-weight: {face.weight}; font-style: {face.style}; '
        f'src: url("data:font/ttf;base64,{base64.b64encode(face.path.read_bytes()).decode("ascii")}") }}'
        for face in FACES
    )
