from benchwater.read.outcome import SetAside
from benchwater.render.html import MOST_RUNS, group_equal_rows, most_frequent


def row(file: str, line: int, value: str = "perch-gurb", why: str = "is not a build") -> SetAside:
    return SetAside(file=file, line=line, column="build", value=value, why=why, reason="name", log="fishing")


def test_a_mistake_made_on_many_rows_of_a_file_is_told_once_with_its_lines():
    rows = [row("a.csv", 3), row("a.csv", 4), row("a.csv", 5), row("a.csv", 9), row("b.csv", 3)]
    told = [(alike.file, alike.lines, alike.rows) for alike in group_equal_rows(rows)]
    assert told == [("a.csv", "3-5, 9", 4), ("b.csv", "3", 1)]


def test_another_cell_or_reason_is_another_mistake_and_the_first_row_decides_the_place():
    rows = [row("a.csv", 2), row("a.csv", 3, value="x"), row("a.csv", 4, why="is empty"), row("a.csv", 5)]
    told = [(alike.lines, alike.value, alike.why) for alike in group_equal_rows(rows)]
    assert told == [
        ("2, 5", "perch-gurb", "is not a build"),
        ("3", "x", "is not a build"),
        ("4", "perch-gurb", "is empty"),
    ]


def test_lines_scattered_over_a_file_are_cut_and_counted():
    (alike,) = group_equal_rows([row("a.csv", line) for line in range(2, 102, 2)])
    assert alike.lines == f"{', '.join(str(line) for line in range(2, 2 + 2 * MOST_RUNS, 2))} and 38 more"
    assert alike.rows == 50


def test_paper_has_the_mistakes_that_took_most_rows_of_two_alike_the_first():
    told = group_equal_rows(row("a.csv", line, value) for line, value in enumerate("abbcddde", start=2))
    assert [each.value for each in told] == ["a", "b", "c", "d", "e"]
    assert most_frequent(told, 3) == {0, 1, 3}
    assert most_frequent(told, 9) == {0, 1, 2, 3, 4}
