"""The benchmarks themselves, small and without time limits, so that they cannot rot."""

import json
from itertools import islice

import pytest

from benchmarks import many_sessions
from benchmarks.run_benchmarks import PARTS, Row, main, table
from benchmarks.scaled_workspace import ROWS_OF_ONE, write_workspace
from benchwater.pipeline import read_workspace


def test_a_season_is_told_again_in_the_same_bytes(tmp_path):
    counted = write_workspace(tmp_path / "one", 3)
    write_workspace(tmp_path / "two", 3)
    names = sorted(path.name for path in (tmp_path / "one").iterdir())
    assert names == sorted(path.name for path in (tmp_path / "two").iterdir())
    for name in names:
        assert (tmp_path / "one" / name).read_bytes() == (tmp_path / "two" / name).read_bytes(), name
    assert counted == {name: 3 * rows for name, rows in ROWS_OF_ONE.items()}


@pytest.mark.parametrize("scale", [1, 12])
def test_every_row_of_a_scaled_season_is_read_or_spoilt_as_often_as_in_the_demo(tmp_path, scale):
    counted = write_workspace(tmp_path, scale)
    reading = read_workspace(tmp_path).reading
    assert not reading.not_read
    assert not reading.repeats
    assert sum(source.rows for source in reading.sources) == sum(counted.values())
    assert 0.003 < len(reading.set_aside) / sum(counted.values()) < 0.012
    assert reading.tables["pour"]["date"].dt.year.nunique() == min(10, scale)


def test_sessions_and_tags_of_different_benches_are_kept_apart(tmp_path):
    write_workspace(tmp_path, 30)
    pours = read_workspace(tmp_path).reading.tables["pour"]
    one_year = pours[pours["date"].dt.year == 2017]
    assert one_year["session"].nunique() > 3


def test_many_sessions_are_one_season_of_few_groups_and_read_whole(tmp_path):
    counted = many_sessions.write_workspace(tmp_path, sessions=50)
    reading = read_workspace(tmp_path).reading
    assert sum(source.rows for source in reading.sources) == sum(counted.values())
    assert not reading.set_aside
    pours = reading.tables["pour"]
    assert (pours["session"].nunique(), pours["mold"].nunique(), len(many_sessions.ITEMS)) == (50, 8, 12)
    assert reading.tables["fishing"]["bait"].is_unique


@pytest.mark.slow
def test_the_table_and_the_json_come_out(tmp_path, capsys):
    parts = ["idle", "reading", "growth", "files"]
    main([str(tmp_path), "--repeats", "0", "--scale", "10", "--parts", *parts, "--json", str(tmp_path / "j")])
    told = json.loads((tmp_path / "j").read_text())
    lines = capsys.readouterr().out.splitlines()
    assert lines[0] == "| what | beside | ratio | at most |"
    assert len(lines) == 2 + len(told["rows"])
    assert all(row["ratio"] > 0 for row in told["rows"])
    found = {row["what"] for row in told["rows"]}
    assert {"`--help`", "`due`, nothing to do, demo"} <= found
    assert any(what.startswith("stage read") for what in found)


def test_a_target_that_is_missed_is_marked():
    rows = [
        Row(what="a", reference="b", ratio=ratio, at_most=at_most) for ratio, at_most in ((3.0, 2.5), (1, 2))
    ]
    first, second = islice(table(rows).splitlines(), 2, None)
    assert "missed" in first
    assert "missed" not in second
    assert set(PARTS) == {"idle", "month", "core", "reading", "season", "growth", "files", "many"}
