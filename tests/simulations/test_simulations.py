"""Over thousands of small seasons a method: each interval holds its truth as often as it says."""

from simulations.studies import STUDIES
from simulations.study import MARKS
from simulations.summary import drawn_marks, drawn_text


def test_marks_are_written_and_read_alike() -> None:
    marks = {"one": "10-1", "other": "1111"}
    assert drawn_marks(drawn_text(marks)) == marks
    assert set(MARKS.values()) == {"1", "0", "-"}


def test_a_season_is_the_same_wherever_it_stands() -> None:
    study = STUDIES[0]
    assert study.marks(1, 30)[20:] == "".join(MARKS[study.held(1, season)] for season in range(20, 30))


def test_no_two_studies_share_a_name() -> None:
    assert len({study.name for study in STUDIES}) == len(STUDIES)
