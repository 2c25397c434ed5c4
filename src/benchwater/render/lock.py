"""A lock file for a report's folder: one writer at a time.

The operating system holds the lock on the open file and drops it when the process ends, however it ends. The
process number in the file is for people.
"""

import contextlib
import errno
import os
import socket
from collections.abc import Iterator
from contextlib import contextmanager
from importlib import import_module
from pathlib import Path
from typing import Any

from benchwater.files import open_regular_file, remove_temporary_files

LOCK_NAME = ".being-written"
_TRIES = 3
_MOST_BYTES = 1000
_FAR = 1 << 30
_HELD = {errno.EACCES, errno.EAGAIN, errno.EWOULDBLOCK, errno.EDEADLK}


class BeingWrittenError(RuntimeError):
    """Another run is writing the same report; the message names it."""


@contextmanager
def only_writer(folder: Path) -> Iterator[None]:
    """Context manager that holds the folder's lock. Raises BeingWrittenError while another run holds it.

    It takes over the lock file of a killed run and removes the run's temporary files. It respects a lock
    file from another machine (a synced folder) and any on a disk without locks, since neither can be
    checked: the message says which file to remove. Raises OSError where the folder cannot be written to or
    the lock file is no regular file.
    """
    lock = folder / LOCK_NAME
    for _ in range(_TRIES):
        handle = _take(lock)
        if handle is not None:
            break
    else:
        raise BeingWrittenError(f"another run keeps writing to {folder}: try again when it is done")
    try:
        os.write(handle, f"{os.getpid()} {socket.gethostname()}\n".encode())
        remove_temporary_files(folder)
        yield
    finally:
        _release(lock, handle)


def claim(handle: int, windows: Any = None) -> None:
    """Lock an open file until this process closes it.

    `windows` is the module msvcrt, on Windows. Its locks make the locked bytes unreadable to others, so it
    locks one byte far past the end. Raises OSError where another process holds the lock, or the
    disk has none.
    """
    if windows is not None:
        os.lseek(handle, _FAR, os.SEEK_SET)
        try:
            windows.locking(handle, windows.LK_NBLCK, 1)
        finally:
            os.lseek(handle, 0, os.SEEK_SET)
    else:
        fcntl = import_module("fcntl")
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)


def _take(lock: Path) -> int | None:
    """Return the lock file, open, empty and locked; None where another run removed it meanwhile."""
    handle, is_new = _open(lock)
    try:
        said = "" if is_new else os.read(handle, _MOST_BYTES).decode(errors="replace").strip()
        try:
            claim(handle, import_module("msvcrt") if os.name == "nt" else None)
        except OSError as error:
            if error.errno in _HELD or not is_new:
                raise _locked_error(lock, said) from None
        if not _is_still_there(lock, handle):
            os.close(handle)
            return None
        if said and said.partition(" ")[2] != socket.gethostname():
            raise _locked_error(lock, said)
        os.lseek(handle, 0, os.SEEK_SET)
        os.ftruncate(handle, 0)
    except BaseException:
        with contextlib.suppress(OSError):
            os.close(handle)
        raise
    return handle


def _open(lock: Path) -> tuple[int, bool]:
    """Return the open lock file, and whether this call created it."""
    try:
        return os.open(lock, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o644), True
    except FileExistsError:
        pass
    try:
        return open_regular_file(lock, os.O_RDWR | os.O_CREAT), False
    except PermissionError:
        raise _locked_error(lock, "") from None


def _is_still_there(lock: Path, handle: int) -> bool:
    """Return whether the open file still has that name: its last owner may just have removed it."""
    try:
        return os.path.samestat(os.lstat(lock), os.fstat(handle))
    except OSError:
        return False


def _release(lock: Path, handle: int) -> None:
    ours = _is_still_there(lock, handle)
    if os.name == "nt":  # an open file cannot be removed there, and one that another run opened stays
        os.close(handle)
    if ours:
        with contextlib.suppress(OSError):
            lock.unlink()
    if os.name != "nt":
        os.close(handle)


def _locked_error(lock: Path, said: str) -> BeingWrittenError:
    number, _, host = said.partition(" ")
    whose = f"process {number} on {host}" if host else "another run"
    return BeingWrittenError(
        f"{whose} is writing this report just now: try again when it is done "
        f"(if it is not running, remove {lock})"
    )
