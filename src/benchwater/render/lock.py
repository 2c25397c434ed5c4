"""One writer at a time in a report's folder: a lock file, held open, that says who holds it.

Whether its owner still runs is known to the system alone: it drops the lock of a process that ends, however
it ends. The process number in the file is for people.
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

LOCK_NAME = ".being-written"
_TRIES = 3
_MOST_BYTES = 1000
_FAR = 1 << 30
_HELD = {errno.EACCES, errno.EAGAIN, errno.EWOULDBLOCK, errno.EDEADLK}


class BeingWrittenError(RuntimeError):
    """Another run is writing the same report; the message names it."""


@contextmanager
def only_writer(folder: Path) -> Iterator[None]:
    """Hold the folder's lock. BeingWrittenError while another run holds it.

    A lock file that a killed run left behind is taken over. One from another machine (a synced folder)
    cannot be looked into and is respected, and so is any on a disk that knows no locks: the message says
    which file to remove. OSError where the folder cannot be written to.
    """
    lock = folder / LOCK_NAME
    for _ in range(_TRIES):
        handle = _taken(lock)
        if handle is not None:
            break
    else:
        raise BeingWrittenError(f"another run keeps writing to {folder}: try again when it is done")
    try:
        os.write(handle, f"{os.getpid()} {socket.gethostname()}\n".encode())
        yield
    finally:
        _let_go(lock, handle)


def claim(handle: int, windows: Any = None) -> None:
    """Have the system lock an open file for as long as this process keeps it open, and no longer.

    `windows` is the module msvcrt where there is one. Its locks keep others from the bytes they cover, so it
    is a byte far behind what the file says. OSError where another holds it, or where no lock can be had.
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


def _taken(lock: Path) -> int | None:
    """The lock file, open, empty and locked; None where it went away while we looked at it."""
    handle, is_new = _opened(lock)
    try:
        said = "" if is_new else os.read(handle, _MOST_BYTES).decode(errors="replace").strip()
        try:
            claim(handle, import_module("msvcrt") if os.name == "nt" else None)
        except OSError as error:
            if error.errno in _HELD or not is_new:
                raise _held(lock, said) from None
        if not _is_still_there(lock, handle):
            os.close(handle)
            return None
        if said and said.partition(" ")[2] != socket.gethostname():
            raise _held(lock, said)
        os.lseek(handle, 0, os.SEEK_SET)
        os.ftruncate(handle, 0)
    except BaseException:
        with contextlib.suppress(OSError):
            os.close(handle)
        raise
    return handle


def _opened(lock: Path) -> tuple[int, bool]:
    """The lock file, and whether it was not there before."""
    try:
        return os.open(lock, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o644), True
    except FileExistsError:
        pass
    try:
        return os.open(lock, os.O_RDWR | os.O_CREAT, 0o644), False
    except PermissionError:
        raise _held(lock, "") from None


def _is_still_there(lock: Path, handle: int) -> bool:
    """Whether the open file is the one of that name: its last owner may just have removed it."""
    try:
        return os.path.samestat(os.stat(lock), os.fstat(handle))
    except OSError:
        return False


def _let_go(lock: Path, handle: int) -> None:
    ours = _is_still_there(lock, handle)
    if os.name == "nt":  # an open file cannot be removed there, and one that another run opened stays
        os.close(handle)
    if ours:
        with contextlib.suppress(OSError):
            lock.unlink()
    if os.name != "nt":
        os.close(handle)


def _held(lock: Path, said: str) -> BeingWrittenError:
    number, _, host = said.partition(" ")
    whose = f"process {number} on {host}" if host else "another run"
    return BeingWrittenError(
        f"{whose} is writing this report just now: try again when it is done "
        f"(if it is not running, remove {lock})"
    )
