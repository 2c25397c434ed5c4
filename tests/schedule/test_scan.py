import shutil
from importlib.metadata import entry_points

from benchwater.files import UNKNOWN_CONTENT
from benchwater.schedule.manifest import Inputs, hash_inputs


def test_a_plugins_helpers_are_hashed_but_not_its_tests_and_caches(tmp_path):
    for name in ("mine.py", "_helper.py", "table.csv", "test_mine.py", "__pycache__/mine.pyc", ".x.py"):
        path = tmp_path / "plugins" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text("x")
    own = [name for name in hash_inputs(tmp_path).plugins if name.startswith("plugins/")]
    assert own == ["plugins/_helper.py", "plugins/mine.py", "plugins/table.csv"]
    left_out = hash_inputs(tmp_path, workspace_plugins=False).plugins
    assert not [name for name in left_out if name.startswith("plugins/")]
    assert "shipped: ingest/pour.py" in left_out


def test_an_installed_plugin_and_its_next_version_change_the_inputs(tmp_path, monkeypatch):
    def install(package, version, told):
        folder = tmp_path / "site" / f"{package}-{version}.dist-info"
        folder.mkdir(parents=True)
        (folder / "METADATA").write_text(f"Metadata-Version: 2.1\nName: {package}\nVersion: {version}\n")
        (folder / "entry_points.txt").write_text(told)
        return folder

    monkeypatch.syspath_prepend(tmp_path / "site")
    before = hash_inputs(tmp_path).plugins
    install("other", "1.0", "[console_scripts]\nother = other:main\n")
    assert hash_inputs(tmp_path).plugins == before
    first = install("bench_evenings", "1.0", "[benchwater]\nbench_evenings = bench_evenings\n")
    found = [entry.name for entry in entry_points(group="benchwater")]
    with_it = hash_inputs(tmp_path).plugins
    assert "bench_evenings" in found
    assert with_it.keys() - before.keys() == {"installed: bench_evenings"}
    shutil.rmtree(first)
    install("bench_evenings", "1.1", "[benchwater]\nbench_evenings = bench_evenings\n")
    later = hash_inputs(tmp_path).plugins
    assert later.keys() == with_it.keys()
    assert later != with_it


def test_unknown_content_equals_nothing_and_a_change_meanwhile_is_unknown():
    one = Inputs(version="1", bench="b", logs={"a.csv": "1", "b.csv": "2"})
    assert one.same_as(one)
    assert not one.same_as(None)
    changed = one.mark_changes(Inputs(version="1", bench="b", logs={"a.csv": "other"}))
    assert changed.logs == {"a.csv": UNKNOWN_CONTENT, "b.csv": UNKNOWN_CONTENT}
    assert not changed.same_as(changed)
