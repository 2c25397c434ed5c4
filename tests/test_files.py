import errno
import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from benchwater.files import (
    DEEPEST_FOLDER,
    UNKNOWN_CONTENT,
    append_lines,
    content_hash,
    log_files,
    open_regular_file,
    read_own_file,
    write_atomically,
)
from closed_folders import close_folder

OLD, NEW = b"old " * 1000, b"new " * 2000


@pytest.mark.parametrize("call", ["open", "write", "flush", "fsync", "replace"])
@pytest.mark.parametrize("error", [errno.ENOSPC, errno.EACCES, errno.EIO])
def test_a_write_that_fails_at_any_step_leaves_the_old_file_and_nothing_else(
    tmp_path, monkeypatch, call, error
):
    path = tmp_path / "season-report.json"
    path.write_bytes(OLD)

    def fail(*arguments, **more):
        raise OSError(error, os.strerror(error))

    def opened(path, mode):
        stream = open(path, mode, buffering=0)  # noqa: SIM115
        return type("Full", (), {
            "__enter__": lambda self: self,
            "__exit__": lambda self, *why: stream.close(),
            "fileno": lambda self: stream.fileno(),
            "write": fail if call == "write" else lambda self, data: stream.write(data),
            "flush": fail,
        })()  # fmt: skip

    if call in {"fsync", "replace"}:
        monkeypatch.setattr(f"benchwater.files.os.{call}", fail)
    else:
        monkeypatch.setattr("benchwater.files.open", fail if call == "open" else opened, raising=False)
    with pytest.raises(OSError, match=os.strerror(error)):
        write_atomically(path, NEW)
    monkeypatch.undo()
    assert path.read_bytes() == OLD
    assert [entry.name for entry in tmp_path.iterdir()] == [path.name]


@pytest.mark.skipif(os.name == "nt", reason="needs a umask")
def test_a_new_file_has_the_mode_that_the_umask_leaves(tmp_path):
    before = os.umask(0o027)
    try:
        write_atomically(tmp_path / "a.json", NEW)
    finally:
        os.umask(before)
    assert (tmp_path / "a.json").stat().st_mode & 0o777 == 0o640


@pytest.mark.slow
@pytest.mark.skipif(os.name == "nt", reason="needs SIGKILL")
def test_a_run_killed_at_any_moment_leaves_one_whole_file(tmp_path):
    path = tmp_path / "season-report.pdf"
    contents = {bytes([letter]) * 3_000_000 for letter in b"ab"}
    path.write_bytes(b"a" * 3_000_000)
    code = (
        "import sys; from pathlib import Path; from benchwater.files import write_atomically\n"
        "path = Path(sys.argv[1]); print('ready', flush=True)\n"
        "while True:\n"
        "    for letter in b'ab': write_atomically(path, bytes([letter]) * 3_000_000)"
    )
    moments = random.Random(20260501)
    for _ in range(25):
        process = subprocess.Popen([sys.executable, "-c", code, str(path)], stdout=subprocess.PIPE)
        assert process.stdout is not None
        process.stdout.readline()
        time.sleep(moments.uniform(0.001, 0.05))
        process.send_signal(signal.SIGKILL)
        process.wait()
        process.stdout.close()
        assert path.read_bytes() in contents


@pytest.mark.skipif(sys.platform != "linux", reason="needs a small tmpfs")
@pytest.mark.skipif(os.geteuid() != 0, reason="only root may mount")
def test_a_full_disk_leaves_the_old_file(tmp_path):
    mount = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=64k", "tmpfs", tmp_path], capture_output=True)
    if mount.returncode != 0:
        pytest.skip("this machine allows no mounts")
    try:
        path = tmp_path / "season-report.pdf"
        write_atomically(path, OLD)
        with pytest.raises(OSError, match="No space left"):
            write_atomically(path, b"x" * 200_000)
        assert path.read_bytes() == OLD
        assert [entry.name for entry in tmp_path.iterdir()] == [path.name]
        log = tmp_path / "due.log"
        with pytest.raises(OSError, match=rf"No space left on device: '{log}'"):
            append_lines(log, ["x" * 200_000])
    finally:
        subprocess.run(["umount", tmp_path], check=True)


def test_a_log_never_grows_beyond_two_files_of_a_bounded_size(tmp_path):
    log = tmp_path / "new" / "due.log"
    for number in range(200):
        append_lines(log, [f"run {number}", "second line"], most_bytes=1_000)
    assert sorted(path.name for path in log.parent.iterdir()) == ["due.log", "due.old.log"]
    assert all(path.stat().st_size < 1_100 for path in log.parent.iterdir())
    assert log.read_text().splitlines()[-2:] == ["run 199", "second line"]


def test_an_irregular_file_is_never_opened_and_a_huge_one_is_hashed_by_its_size(tmp_path):
    os.mkfifo(tmp_path / "pipe.csv")
    assert content_hash(tmp_path / "pipe.csv") == "no ordinary file"
    with (tmp_path / "large.csv").open("wb") as stream:
        stream.truncate(10**12)
    assert content_hash(tmp_path / "large.csv") == f"{10**12} bytes"


@pytest.mark.skipif(os.geteuid() == 0, reason="nothing is closed to root")
def test_a_file_that_cannot_be_opened_has_no_known_content(tmp_path):
    (tmp_path / "a.csv").write_text("x")
    (tmp_path / "a.csv").chmod(0)
    assert content_hash(tmp_path / "a.csv") == UNKNOWN_CONTENT


def test_the_walk_yields_logs_by_name_and_skips_reports_plugins_and_hidden_files(tmp_path):
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
    found = {each.path.relative_to(tmp_path).as_posix(): each.why_not for each in log_files(tmp_path)}
    assert [name for name, why in found.items() if why is None] == [
        "B.CSV", "a.csv", "dangling.csv", "linked.csv", "notes.txt",
        "deep/er/x.tsv", "deep/plugins/in.csv", "deep/reports/in.csv", "folder.csv/inside.csv",
    ]  # fmt: skip
    assert found["folder.csv"] == "is a folder, not a file"
    assert "photo.jpg" in found


def test_the_walk_lists_a_folder_that_it_cannot_read(tmp_path, monkeypatch):
    for name in ("a.csv", "water/b.csv", "water/deep/c.csv"):
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_text("x")
    close_folder(monkeypatch, tmp_path / "water")
    assert list(log_files(tmp_path)) == [
        (tmp_path / "a.csv", None, False),
        (tmp_path / "water", "is a folder that cannot be read: Permission denied", True),
    ]


def test_the_walk_lists_the_workspace_if_it_cannot_be_read(tmp_path, monkeypatch):
    close_folder(monkeypatch, tmp_path)
    assert [found.path for found in log_files(tmp_path)] == [tmp_path]


@pytest.mark.skipif(sys.platform != "linux", reason="needs a path limit of 4,096 bytes")
def test_the_walk_lists_a_folder_beyond_the_path_limit(tmp_path):
    folder = os.open(tmp_path, os.O_RDONLY)
    for _ in range(20):
        os.mkdir("x" * 250, dir_fd=folder)
        inner = os.open("x" * 250, os.O_RDONLY, dir_fd=folder)
        os.close(folder)
        folder = inner
    os.close(folder)
    (found,) = log_files(tmp_path)
    assert (found.why_not, found.hides_files) == ("is a folder that cannot be read: File name too long", True)


def test_the_walk_lists_a_folder_nested_too_deep(tmp_path):
    deepest = Path(tmp_path, *["in"] * DEEPEST_FOLDER)
    (deepest / "in").mkdir(parents=True)
    (deepest / "a.csv").write_text("x")
    (deepest / "in" / "b.csv").write_text("x")
    found = {each.path: each.why_not for each in log_files(tmp_path)}
    assert found == {
        deepest / "in": "is a folder nested more than 64 deep: move it up",
        deepest / "a.csv": None,
    }


def test_a_link_is_neither_read_nor_appended_to(tmp_path):
    (tmp_path / "target").write_text("kept")
    for number, target in enumerate(("target", "missing")):
        link = tmp_path / f"link{number}"
        link.symlink_to(tmp_path / target)
        for call in (read_own_file, lambda path: append_lines(path, ["more"])):
            with pytest.raises(OSError, match="is a link, and a plain file is needed"):
                call(link)
    assert (tmp_path / "target").read_text() == "kept"
    assert not (tmp_path / "missing").exists()


def test_a_link_that_appears_after_the_check_is_not_followed_either(tmp_path, monkeypatch):
    (tmp_path / "target").write_text("kept")
    (tmp_path / "due.log").symlink_to(tmp_path / "target")
    monkeypatch.setattr(Path, "is_symlink", lambda self: False)
    with pytest.raises(OSError, match="symbolic links"):
        append_lines(tmp_path / "due.log", ["more"])
    assert (tmp_path / "target").read_text() == "kept"


@pytest.mark.skipif(os.name == "nt", reason="needs FIFOs and devices")
@pytest.mark.parametrize("flags", [os.O_RDONLY, os.O_RDWR, os.O_WRONLY | os.O_APPEND | os.O_CREAT])
def test_a_fifo_a_device_and_a_folder_are_refused_at_once(tmp_path, flags):
    os.mkfifo(tmp_path / "fifo")
    before = len(os.listdir("/proc/self/fd")) if sys.platform == "linux" else 0
    for path in (tmp_path / "fifo", Path("/dev/zero"), tmp_path):
        with pytest.raises(OSError, match=r"is not an ordinary file|Is a directory"):
            open_regular_file(path, flags)
    assert (len(os.listdir("/proc/self/fd")) if sys.platform == "linux" else 0) == before


def test_a_file_of_the_programs_own_is_read_up_to_a_bound(tmp_path):
    (tmp_path / "bench.toml").write_bytes(b"x" * (1024 * 1024 + 1))
    assert len(read_own_file(tmp_path / "bench.toml", 2 * 1024 * 1024)) == 1024 * 1024 + 1
    with pytest.raises(OSError, match="is larger than 1 MiB"):
        read_own_file(tmp_path / "bench.toml", 1024 * 1024)


def test_the_walk_reads_nothing_outside_but_what_is_named(tmp_path):
    folder = tmp_path / "bench"
    for path in (folder / "a.csv", tmp_path / "shared" / "b.csv", tmp_path / "private" / "c.csv"):
        path.parent.mkdir(exist_ok=True)
        path.write_text("x")
    (folder / "file.csv").symlink_to(tmp_path / "private" / "c.csv")
    (folder / "folder").symlink_to(tmp_path / "private")
    (folder / "linked.csv").symlink_to(tmp_path / "shared" / "b.csv")

    def found():
        return {each.path.relative_to(folder).as_posix(): each.why_not for each in log_files(folder)}

    alone = found()
    assert [name for name, why in alone.items() if why is None] == ["a.csv"]
    assert all(
        "is a link out of this folder" in str(alone[name]) for name in ("file.csv", "folder", "linked.csv")
    )
    (folder / "bench.toml").write_text('[logs]\nalso = ["../shared"]')
    assert [name for name, why in found().items() if why is None] == [
        "a.csv",
        "linked.csv",
        "../shared/b.csv",
    ]
