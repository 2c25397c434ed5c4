import shutil
import threading
import time
from pathlib import Path

import pytest

from benchwater.schedule.watching import Relevant, quiet_changes


@pytest.mark.parametrize(
    ("path", "counts"),
    [
        ("pour.csv", True),
        ("logs/deep/pour.CSV", True),
        ("bench.toml", True),
        ("plugins/mine.py", True),
        ("logs/reports/pour.csv", True),
        ("reports/2026-05/season-report.json", False),
        ("printed/2026-05/season-report.json", False),
        (".pour.csv.swp", False),
        (".git/index", False),
        ("~pour.csv", False),
        ("plugins/__pycache__/mine.pyc", False),
        ("../elsewhere.csv", False),
        ("", False),
    ],
)
def test_only_files_that_can_change_a_report_are_watched(tmp_path, path, counts):
    relevant = Relevant(tmp_path, tmp_path / "printed")
    assert (
        relevant(Path(tmp_path.resolve(), path) if ".." not in path else tmp_path.parent / path[3:]) is counts
    )


@pytest.mark.parametrize("poll", [False, True])
def test_a_file_still_being_written_is_named_once_when_it_is_quiet(tmp_path, poll):
    (tmp_path / "reports").mkdir()
    written = []

    def write():
        time.sleep(0.3)
        for number in range(8):
            with (tmp_path / "pour.csv").open("a") as stream:
                stream.write(f"{number}\n")
            (tmp_path / "reports" / "x.json").write_text("x")
            (tmp_path / "sedX1y2z").write_text("an editor's own")
            (tmp_path / "sedX1y2z").unlink()
            written.append(number)
            time.sleep(0.1)

    thread = threading.Thread(target=write)
    changes = quiet_changes(tmp_path, Relevant(tmp_path, tmp_path / "reports"), poll=poll, quiet_ms=700)
    assert next(changes) == (), "the look at the start"
    thread.start()
    try:
        assert next(changes) == ("pour.csv",)
        assert len(written) == 8
    finally:
        thread.join()
        changes.close()


def test_a_new_day_yields_although_nothing_changed(tmp_path):
    changes = quiet_changes(
        tmp_path, Relevant(tmp_path, tmp_path / "reports"), quiet_ms=50, due_again=lambda: True
    )
    assert next(changes) == ()
    changes.close()


def test_a_removed_folder_is_named(tmp_path):
    (tmp_path / "pours").mkdir()
    changes = quiet_changes(tmp_path, Relevant(tmp_path, tmp_path / "reports"), quiet_ms=200)
    assert next(changes) == ()
    (tmp_path / "pours").rmdir()
    assert next(changes) == ("pours",)
    changes.close()


def test_a_folder_that_was_removed_is_watched_again_once_it_is_back(tmp_path):
    folder = tmp_path / "bench"
    folder.mkdir()
    (folder / "pour.csv").write_text("1\n")
    changes = quiet_changes(folder, Relevant(folder, folder / "reports"), quiet_ms=300)
    assert next(changes) == ()
    away = tmp_path / "away"

    def come_back():
        folder.rename(away)
        time.sleep(1)
        shutil.copytree(away, folder)

    thread = threading.Thread(target=come_back)
    thread.start()
    try:
        assert next(changes) == (), "the look at the folder that is back"
        (folder / "pour.csv").write_text("2\n")
        assert next(changes) == ("pour.csv",)
    finally:
        thread.join()
        changes.close()
