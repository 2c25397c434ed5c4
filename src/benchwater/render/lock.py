"""One writer at a time in a report's folder: a lock file with its owner's process number."""

import contextlib
import os
import socket
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

LOCK_NAME = ".being-written"


class BeingWrittenError(RuntimeError):
    """Another run is writing the same report; the message names it."""


@contextmanager
def only_writer(folder: Path) -> Iterator[None]:
    """Hold the folder's lock. BeingWrittenError while another live run of this machine holds it.

    A lock whose owner is gone is taken over. One from another machine (a synced folder) cannot be looked
    into and is respected: the message says which file to remove.
    """
    lock = folder / LOCK_NAME
    owner = f"{os.getpid()} {socket.gethostname()}\n"
    for _ in range(3):
        try:
            handle = os.open(lock, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o644)
        except FileExistsError:
            _take_over_if_stale(lock)
            continue
        with os.fdopen(handle, "w") as stream:
            stream.write(owner)
        break
    else:
        raise BeingWrittenError(f"another run keeps writing to {folder}: try again when it is done")
    try:
        yield
    finally:
        with contextlib.suppress(OSError):
            if lock.read_text() == owner:
                lock.unlink()


def _take_over_if_stale(lock: Path) -> None:
    try:
        number, _, host = lock.read_text().strip().partition(" ")
    except FileNotFoundError:
        return
    if host == socket.gethostname() and number.isdigit() and not _is_alive(int(number)):
        lock.unlink(missing_ok=True)
        return
    whose = f"process {number} on {host}" if host else "another run"
    raise BeingWrittenError(
        f"{whose} is writing this report just now: try again when it is done "
        f"(if it is not running, remove {lock})"
    )


def _is_alive(process: int) -> bool:
    if os.name == "nt":
        return True
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except OSError:
        return True
    return True
