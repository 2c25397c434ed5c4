import filecmp
import json
import subprocess
import sys
from pathlib import Path

from benchwater.pipeline import read_workspace

HERE = Path(__file__).parent
SET_ASIDE_ALONE = {"mold_temp"}
DEMO = HERE.parents[1] / "sample_logs"


def files_below(folder):
    return sorted(
        path.relative_to(folder)
        for path in folder.rglob("*")
        if path.is_file() and "reports" not in path.relative_to(folder).parts
    )


def test_the_demo_is_what_its_script_writes(tmp_path):
    subprocess.run([sys.executable, HERE / "write_demo_season.py", tmp_path / "logs", tmp_path], check=True)
    written, kept = files_below(tmp_path / "logs"), files_below(DEMO)
    assert written == kept
    for name in kept:
        assert filecmp.cmp(tmp_path / "logs" / name, DEMO / name, shallow=False), name
    for answers in ("truth.json", "expected_set_aside.json"):
        assert (tmp_path / answers).read_bytes() == (HERE / answers).read_bytes(), answers


def test_the_demos_spoilt_rows_and_cells_and_no_others_are_set_aside():
    reading = read_workspace(DEMO).reading
    expected = json.loads((HERE / "expected_set_aside.json").read_text(encoding="utf-8"))
    for entries, are_cells in ((reading.set_aside, False), (reading.cells_set_aside, True)):
        found = [(entry.file, entry.line, entry.column, entry.value) for entry in entries]
        wanted = [
            (entry["file"], entry["line"], entry["column"], entry["value"])
            for entry in expected
            if (entry["column"] in SET_ASIDE_ALONE) == are_cells
        ]
        assert sorted(found) == sorted(wanted)
    assert [each.column for each in reading.unread_columns] == ["weather"]
    assert not reading.column_questions
    assert [(each.written, each.read_as) for each in reading.read_as] == [
        ("Jan-08", "1/8"),
        ("perch-gurb", "perch-grub"),
    ]
    assert not reading.not_read
    assert not reading.repeats


def test_the_makers_plan_about_as_many_hours_as_they_fish():
    workspace = read_workspace(DEMO)
    trips = workspace.reading.tables["fishing"]
    trips = trips[trips["date"] >= "2026-03-01"]
    months = trips["date"].dt.to_period("M").nunique()
    fished = (trips["fished_h"] * trips["count"]).sum() / months
    planned = sum(build.planned_hours or 0 for build in workspace.bench.builds.values())
    assert 1 < planned / fished < 1.5
