"""The PDF report: the HTML printed by WeasyPrint, PDF/UA-1 and PDF/A-3a, the same bytes every time."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from benchwater.analyse.report import Report
from benchwater.render import printing
from benchwater.render.archive import VARIANT, finish, packed_fast
from benchwater.render.attached import AttachedLog
from benchwater.render.json_twin import render_json
from benchwater.render.paper_tree import paper_page
from benchwater.render.text import visible


@dataclass(frozen=True, slots=True, kw_only=True)
class Paper:
    """What is printed: a report's HTML and JSON, the logs that go with them, and the day all of it is of."""

    html: str
    numbers: str
    logs: tuple[AttachedLog, ...]
    day: date


def print_pdf(html: str, report: Report, logs: Sequence[AttachedLog] = (), twin: str | None = None) -> bytes:
    """The PDF of `render_html(report)`, with `render_json(report)` (`twin`, where made before) and `logs`."""
    numbers = render_json(report) if twin is None else twin
    return print_paper(Paper(html=html, numbers=numbers, logs=tuple(logs), day=report.period.end))


def print_paper(paper: Paper) -> bytes:
    """The PDF. It reads nothing but what it is given.

    Title, language and dates come from the HTML. What WeasyPrint has to say it logs under `weasyprint`.
    Raises PrintingUnavailable where native libraries are missing.
    """
    weasyprint = printing.weasyprint()
    from weasyprint.text.fonts import FontConfiguration

    fetcher, fonts = printing.own_fetcher(), FontConfiguration()
    made = datetime(paper.day.year, paper.day.month, paper.day.day)
    numbers: Any = weasyprint.Attachment(
        string=paper.numbers,
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
        for log in paper.logs
    ]
    page = paper_page(paper.html, fetcher)
    with printing.undisturbed(), packed_fast():
        pdf: bytes = page.write_pdf(
            stylesheets=[printing.typeface(fonts)],
            font_config=fonts,
            attachments=[numbers, *sources],
            pdf_variant=VARIANT,
            finisher=finish,
        )
    return pdf
