"""A blank log sheet as PDF with form fields, the same bytes for the same bench."""

import re
from typing import Any

from benchwater.render.html import environment
from benchwater.render.pdf import to_pdf
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
from benchwater.words import visible

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
