"""Over thousands of small seasons a method: each interval holds its truth as often as it says."""

from pathlib import Path

import pytest

from simulations.studies import STUDIES
from simulations.study import MARKS, Outcome, Study
from simulations.summary import drawn_marks, drawn_text, outcomes, summary_text

SUMMARY = Path(__file__).with_name("summary.md")
each_study = pytest.mark.parametrize("study", STUDIES, ids=lambda study: study.name)


def outcome(study: Study) -> Outcome:
    (found,) = [each for each in outcomes() if each.study is study]
    return found


@each_study
def test_intervals_and_verdicts_are_right_as_often_as_they_say(study: Study) -> None:
    found = outcome(study)
    assert len(found.marks) == study.seasons
    assert found.stated >= study.seasons / 2
    assert found.place == "in" or (found.place == "above" and study.above), f"{100 * found.share:.2f} %"


@pytest.mark.slow
@each_study
def test_the_first_seasons_come_out_as_they_were_drawn(study: Study) -> None:
    """To within one season, on which rounding may decide."""
    again, drawn = study.marks(study.again), outcome(study).marks[: study.again]
    unlike = [season for season, pair in enumerate(zip(again, drawn, strict=True)) if pair[0] != pair[1]]
    assert len(unlike) <= 1, unlike


def test_the_summary_is_what_was_drawn() -> None:
    assert SUMMARY.read_text(encoding="utf-8") == summary_text(outcomes())


def test_marks_are_written_and_read_alike() -> None:
    marks = {"one": "10-1", "other": "1111"}
    assert drawn_marks(drawn_text(marks)) == marks
    assert set(MARKS.values()) == {"1", "0", "-"}


def test_a_season_is_the_same_wherever_it_stands() -> None:
    study = STUDIES[0]
    assert study.marks(30)[20:] == "".join(MARKS[study.held(season)] for season in range(20, 30))
