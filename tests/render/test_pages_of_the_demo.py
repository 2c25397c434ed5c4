"""Every report of the demo: short, its pages full, in everyday words, and of both PDF standards."""

import re
from collections.abc import Callable

import pytest

from benchwater.analyse.report import Report
from benchwater.render.html import render_paper
from render.boxes import filled, laid_out, running_over
from render.sample_report import pdf_of

pytestmark = pytest.mark.slow
DemoReport = Callable[[str | None], Report]
MONTHS = [f"2026-{month:02}" for month in range(3, 11)]
NEEDS_A_STATISTICIAN = re.compile(
    r"\b[pn] ?[=<]|\bp-value|\bp: |\bPSD\b|log-?rank|Std\.? unc|bait-hour|chi-square|Wilson|Holm"
    r"|Poisson|Kaplan|confidence|standard error|z-score|p-chart|censored|hazard|95 % interval"
    r"|degrees of freedom",
    re.IGNORECASE,
)
MOST_PAGES = {None: 12} | dict.fromkeys(MONTHS, 10)


@pytest.mark.parametrize("month", MOST_PAGES)
def test_a_report_is_short_and_its_pages_are_full_after_page_one_and_those_for_the_bench(
    month: str | None, demo_report: DemoReport
) -> None:
    document = laid_out(render_paper(demo_report(month)))
    named = {title: place[0] for title, place, *_ in document.make_bookmark_tree()}
    assert (named["Season report"], named["For the bench"]) == (0, 1)
    starts = [*named.values()]
    assert len(document.pages) <= MOST_PAGES[month]
    assert running_over(document.pages) == []
    ends = {starts[1] - 1, starts[2] - 1, len(document.pages) - 1}
    white = {
        number + 1: round(share, 2)
        for number, share in enumerate(map(filled, document.pages))
        if share < 2 / 3 and number not in ends
    }
    assert white == {}


@pytest.mark.parametrize("month", MOST_PAGES)
def test_paper_needs_no_statistician(month: str | None, demo_report: DemoReport) -> None:
    paper = render_paper(demo_report(month))
    words = re.sub(r"<[^>]+>", "", paper[paper.index("</style>") :])
    found = [words[max(0, at.start() - 50) : at.end() + 20] for at in NEEDS_A_STATISTICIAN.finditer(words)]
    assert found == []


@pytest.mark.parametrize("month", [None, "2026-03", "2026-07"])
def test_the_season_a_thin_and_a_full_month_keep_both_standards(
    month: str | None, demo_report: DemoReport
) -> None:
    page = pytest.importorskip("page", reason="needs page-validation (the dev extra)")
    pdf = pdf_of(demo_report(month))
    for profile in (page.ValidationProfile.PDF_UA_1, page.ValidationProfile.PDF_A_3A):
        found = page.validate_pdf_bytes(pdf, profile=profile)
        assert found.is_compliant, found.failures
