"""What is printed is the tree that a browser would read, whichever parser reads it."""

import io
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pypdf
import pytest
import tinyhtml5
from markupsafe import escape

from benchwater.analyse.report import Report
from benchwater.pipeline import Request, make_report, read_workspace
from benchwater.render.html import render_html
from benchwater.render.paper_tree import for_paper
from benchwater.render.pdf import print_pdf
from benchwater.render.text import visible
from render.sample_report import HOSTILE, LONG_WORD, hostile_report, sample_report

DEMO = Path(__file__).parents[2] / "sample_logs"
UNSEEN = "".join(
    map(chr, [*range(0x20), *range(0x7F, 0xA1), 0x2028, 0xD800, 0xDFFF, 0xE000, 0xFFFE, 0x1FFFF])
)


def told(element: Any) -> tuple[Any, ...]:
    """Tag, attributes and texts of an element, and of all in it."""
    return element.tag, dict(element.attrib), element.text or "", element.tail or "", *map(told, element)


def demo() -> Report:
    return make_report(read_workspace(DEMO, workspace_plugins=False), Request(month="2026-05"))


@pytest.mark.parametrize(
    "made",
    [
        sample_report,
        lambda: replace(sample_report(), sources=(), set_aside=(), repeats=(), not_read=()),
        pytest.param(demo, marks=pytest.mark.slow),
        *(
            lambda text=text: hostile_report(text)
            for text in (HOSTILE, LONG_WORD, UNSEEN, "]]>&amp;&#0;&nbsp;")
        ),
    ],
)
def test_both_parsers_read_the_same_tree(made: Any) -> None:
    html = render_html(made())
    browsers = tinyhtml5.parse(html.removesuffix("\n"), namespace_html_elements=False)
    assert told(ElementTree.fromstring(html)) == told(browsers)


def test_whatever_a_maker_writes_is_well_formed() -> None:
    seen = visible("".join(map(chr, range(sys.maxunicode + 1))))
    assert ElementTree.fromstring(f"<p>{escape(seen)}</p>").text == seen


def test_the_pdf_is_the_same_whichever_parser_read_it(
    printed: tuple[bytes, list[str]], html: str, report: Report
) -> None:
    no_xml = html.replace("/>", ">")
    with pytest.raises(ElementTree.ParseError):
        ElementTree.fromstring(no_xml)
    assert print_pdf(no_xml, report) == printed[0]


def test_html_that_is_no_xml_is_printed_too(report: Report) -> None:
    pdf = print_pdf('<p>one<br>two <b class="x screen-only">three</b> four', report)
    assert pypdf.PdfReader(io.BytesIO(pdf)).pages[0].extract_text().split() == ["one", "two", "four"]


@pytest.mark.parametrize(
    ("told", "printed"),
    [
        ("<p>At <i>350 °F</i> or more</p>", "<p>At 350~°F or more</p>"),
        (
            f"<p>{'Some words. ' * 9}At <i>350 °F</i>, <i>1.5 g</i>.</p>",
            f"<p>{'Some words. ' * 9}At 350~°F, 1.5~g.</p>",
        ),
        (f"<p>{'Some words. ' * 9}<i>g/h</i> of <i>round-jig</i></p>", None),
        ("<li><b>Rest <i>round-jig</i></b> a while</li>", "<li><b>Rest round-jig</b> a while</li>"),
        (
            f"<li>{'Some words. ' * 9}<p><i>round-jig</i> <i>pea-jig</i></p></li>",
            f"<li>{'Some words. ' * 9}<p>round-jig pea-jig</p></li>",
        ),
        ("<td><i>round-jig</i> (<i>3 oz</i>)</td>", "<td><i>round-jig</i> (3~oz)</td>"),
    ],
)
def test_what_is_held_in_one_piece_is_plain_text_where_no_line_ends_in_it(
    told: str, printed: str | None
) -> None:
    def marked(text: str) -> str:
        return text.replace("<i>", '<span class="whole">').replace("</i>", "</span>").replace("~", "\u00a0")

    root = ElementTree.fromstring(f"<body>{marked(told)}</body>")
    for_paper(root)
    assert ElementTree.tostring(root, encoding="unicode") == f"<body>{marked(printed or told)}</body>"


def test_no_space_of_a_number_is_another_letter_to_who_copies_it(printed: tuple[bytes, list[str]]) -> None:
    text = "".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(printed[0])).pages)
    assert "\u00a0" not in text
    assert "352 °F" in text
