import errno
import os
import signal
import socket
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import pytest

from benchwater import files as module
from benchwater.files import LOCK_NAME, BeingWrittenError, claim, only_writer

HOLD = """
import sys
from pathlib import Path
from benchwater.files import only_writer
with only_writer(Path(sys.argv[1])):
    print("held", flush=True)
    sys.stdin.read()
"""


def holder(folder: Path) -> subprocess.Popen[str]:
    """Another process that holds the lock of the folder, until it is killed or its input ends."""
    process = subprocess.Popen(
        [sys.executable, "-c", HOLD, str(folder)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    assert process.stdout.readline() == "held\n"
    return process


def test_a_second_run_is_refused_and_told_who_is_writing(tmp_path):
    with holder(tmp_path) as other:
        with pytest.raises(BeingWrittenError, match=f"process {other.pid} on"), only_writer(tmp_path):
            pass
        other.communicate("")
    with only_writer(tmp_path):
        assert (tmp_path / LOCK_NAME).read_text() == f"{os.getpid()} {socket.gethostname()}\n"
    assert not (tmp_path / LOCK_NAME).exists()


def test_temporary_files_of_a_killed_run_are_removed_by_the_next_and_nothing_else(tmp_path):
    left, kept = ".season-report.pdf.0123abcd.part", ("season-report.pdf", "my.part", ".x.0123abcg.part")
    for name in (left, *kept):
        (tmp_path / name).write_text("half")
    (tmp_path / ".folder.0123abcd.part").mkdir()
    with only_writer(tmp_path):
        assert not (tmp_path / left).exists()
    assert {path.name for path in tmp_path.iterdir()} == {*kept, ".folder.0123abcd.part"}


def test_one_process_does_not_write_twice_at_once_either(tmp_path):
    with (
        only_writer(tmp_path),
        pytest.raises(BeingWrittenError, match=str(os.getpid())),
        only_writer(tmp_path),
    ):
        pass
    assert not (tmp_path / LOCK_NAME).exists()


def test_the_lock_of_a_run_that_was_killed_is_taken_over(tmp_path):
    with holder(tmp_path) as other:
        other.send_signal(signal.SIGKILL)
    assert (tmp_path / LOCK_NAME).exists()
    with only_writer(tmp_path):
        assert (tmp_path / LOCK_NAME).read_text().startswith(f"{os.getpid()} ")
    assert not (tmp_path / LOCK_NAME).exists()


@pytest.mark.parametrize("says", ["", "{process} {machine}\n"])
def test_a_lock_file_does_not_hold_the_folder_by_what_it_says(tmp_path, says):
    (tmp_path / LOCK_NAME).write_text(says.format(process=os.getpid(), machine=socket.gethostname()))
    with only_writer(tmp_path):
        pass


def test_a_lock_of_another_machine_is_respected_and_its_file_named(tmp_path):
    (tmp_path / LOCK_NAME).write_text("1 elsewhere\n")
    with (
        pytest.raises(BeingWrittenError, match=rf"1 on elsewhere.*remove .*{LOCK_NAME}"),
        only_writer(tmp_path),
    ):
        pass
    assert (tmp_path / LOCK_NAME).read_text() == "1 elsewhere\n"


def test_the_lock_is_released_when_the_run_breaks(tmp_path):
    with pytest.raises(KeyError), only_writer(tmp_path):
        raise KeyError("anything")
    assert not (tmp_path / LOCK_NAME).exists()


def test_a_lock_file_removed_by_its_owner_while_we_took_it_is_not_ours(tmp_path, monkeypatch):
    lock = tmp_path / LOCK_NAME
    taken: list[int] = []

    def removed_meanwhile(handle: int, windows: object = None) -> None:
        if not taken:
            lock.unlink()
            lock.write_text("")
        taken.append(handle)
        claim(handle, windows)

    lock.write_text("")
    monkeypatch.setattr(module, "claim", removed_meanwhile)
    with only_writer(tmp_path):
        assert lock.read_text().startswith(f"{os.getpid()} ")
    assert len(taken) == 2
    assert not lock.exists()


def test_where_the_disk_knows_no_locks_a_lock_file_is_respected_and_a_new_one_written(tmp_path, monkeypatch):
    def unknown(handle: int, windows: object = None) -> None:
        raise OSError(errno.ENOLCK, "No locks available")

    monkeypatch.setattr(module, "claim", unknown)
    with only_writer(tmp_path), pytest.raises(BeingWrittenError, match="remove"), only_writer(tmp_path):
        pass
    assert not (tmp_path / LOCK_NAME).exists()


class TestWindows:
    """What can be held to without Windows: how its lock is asked for, and how a refusal of it is taken.

    `msvcrt.locking(fd, LK_NBLCK, 1)` locks a byte at the file's position, and raises PermissionError
    (EACCES) where another handle has locked it.
    """

    @pytest.fixture(autouse=True)
    def windows(self, monkeypatch):
        locked: dict[tuple[int, int], int] = {}

        def locking(handle: int, mode: int, size: int) -> None:
            assert (mode, size) == (2, 1)
            at = os.fstat(handle).st_ino, os.lseek(handle, 0, os.SEEK_CUR)
            assert at[1] > os.fstat(handle).st_size, "what the file says stays readable to others"
            if is_open(locked.get(at, -1), at[0]):
                raise PermissionError(errno.EACCES, "Permission denied")
            locked[at] = handle

        def is_open(handle: int, inode: int) -> bool:
            try:
                return os.fstat(handle).st_ino == inode
            except OSError:
                return False

        msvcrt = SimpleNamespace(locking=locking, LK_NBLCK=2)
        monkeypatch.setattr(module, "import_module", {"msvcrt": msvcrt}.__getitem__)
        monkeypatch.setattr(module, "os", SimpleNamespace(**{**vars(os), "name": "nt"}))

    def test_a_second_run_is_refused_and_the_first_lets_go(self, tmp_path):
        refused = pytest.raises(BeingWrittenError, match=f"process {os.getpid()} on")
        with only_writer(tmp_path), refused, only_writer(tmp_path):
            pass
        assert not (tmp_path / LOCK_NAME).exists()

    def test_a_file_left_behind_is_taken_over_and_one_of_another_machine_is_not(self, tmp_path):
        (tmp_path / LOCK_NAME).write_text(f"{os.getpid()} {socket.gethostname()}\n")
        with only_writer(tmp_path):
            pass
        (tmp_path / LOCK_NAME).write_text("1 elsewhere\n")
        with pytest.raises(BeingWrittenError, match="elsewhere"), only_writer(tmp_path):
            pass

    def test_a_file_that_is_being_removed_cannot_be_opened_and_is_taken_for_held(self, tmp_path, monkeypatch):
        (tmp_path / LOCK_NAME).write_text("")

        def refused(path: Path, flags: int, mode: int) -> int:
            raise (FileExistsError if flags & os.O_EXCL else PermissionError)(path)

        monkeypatch.setattr("benchwater.files.os.open", refused)
        with pytest.raises(BeingWrittenError, match="remove"), only_writer(tmp_path):
            pass
