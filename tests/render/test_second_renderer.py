import os
from functools import partial
from pathlib import Path

import pytest

from benchwater.aside.second_process import of_use
from benchwater.pipeline import Request, make_report, read_workspace
from benchwater.render.html import render_html
from benchwater.render.second_renderer import renderer

DEMO = Path(__file__).parents[2] / "sample_logs"


@pytest.mark.skipif(not of_use(), reason="no second process on this machine")
def test_a_report_of_the_demo_is_handed_over_and_rendered_there_to_the_same_page():
    report = make_report(read_workspace(DEMO), Request(month="2026-05", only=("cost", "bench_safety")))
    with renderer() as second:
        second.give(partial(render_html, report, ["pour.csv"]))
        page = second.answer()
        second.give(os.getpid)
        assert second.answer() != os.getpid(), "it was ready, and could be given a whole report"
    assert page == render_html(report, ["pour.csv"])
