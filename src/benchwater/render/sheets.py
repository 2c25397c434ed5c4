"""Blank sheets, labels, cards and lists as PDF, and the log page: the same bytes for the same bench."""

import base64
import hashlib
import json
import re
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

from markupsafe import Markup

from benchwater.plugin.bench import Bench
from benchwater.render.html import environment
from benchwater.render.pdf import to_pdf
from benchwater.sheets.labels import Label, LabelStock, MoldTally, TrialSheet, TripSheet
from benchwater.sheets.layout import (
    BOTTOM_MM,
    HEAD_MM,
    HEADING_MM,
    NUMBER_MM,
    SIDE_MM,
    STRIP_MM,
    TOP_MM,
    Box,
    Entry,
    Page,
    Sheet,
    cut,
)
from benchwater.sheets.lists import TripBox, WorkLists
from benchwater.sheets.screens import LogPage
from benchwater.words import visible

_MM_PER_POINT = 25.4 / 72
_LARGEST_PT = 12.0
LOG_PAGE_NAME = "log-page.html"
_TEMPLATES = Path(__file__).parent / "templates"
_LONGEST_FIELD = 160
_HEADING_LETTER_MM = 1.55
_NO_FILE_NAME = re.compile(r'[\x00-\x1f/\\:*?"<>|]+|^\.+')


def print_sheet(sheet: Sheet) -> bytes:
    """Return the PDF of a sheet. Raises PrintingUnavailable where native libraries are missing."""
    return to_pdf(sheet_html(sheet), forms=True, finisher=_finish_form)


def _finish_form(_document: Any, pdf: Any) -> None:
    _replace_byte_order_mark(pdf)
    _draw_fields(pdf)


def _draw_fields(pdf: Any) -> None:
    """Give each form field a blank appearance stream, which PDF/A demands.

    Each field has its own, because programs that fill in a field write into it.
    """
    import pydyf

    dictionaries = [each for each in pdf.objects if isinstance(each, dict)]
    for field in [each for each in dictionaries if each.get("Subtype") == "/Widget"]:
        left, top, right, bottom = field["Rect"]
        box = pydyf.Array((0, 0, abs(right - left), abs(top - bottom)))
        extra = {"Type": "/XObject", "Subtype": "/Form", "BBox": box, "Resources": pydyf.Dictionary()}
        blank = pydyf.Stream([b"/Tx BMC", b"EMC"], pydyf.Dictionary(extra))
        pdf.add_object(blank)
        if "AP" in field:
            field["AP"]["N"]["Off"] = blank.reference
        else:
            field["AP"] = pydyf.Dictionary({"N": blank.reference})
    pdf.catalog.get("AcroForm", {}).pop("NeedAppearances", None)


def _replace_byte_order_mark(pdf: Any) -> None:
    """Map U+FEFF of the form's font, embedded whole, to the word joiner: PDF/UA-1 forbids U+FEFF."""
    for each in pdf.objects:
        lines = getattr(each, "stream", ())
        if b"begincmap" in lines:
            each.stream = [
                re.sub(rb"<feff>$", b"<2060>", line, flags=re.IGNORECASE) if isinstance(line, bytes) else line
                for line in lines
            ]


def sheet_html(sheet: Sheet) -> str:
    """Return the sheet as HTML, for printing."""
    return (
        environment()
        .get_template("sheet.html.j2")
        .render(
            sheet=sheet,
            field=lambda page, row, entry, box=None: field_name(sheet, page, row, entry, box),
            spoken=_spoken,
            narrow=_is_narrow,
            mm={
                "side": SIDE_MM,
                "top": TOP_MM,
                "bottom": BOTTOM_MM,
                "head": HEAD_MM,
                "strip": STRIP_MM,
                "heading": HEADING_MM,
                "number": NUMBER_MM,
            },
        )
    )


def file_name(log: str) -> str:
    """Return the file name of a log's sheet; characters that a path would read are replaced."""
    return f"{_NO_FILE_NAME.sub('_', log).strip() or 'log'}.pdf"


def field_name(sheet: Sheet, page: Page, row: int, entry: Entry, box: Box | None = None) -> str:
    """Return the name of a form field: `r01 outcome good` for a box, `r01 mass` for text; row 0 is the head.

    On a sheet of several pages the name starts with the page, as in `p2 r01 mass`.
    """
    parts = [f"p{page.number}"] if len(sheet.pages) > 1 else []
    if row:
        parts.append(f"r{row:02}")
    parts.append("+".join(entry.columns))
    if box is not None:
        parts.append(" / ".join(box.cells))
    return cut(visible(" ".join(parts)), _LONGEST_FIELD).replace(".", "·")


def _spoken(row: int, entry: Entry, box: Box | None = None) -> str:
    """Return the description of a field for screen readers."""
    about = entry.heading
    if box is not None:
        about += f": {', '.join(box.cells)}"
    elif entry.prompt:
        about += f": {entry.prompt}"
    if entry.note and box is None:
        about += f" ({entry.note})"
    return f"row {row}, {about}" if row else about


def _is_narrow(entry: Entry, page: Page) -> bool:
    """Return whether the longest word of a heading needs smaller letters to fit its column."""
    longest = max(len(word) for word in [*entry.heading.split(), ""])
    return longest * _HEADING_LETTER_MM + 2 > entry.width(page.tick_mm)


def print_labels(title: str, bench: Bench, labels: Sequence[Label], stock: LabelStock) -> bytes:
    """Return the PDF of labels on a stock. Raises PrintingUnavailable where native libraries are missing."""
    width, height = stock.label_mm
    on_one = stock.columns * stock.rows
    pages = [
        [
            (
                stock.margin_mm + place % stock.columns * (width + stock.gap_mm),
                stock.margin_mm + place // stock.columns * (height + stock.gap_mm),
                label,
            )
            for place, label in enumerate(labels[start : start + on_one])
        ]
        for start in range(0, len(labels), on_one)
    ]
    lines = max((len(label.lines) for label in labels), default=0)
    points = min(_LARGEST_PT, (height - 2) / (1.2 * lines + 1.7) / _MM_PER_POINT)
    return _printed(
        "labels.html.j2", title=title, bench=bench, pages=pages, width=width, height=height, points=points
    )


def print_tallies(bench: Bench, molds: Sequence[MoldTally], trip: TripSheet) -> bytes:
    """Return the PDF of a tally sheet for each mold and one trip sheet; raises as `print_labels` does."""
    return _printed("tally.html.j2", title="Tally sheets", bench=bench, molds=molds, trip=trip)


def print_trial(bench: Bench, trial: TrialSheet) -> bytes:
    """Return the PDF of the sheet of a trial; raises as `print_labels` does."""
    return _printed("trial.html.j2", title=f"Trial: {trial.name.replace('_', ' ')}", bench=bench, trial=trial)


def print_trip_box(bench: Bench, box: TripBox) -> bytes:
    """Return the PDF of a list of what to take; raises as `print_labels` does."""
    return _printed("trip_box.html.j2", title=f"To take: {box.water}", bench=bench, box=box)


def print_work_lists(bench: Bench, lists: WorkLists) -> bytes:
    """Return the PDF of what to buy and the evenings of work; raises as `print_labels` does."""
    return _printed("shopping.html.j2", title="Before next season", bench=bench, lists=lists)


def _printed(template: str, **facts: object) -> bytes:
    return to_pdf(environment().get_template(template).render(**facts))


def render_log_page(page: LogPage) -> str:
    """Return the log page as one HTML document, the same text for the same bench.

    Its Content-Security-Policy allows its own style and script, by their hashes, and nothing else.
    """
    style, script = (
        f"\n{(_TEMPLATES / name).read_text(encoding='utf-8')}" for name in ("log_page.css", "log_page.js")
    )
    facts = json.dumps(asdict(page), ensure_ascii=False).replace("<", "\\u003c")
    return (
        environment()
        .get_template("log_page.html.j2")
        .render(
            page=page,
            facts=Markup(facts),
            style=Markup(style),
            script=Markup(script),
            style_hash=Markup(_hash(style)),
            script_hash=Markup(_hash(script)),
        )
    )


def _hash(text: str) -> str:
    return f"sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}"
