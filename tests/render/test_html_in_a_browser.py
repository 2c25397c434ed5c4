"""The HTML in a real browser: it fits a phone, a link opens its section, it prints whole, axe is content."""

from collections.abc import Callable
from pathlib import Path

import pypdf
import pytest

from benchwater.analyse.report import Report
from benchwater.render.html import render_html
from render.chromium import axe_findings, chromium, measured, run

pytestmark = pytest.mark.slow
MOST_PIXELS = 12_000
OVERFLOWING = """
document.querySelectorAll("details").forEach(each => { each.open = true; });
const wide = document.documentElement.clientWidth;
const scrolling = each => each.closest(wide > 700 ? "nav, .table" : "nav") !== null;
return [[document.documentElement.scrollWidth, wide], [...document.querySelectorAll("body *")]
  .filter(each => !scrolling(each) && each.getBoundingClientRect().right > wide + 1)
  .map(each => each.tagName + "." + each.className + each.textContent.slice(0, 60)).slice(0, 9),
  Math.min(...[...document.querySelectorAll("p, li, td, th")]
    .map(each => parseFloat(getComputedStyle(each).fontSize)))];
"""
FOLDED = """
const folded = [...document.querySelectorAll("details")];
const tall = document.documentElement.scrollHeight, closed = folded.every(each => !each.open);
location.hash = document.querySelector("nav a[href^='#section']").hash;
const menu = getComputedStyle(document.querySelector("nav")).position;
return [closed, tall, folded.map(each => each.open), menu];
"""


@pytest.fixture(scope="module")
def july(demo_report: Callable[[str | None], Report]) -> str:
    return render_html(demo_report("2026-07"))


@pytest.mark.parametrize("width", [360, 768, 1280])
def test_nothing_runs_off_the_side_and_no_word_is_tiny(
    html: str, july: str, tmp_path: Path, width: int
) -> None:
    chromium()
    for page in (html, july) if width == 360 else (html,):
        (there, wide), running_off, smallest = measured(page, tmp_path, width, OVERFLOWING)
        assert wide == width
        assert there <= width
        assert running_off == []
        assert smallest >= (12 if width == 360 else 10)


def test_july_is_short_when_folded_and_a_link_opens_its_section(july: str, tmp_path: Path) -> None:
    closed, tall, opened, menu = measured(july, tmp_path, 360, FOLDED)
    assert closed
    assert tall <= MOST_PIXELS
    assert opened == [True, *[False] * (len(opened) - 1)]
    assert menu == "sticky"


def test_the_browser_prints_every_folded_section(html: str, report: Report, tmp_path: Path) -> None:
    page, pdf = tmp_path / "report.html", tmp_path / "printed.pdf"
    page.write_text(html, encoding="utf-8")
    run(page, 1000, 900, False, "--no-pdf-header-footer", f"--print-to-pdf={pdf}")
    text = "".join("".join(each.extract_text() for each in pypdf.PdfReader(pdf).pages).split())
    for section in report.sections:
        for part in section.parts:
            assert all("".join(finding.text.split()) in text for finding in part.section.findings)
            assert all("".join(method.split()) in text for method in part.section.methods)


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
@pytest.mark.parametrize("width", [360, 1280])
def test_axe_finds_nothing_serious(html: str, tmp_path: Path, width: int, dark: bool) -> None:
    for page in (html, html.replace("<details>", "<details open>")):
        found = axe_findings(page, tmp_path, width, dark=dark)
        serious = [each for each in found if each["impact"] in ("serious", "critical")]
        assert serious == []
