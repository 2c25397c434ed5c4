"""A bench of very many molds and builds: the report ends, and prints no more than can be read."""

import json
import subprocess
import sys

import pytest

from benchmarks.many_molds import write_workspace
from benchwater.render.cards import MOST_ALIKE

MEASURED = """
import resource, runpy, sys
sys.argv = ["benchwater", "report", sys.argv[1], "--season"]
try:
    runpy.run_module("benchwater", run_name="__main__")
finally:
    used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    print(sum(each.ru_utime for each in used), max(each.ru_maxrss for each in used), file=sys.stderr)
"""


@pytest.mark.slow
def test_a_thousand_molds_are_reported_in_seconds_and_bounded_on_the_page(tmp_path):
    write_workspace(tmp_path, 1_000)
    done = subprocess.run([sys.executable, "-c", MEASURED, tmp_path], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    seconds, kilobytes = map(float, done.stderr.split()[-2:])
    assert seconds < 60
    assert kilobytes < 500_000
    folder = tmp_path / "reports" / "season-2026"
    page = (folder / "season-report.html").read_text()
    assert page.count('<section class="card') < MOST_ALIKE + 8
    assert f"{1_000 - MOST_ALIKE} more cards" in page
    assert "more things to do" in page
    assert len(page) < 1_000_000
    assert (folder / "season-report.pdf").stat().st_size < 1_500_000
    sections = {
        each["id"]: each for each in json.loads((folder / "season-report.json").read_text())["sections"]
    }
    assert sections["pour_plan"]["status"] == "ok"
    assert len(sections["pour_plan"]["actions"]) > 900
