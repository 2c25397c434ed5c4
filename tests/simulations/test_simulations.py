"""Over a thousand small seasons a method: each interval holds its truth as often as it says."""

import re
from functools import cache
from pathlib import Path

import pytest

from simulations.seasons import (
    STUDIES,
    Outcome,
    Study,
    simulate,
)

pytestmark = pytest.mark.slow
SUMMARY = Path(__file__).with_name("summary.md")
ROUNDING = 0.5


@cache
def outcome(study: Study) -> Outcome:
    return simulate(study)


@pytest.mark.parametrize("study", STUDIES, ids=lambda study: study.name)
def test_intervals_and_verdicts_are_right_as_often_as_they_say(study: Study) -> None:
    found = outcome(study)
    assert study.low <= found.share <= study.high, f"{100 * found.share:.2f} %"
    assert found.stated >= 500


@pytest.mark.parametrize("study", STUDIES, ids=lambda study: study.name)
def test_the_summary_is_what_was_drawn(study: Study) -> None:
    (row,) = [
        line for line in SUMMARY.read_text(encoding="utf-8").splitlines() if f"| {study.name} |" in line
    ]
    cells = [cell.strip() for cell in row.strip("|").split("|")]
    assert int(cells[2]) == study.seasons
    assert float(cells[4].removesuffix(" %")) == pytest.approx(100 * outcome(study).share, abs=ROUNDING)


def test_the_summary_holds_no_study_that_is_gone() -> None:
    rows = [line for line in SUMMARY.read_text(encoding="utf-8").splitlines() if re.match(r"\| [A-Z]", line)]
    assert [row.split("|")[1].strip() for row in rows] == [study.name for study in STUDIES]
