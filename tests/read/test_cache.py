"""A file that was read before must give all that reading it gives; an entry that is wrong, nothing at all."""

import io
import pickle
import shutil
import zipfile
from pathlib import Path
from random import Random

import numpy as np
import pandas as pd
import pytest

from benchwater.pipeline import read_workspace
from benchwater.read import cache as cached
from benchwater.read.cache import FOLDER, ReadCache
from benchwater.read.folder import read_folder
from benchwater.read.outcome import Reading
from benchwater.read.rows import read_rows
from benchwater.schedule.scan import hash_inputs
from small_bench import SMALL_BENCH, shipped_kinds, small_bench

DEMO = Path(__file__).parents[2] / "sample_logs"
CORPUS = Path(__file__).parent / "corpus"
LOG = """\
date,mold,cavity,outcome,count,mold_temp
2026-05-01,round-jig,1/8,good,3,350
2026-05-02,x,1/8,good,1,
"""


@pytest.fixture
def parsed(monkeypatch):
    """The names of the files that were parsed, as they are."""
    names: list[str] = []

    def noted(file, header, bench):
        names.append(file)
        return read_rows(file, header, bench)

    monkeypatch.setattr("benchwater.read.folder.read_rows", noted)
    return names


def read(folder: Path, *rests_on: str, least_bytes: int = 0) -> Reading:
    cache = ReadCache(folder, rests_on, least_bytes)
    return read_folder(folder, shipped_kinds(), small_bench(), cache=cache)


def assert_same(one: Reading, other: Reading) -> None:
    assert one.tables.keys() == other.tables.keys()
    for kind, table in one.tables.items():
        pd.testing.assert_frame_equal(table, other.tables[kind], check_exact=True)
        for name in table.columns:
            assert [*map(type, table[name])] == [*map(type, other.tables[kind][name])], name
    for part in ("sources", "set_aside", "repeats", "not_read", "fallbacks"):
        assert getattr(one, part) == getattr(other, part), part


def entries(folder: Path) -> list[Path]:
    return sorted((folder / FOLDER).glob("*.npz"))


@pytest.fixture
def log(tmp_path):
    (tmp_path / "pour.csv").write_text(LOG, encoding="utf-8")
    return tmp_path


def test_the_demo_comes_back_the_same(tmp_path, monkeypatch, parsed):
    monkeypatch.setattr(cached.ReadCache.__init__, "__defaults__", (0,))
    folder = shutil.copytree(DEMO, tmp_path / "demo")
    shutil.copy(folder / "pours/pour-may.csv", folder / "pours/pour-may again.csv")
    bench = (folder / "bench.toml").read_text(encoding="utf-8")
    (folder / "bench.toml").write_text(bench.replace('melt_temp = "degF"\n', "", 1), encoding="utf-8")
    plain, first = read_workspace(folder).reading, read_workspace(folder, cache=True).reading
    assert len(entries(folder)) == len({source.sha256 for source in plain.sources}) > 5
    parsed.clear()
    again = read_workspace(folder, cache=True).reading
    assert parsed == []
    assert plain.set_aside
    assert plain.repeats
    assert plain.fallbacks
    assert_same(plain, first)
    assert_same(plain, again)


def test_the_corpus_comes_back_the_same(tmp_path, parsed):
    for number, path in enumerate(sorted(path for path in CORPUS.iterdir() if path.is_file())):
        shutil.copy(path, tmp_path / f"{number:02} {path.name}")
        shutil.copy(path, tmp_path / f"{number:02} copy of {path.name}")
    plain = read_folder(tmp_path, shipped_kinds(), small_bench())
    first = read(tmp_path)
    parsed.clear()
    again = read(tmp_path)
    assert not {source.file for source in plain.sources} & set(parsed)
    assert_same(plain, first)
    assert_same(plain, again)


def test_a_file_by_another_name_is_told_of_by_that_name(log, parsed):
    read(log)
    (log / "pour.csv").rename(log / "may.csv")
    parsed.clear()
    again = read(log)
    assert parsed == []
    assert {entry.file for entry in again.set_aside} == {"may.csv"}
    assert again.tables["pour"]["file"].tolist() == ["may.csv"]


def test_what_changed_is_read_anew_and_what_nobody_asks_for_is_thrown_away(log, parsed):
    (log / "other.csv").write_text(LOG.replace("2026-05", "2026-06"), encoding="utf-8")
    read(log)
    before = entries(log)
    parsed.clear()
    (log / "pour.csv").write_text(LOG.replace(",3,", ",4,"), encoding="utf-8")
    assert read(log).tables["pour"]["count"].tolist() == [4, 3]
    assert parsed == ["pour.csv"]
    assert len(entries(log)) == len(before) == 2
    assert len(set(entries(log)) & set(before)) == 1


def test_nothing_is_taken_over_from_another_bench_or_program(log, parsed, monkeypatch):
    changes = {
        "bench": lambda: None,
        "benchwater": lambda: monkeypatch.setattr("benchwater.__version__", "999"),
        "pandas": lambda: monkeypatch.setattr("pandas.__version__", "999"),
        "numpy": lambda: monkeypatch.setattr("numpy.__version__", "999"),
        "format": lambda: monkeypatch.setattr(cached, "FORMAT", 999),
        "source": lambda: monkeypatch.setattr(cached, "_CODE", ("read", "units")),
    }
    read(log, "bench.toml")
    for what, change in changes.items():
        change()
        parsed.clear()
        read(log, "bench.toml", what)
        assert parsed == ["pour.csv"], what
        read(log, "bench.toml", what)
        assert parsed == ["pour.csv"], what


def test_a_changed_bench_or_plugin_is_another_circumstance(tmp_path, parsed, monkeypatch):
    monkeypatch.setattr(cached.ReadCache.__init__, "__defaults__", (0,))
    (tmp_path / "pour.csv").write_text(LOG, encoding="utf-8")
    (tmp_path / "plugins").mkdir()
    written = {
        "bench.toml": (SMALL_BENCH, SMALL_BENCH + "# a remark\n"),
        "plugins/mine.py": ("", "# a remark\n"),
        "plugins/helper.txt": ("", "more"),
    }
    for name, (before, _) in written.items():
        (tmp_path / name).write_text(before, encoding="utf-8")
    read_workspace(tmp_path, cache=True)
    for name, (_, after) in written.items():
        (tmp_path / name).write_text(after, encoding="utf-8")
        parsed.clear()
        read_workspace(tmp_path, cache=True)
        assert parsed == ["pour.csv"], name
        read_workspace(tmp_path, cache=True)
        assert parsed == ["pour.csv"], name


def test_small_files_and_a_bench_that_says_no_leave_no_folder(tmp_path, monkeypatch):
    (tmp_path / "pour.csv").write_text(LOG, encoding="utf-8")
    (tmp_path / "bench.toml").write_text(SMALL_BENCH, encoding="utf-8")
    read_workspace(tmp_path, cache=True)
    monkeypatch.setattr(cached.ReadCache.__init__, "__defaults__", (0,))
    read_workspace(tmp_path)
    (tmp_path / "bench.toml").write_text(SMALL_BENCH + "[logs]\ncache = false\n", encoding="utf-8")
    read_workspace(tmp_path, cache=True)
    assert not (tmp_path / FOLDER).exists()


def test_neither_due_nor_reading_looks_into_the_folder(log):
    before = hash_inputs(log)
    plain = read(log)
    assert entries(log)
    (log / FOLDER / "lost.csv").write_text(LOG, encoding="utf-8")
    assert hash_inputs(log) == before
    assert_same(plain, read(log))


@pytest.mark.parametrize("seed", range(40))
def test_a_damaged_entry_is_as_good_as_none(log, parsed, seed):
    plain = read(log)
    (entry,) = entries(log)
    whole, dice = bytearray(entry.read_bytes()), Random(seed)
    if seed % 2:
        del whole[dice.randrange(len(whole)) :]
    else:
        for _ in range(dice.choice([1, 3, 200])):
            whole[dice.randrange(len(whole))] ^= 1 << dice.randrange(8)
    entry.write_bytes(whole)
    assert_same(plain, read(log))
    parsed.clear()
    assert_same(plain, read(log))


def repacked(entry: Path, arrays: dict[str, np.ndarray], compression: int = zipfile.ZIP_STORED) -> None:
    """The entry with some of its arrays changed, whole and well-formed as a file."""
    with np.load(entry) as before:
        parts = {name: before[name] for name in before.files} | arrays
    with zipfile.ZipFile(entry, "w", compression) as archive:
        for name, array in parts.items():
            stream = io.BytesIO()
            np.lib.format.write_array(stream, array, allow_pickle=True)
            archive.writestr(f"{name}.npy", stream.getvalue())


class Trap:
    """Leaves a file behind where somebody unpickles it."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def __reduce__(self):
        return (Path.touch, (self.path,))


def test_nothing_in_an_entry_is_ever_run(log, parsed):
    plain = read(log)
    (entry,) = entries(log)
    sprung = log / "sprung.md"
    trap = np.empty(1, dtype=object)
    trap[0] = Trap(sprung)
    pickle.loads(pickle.dumps(trap))
    assert sprung.exists()
    sprung.unlink()
    for name in ("told", "lines", "codes0"):
        repacked(entry, {name: trap})
        assert_same(plain, read(log))
        assert not sprung.exists()


@pytest.mark.parametrize(
    "changed",
    [
        {"lines": np.array([5, 5])},
        {"lines": np.array([0.5])},
        {"lines": np.zeros((1, 1), dtype=np.int64)},
        {"codes0": np.array([77])},
        {"codes0": np.array([-1])},
        {"codes0": np.array([0, 0])},
        {"told": np.frombuffer(b"{}", np.uint8)},
        {"told": np.frombuffer(b"[" * 100_000, np.uint8)},
    ],
)
def test_an_entry_that_cannot_be_meant_is_as_good_as_none(log, parsed, changed):
    plain = read(log)
    (entry,) = entries(log)
    repacked(entry, changed)
    parsed.clear()
    assert_same(plain, read(log))
    assert parsed == ["pour.csv"]


def test_an_entry_that_would_swell_when_unpacked_is_as_good_as_none(log, parsed):
    plain = read(log)
    (entry,) = entries(log)
    repacked(entry, {}, zipfile.ZIP_DEFLATED)
    parsed.clear()
    assert_same(plain, read(log))
    assert parsed == ["pour.csv"]


def test_a_folder_that_cannot_be_written_to_remembers_nothing_and_breaks_nothing(log, parsed):
    (log / FOLDER).write_text("a file where the folder should be", encoding="utf-8")
    plain = read_folder(log, shipped_kinds(), small_bench())
    assert_same(plain, read(log))
    (log / FOLDER).unlink()
    read(log)
    (entry,) = entries(log)
    entry.unlink()
    entry.mkdir()
    assert_same(plain, read(log))


def test_an_entry_appears_whole_or_not_at_all(log, monkeypatch):
    def torn(stream, **arrays):
        stream.write(b"half of it")
        raise OSError("no space left on device")

    monkeypatch.setattr(cached, "_SAVE", torn)
    plain = read_folder(log, shipped_kinds(), small_bench())
    assert_same(plain, read(log))
    assert {path.name for path in (log / FOLDER).iterdir()} == {".gitignore", "CACHEDIR.TAG"}
