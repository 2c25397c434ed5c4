import os
import shutil
from importlib.metadata import entry_points

import pytest

from benchwater.plugin_host.contents import NOT_KNOWN, content_hash
from benchwater.read.folder import LOG_ENDINGS as READ_ENDINGS
from benchwater.read.folder import log_files
from benchwater.schedule.inputs import (
    LOG_ENDINGS,
    Inputs,
    possible_logs,
    take_inputs,
)


def test_the_cheap_walk_sees_every_file_that_reading_takes_for_a_log(tmp_path):
    for name in (
        "a.csv", "B.CSV", "notes.txt", "deep/er/x.tsv", "reports/r.csv", "deep/reports/in.csv", ".hidden.csv",
        "~lock.csv", ".git/x.csv", "plugins/data.csv", "deep/plugins/in.csv", "photo.jpg", "bench.toml",
        "__pycache__/c.csv", "folder.csv/inside.csv",
    ):  # fmt: skip
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text("x")
    (tmp_path / "deep" / "round").symlink_to(tmp_path)
    (tmp_path / "linked.csv").symlink_to(tmp_path / "a.csv")
    (tmp_path / "dangling.csv").symlink_to(tmp_path / "nowhere.csv")
    read = [path for path, why in log_files(tmp_path) if why is None]
    assert list(possible_logs(tmp_path)) == read
    assert len(read) == 9
    assert LOG_ENDINGS == READ_ENDINGS


def test_a_helper_of_a_plugin_counts_and_its_tests_and_caches_do_not(tmp_path):
    for name in ("mine.py", "_helper.py", "table.csv", "test_mine.py", "__pycache__/mine.pyc", ".x.py"):
        path = tmp_path / "plugins" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text("x")
    own = [name for name in take_inputs(tmp_path).plugins if name.startswith("plugins/")]
    assert own == ["plugins/_helper.py", "plugins/mine.py", "plugins/table.csv"]
    left_out = take_inputs(tmp_path, workspace_plugins=False).plugins
    assert not [name for name in left_out if name.startswith("plugins/")]
    assert "shipped: ingest/pour.py" in left_out


def test_an_installed_plugin_is_seen_where_the_host_finds_it_and_so_is_its_next_version(
    tmp_path, monkeypatch
):
    def install(package, version, told):
        folder = tmp_path / "site" / f"{package}-{version}.dist-info"
        folder.mkdir(parents=True)
        (folder / "METADATA").write_text(f"Metadata-Version: 2.1\nName: {package}\nVersion: {version}\n")
        (folder / "entry_points.txt").write_text(told)
        return folder

    monkeypatch.syspath_prepend(tmp_path / "site")
    before = take_inputs(tmp_path).plugins
    install("other", "1.0", "[console_scripts]\nother = other:main\n")
    assert take_inputs(tmp_path).plugins == before
    first = install("bench_evenings", "1.0", "[benchwater]\nbench_evenings = bench_evenings\n")
    found = [entry.name for entry in entry_points(group="benchwater")]
    with_it = take_inputs(tmp_path).plugins
    assert "bench_evenings" in found
    assert with_it.keys() - before.keys() == {"installed: bench_evenings"}
    shutil.rmtree(first)
    install("bench_evenings", "1.1", "[benchwater]\nbench_evenings = bench_evenings\n")
    later = take_inputs(tmp_path).plugins
    assert later.keys() == with_it.keys()
    assert later != with_it


def test_what_is_no_ordinary_file_is_never_opened_and_what_is_absurdly_large_goes_by_its_size(tmp_path):
    os.mkfifo(tmp_path / "pipe.csv")
    assert content_hash(tmp_path / "pipe.csv") == "no ordinary file"
    with (tmp_path / "large.csv").open("wb") as stream:
        stream.truncate(10**12)
    assert content_hash(tmp_path / "large.csv") == f"{10**12} bytes"


def test_what_is_not_known_equals_nothing_and_what_changed_meanwhile_is_not_known():
    one = Inputs(version="1", bench="b", logs={"a.csv": "1", "b.csv": "2"})
    assert one.same_as(one)
    assert not one.same_as(None)
    changed = one.settled(Inputs(version="1", bench="b", logs={"a.csv": "other"}))
    assert changed.logs == {"a.csv": NOT_KNOWN, "b.csv": NOT_KNOWN}
    assert not changed.same_as(changed)


@pytest.mark.skipif(os.geteuid() == 0, reason="nothing is closed to root")
def test_a_file_that_cannot_be_opened_is_not_known(tmp_path):
    (tmp_path / "a.csv").write_text("x")
    (tmp_path / "a.csv").chmod(0)
    assert content_hash(tmp_path / "a.csv") == NOT_KNOWN
