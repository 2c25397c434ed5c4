"""Every report of the demo: short, its pages full, and nothing over the margin."""

from functools import cache
from pathlib import Path
from typing import Any

import pytest

from benchwater.analyse.report import Report
from benchwater.pipeline import Request, make_report, read_workspace
from benchwater.render.html import render_paper
from render.boxes import filled, laid_out, running_over

pytestmark = pytest.mark.slow
DEMO = Path(__file__).parents[2] / "sample_logs"
MONTHS = [f"2026-{month:02}" for month in range(3, 11)]
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
