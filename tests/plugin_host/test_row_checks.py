"""A log's check that breaks stops nothing: its plugin is named, and the rows are read."""

import pytest

from benchwater.pipeline import read_workspace
from command_line import run
from small_bench import SMALL_BENCH, write_files

PLUGIN = """
from benchwater.plugin import Column, LogKind, RowProblem, hookimpl

def check(row, bench):
    {check}

@hookimpl
def log_kinds():
    date = Column(name="date", meaning="day", kind="date", needed=True)
    sky = Column(name="sky", meaning="how it looked", kind="text", needed=True)
    return [LogKind(name="weather", title="Weather", columns=(date, sky), check=check)]
"""
LOG = "date,sky\n2026-05-01,blue\n2026-05-02,grey\n2026-05-03,\n"


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "plugins").mkdir()
    return write_files(tmp_path, {"bench.toml": SMALL_BENCH, "sky.csv": LOG})


@pytest.mark.parametrize(
    ("check", "words"),
    [
        ("return None", ["line 2", "must return an iterable of RowProblem, not None"]),
        ("return [1]", ["line 2", "one of them is 1"]),
        ("yield RowProblem(column=3, why='is odd')", ["line 2", "one of them is RowProblem(column=3"]),
        ("raise ValueError('no idea')", ["line 2", "ValueError: no idea"]),
        ("return [] if row['wind'] else []", ["line 2", "KeyError: 'wind'"]),
        ("raise SystemExit(3)", ["line 2", "SystemExit: 3"]),
        ("return [] if row['sky'] == 'blue' else 5", ["line 3", "not 5"]),
        ("yield from () if row['sky'] == 'blue' else 1 / 0", ["line 3", "ZeroDivisionError"]),
    ],
)
def test_a_check_that_breaks_is_reported_with_its_plugin_and_file_and_its_rows_are_used(folder, check, words):
    (folder / "plugins" / "sky.py").write_text(PLUGIN.format(check=check))
    workspace = read_workspace(folder)
    assert workspace.reading.tables["weather"]["sky"].tolist() == ["blue", "grey"]
    assert [(entry.line, entry.reason) for entry in workspace.reading.set_aside] == [(4, "missing")]
    (problem,) = workspace.plugins.problems
    assert (problem.origin, problem.name) == ("workspace", "sky.py")
    for word in ("`weather`", "sky.csv", *words):
        assert word in problem.why
    outcome = run("check", folder)
    assert outcome.status == 1
    assert problem.why in outcome.out


def test_a_check_that_breaks_is_reported_once_for_each_file_it_breaks_on(folder):
    check = "yield from () if row['sky'] == 'blue' else 1 / 0"
    (folder / "plugins" / "sky.py").write_text(PLUGIN.format(check=check))
    write_files(
        folder,
        {
            f"{day}.csv": f"date,sky\n2026-06-0{day},blue\n2026-06-0{day},{sky}\n"
            for day, sky in enumerate(["red", "blue", "red"], 1)
        },
    )
    problems = read_workspace(folder).reading.check_problems
    assert [(each.file, each.line) for each in problems] == [("1.csv", 3), ("3.csv", 3), ("sky.csv", 3)]


def test_a_check_that_breaks_on_one_row_still_sets_others_aside(folder):
    check = "yield RowProblem(column='sky', why='is grey') if row['sky'] == 'grey' else 1"
    (folder / "plugins" / "sky.py").write_text(PLUGIN.format(check=check))
    workspace = read_workspace(folder)
    assert workspace.reading.tables["weather"]["sky"].tolist() == ["blue"]
    assert [entry.why for entry in workspace.reading.set_aside if entry.line == 3] == ["is grey"]
    assert len(workspace.plugins.problems) == 1
