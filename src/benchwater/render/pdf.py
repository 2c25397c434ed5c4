"""The PDF report: the HTML printed by WeasyPrint, PDF/UA-1 and PDF/A-3a, the same bytes every time."""

import warnings
from datetime import datetime
from typing import TYPE_CHECKING, Any

from benchwater.analyse.report import Report
from benchwater.render import printing
from benchwater.render.archive import VARIANT, finish, packed_fast
from benchwater.render.attached import AttachedLog
from benchwater.render.json_twin import render_json
from benchwater.render.paper_tree import paper_page
from benchwater.render.text import visible

if TYPE_CHECKING:
    from collections.abc import Sequence


def print_pdf(
    html: str, report: Report, logs: "Sequence[AttachedLog]" = (), twin: str | None = None
) -> bytes:
    """The PDF of `render_html(report)`, with `render_json(report)` (`twin`, where made already) and `logs`.

    It reads nothing but what it is given.

    Title, language and dates come from the HTML. What WeasyPrint has to say it logs under `weasyprint`.
    Raises PrintingUnavailable where native libraries are missing.
    """
    weasyprint = printing.weasyprint()
    from weasyprint.text.fonts import FontConfiguration

    fetcher, fonts = printing.own_fetcher(), FontConfiguration()
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
    page = paper_page(html, fetcher)
    with printing.garbage_left_lying(), packed_fast(), warnings.catch_warnings():
        # WeasyPrint leaves the colour profile that PDF/A asks for open.
        warnings.filterwarnings("ignore", message="unclosed file .*sRGB2014[.]icc", category=ResourceWarning)
        pdf: bytes = page.write_pdf(
            stylesheets=[printing.typeface(fonts)],
            font_config=fonts,
            attachments=[numbers, *sources],
            pdf_variant=VARIANT,
            finisher=finish,
        )
    return pdf
