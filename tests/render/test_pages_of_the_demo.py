"""Every report of the demo: short, its pages full, in everyday words, and of both PDF standards."""

import re
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from benchwater.analyse.report import Report
from benchwater.pipeline import Request, make_report, read_workspace
from benchwater.render.html import render_paper
from render.boxes import filled, laid_out, running_over
from render.sample_report import pdf_of

pytestmark = pytest.mark.slow
DEMO = Path(__file__).parents[2] / "sample_logs"
MONTHS = [f"2026-{month:02}" for month in range(3, 11)]
NEEDS_A_STATISTICIAN = re.compile(
    r"\b[pn] ?[=<]|\bp-value|\bp: |\bPSD\b|log-?rank|Std\.? unc|bait-hour|chi-square|Wilson|Holm"
    r"|Poisson|Kaplan|confidence|standard error|z-score|p-chart|censored|hazard|95 % interval"
    r"|degrees of freedom",
    re.IGNORECASE,
)
MOST_PAGES = {None: 12} | dict.fromkeys(MONTHS, 10)


@cache
def report_of(month: str | None) -> Report:
    workspace = read_workspace(DEMO, workspace_plugins=False)
    return make_report(workspace, Request(month=month, whole_season=month is None))


@cache
def pages_of(month: str | None) -> Any:
    return laid_out(render_paper(report_of(month)))


@pytest.mark.parametrize("month", MOST_PAGES)
def test_a_report_is_short_and_its_pages_are_full(month: str | None) -> None:
    document = pages_of(month)
    starts = [place[0] for _, place, *_ in document.make_bookmark_tree()]
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
def test_paper_needs_no_statistician(month: str | None) -> None:
    paper = render_paper(report_of(month))
    words = re.sub(r"<[^>]+>", "", paper[paper.index("</style>") :])
    found = [words[max(0, at.start() - 50) : at.end() + 20] for at in NEEDS_A_STATISTICIAN.finditer(words)]
    assert found == []


@pytest.mark.parametrize("month", MOST_PAGES)
def test_every_report_keeps_both_standards(month: str | None) -> None:
    page = pytest.importorskip("page", reason="needs page-validation (the dev extra)")
    pdf = pdf_of(report_of(month))
    for profile in (page.ValidationProfile.PDF_UA_1, page.ValidationProfile.PDF_A_3A):
        found = page.validate_pdf_bytes(pdf, profile=profile)
        assert found.is_compliant, found.failures
