"""Files: atomic writes, content hashes, a log of bounded size, the walk over logs, the lock of a report."""

import contextlib
import errno
import hashlib
import os
import socket
from collections.abc import Iterable, Iterator
from importlib import import_module
from pathlib import Path
from typing import Any

LOG_ENDINGS = (".csv", ".tsv", ".txt")
NOT_LOGS = (".toml", ".md", ".py", ".pdf", ".html", ".json", ".lock", ".log", ".pyc")
SPREADSHEETS = (".xlsx", ".xls", ".xlsm", ".ods", ".numbers")
SKIPPED_FOLDERS = ("plugins", "reports", "__pycache__")
LARGEST_FILE_BYTES = 256 * 1024 * 1024
UNKNOWN_CONTENT = ""
_HASH_DIGITS = 32

LOCK_NAME = ".being-written"
_TRIES = 3
_MOST_BYTES = 1000
_FAR = 1 << 30
_HELD = {errno.EACCES, errno.EAGAIN, errno.EWOULDBLOCK, errno.EDEADLK}


def write_atomically(path: Path, data: bytes) -> Path:
    """Write a file under a temporary name, then rename it: readers see the old content or the new, whole."""
    temporary = path.with_name(f".{path.name}.{os.urandom(4).hex()}.part")
    try:
        with open(temporary, "xb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        os.replace(temporary, path)
    except BaseException:
        temporary.unlink(missing_ok=True)
        raise
    return path


def append_lines(path: Path, lines: Iterable[str], *, most_bytes: int = 200_000) -> None:
    """Append lines to a log. One larger than `most_bytes` is first renamed to `<name>.old<suffix>`."""
    path.parent.mkdir(parents=True, exist_ok=True)
    if path.exists() and path.stat().st_size > most_bytes:
        os.replace(path, path.with_name(f"{path.stem}.old{path.suffix}"))
    with path.open("a", encoding="utf-8", errors="replace", newline="\n") as stream:
        stream.writelines(f"{line}\n" for line in lines)


def content_hash(path: Path) -> str:
    """Return the first half of the file's SHA-256, or UNKNOWN_CONTENT if it cannot be opened.

    A file too large to read is described by its size, what is no regular file by a constant.
    """
    try:
        if not path.is_file():
            return "no ordinary file"
        if (size := path.stat().st_size) > LARGEST_FILE_BYTES:
            return f"{size} bytes"
        with path.open("rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest()[:_HASH_DIGITS]
    except OSError:
        return UNKNOWN_CONTENT


def log_files(folder: Path) -> Iterator[tuple[Path, str | None]]:
    """Yield every file below the folder that may be a log, sorted by name, with why it cannot be one.

    The reason is None for a file to read. The walk skips hidden files, `plugins` and `reports` at the top,
    and kinds of file that are never logs. It enters a folder that links reach twice only once.
    """
    visited: set[str] = set()
    for current, folders, names in os.walk(folder, followlinks=True):
        real = os.path.realpath(current)
        if real in visited:
            folders.clear()
            continue
        visited.add(real)
        at_top = Path(current) == folder
        for name in sorted(folders):
            if name.lower().endswith(LOG_ENDINGS):
                yield Path(current, name), "is a folder, not a file"
        folders[:] = sorted(
            name for name in folders if not name.startswith(".") and not (at_top and name in SKIPPED_FOLDERS)
        )
        for name in sorted(names):
            ending = Path(name).suffix.lower()
            if name.startswith((".", "~")) or ending in NOT_LOGS:
                continue
            why = None if ending in LOG_ENDINGS else f"is not a log: logs end in {', '.join(LOG_ENDINGS)}"
            if ending in SPREADSHEETS:
                why = f"is a spreadsheet: save its sheet as {LOG_ENDINGS[0]}"
            yield Path(current, name), why


class BeingWrittenError(RuntimeError):
    """Another run is writing the same report; the message names it."""


@contextlib.contextmanager
def only_writer(folder: Path) -> Iterator[None]:
    """Context manager that holds the folder's lock. Raises BeingWrittenError while another run holds it.

    It takes over the lock file of a killed run. It respects one from another machine (a synced folder) and
    any on a disk without locks, since neither can be checked: the message says which file to remove. Raises
    OSError where the folder cannot be written to.
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
        owner = "" if is_new else os.read(handle, _MOST_BYTES).decode(errors="replace").strip()
        try:
            claim(handle, import_module("msvcrt") if os.name == "nt" else None)
        except OSError as error:
            if error.errno in _HELD or not is_new:
                raise _locked_error(lock, owner) from None
        if not _is_still_there(lock, handle):
            os.close(handle)
            return None
        if owner and owner.partition(" ")[2] != socket.gethostname():
            raise _locked_error(lock, owner)
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
        return os.open(lock, os.O_RDWR | os.O_CREAT, 0o644), False
    except PermissionError:
        raise _locked_error(lock, "") from None


def _is_still_there(lock: Path, handle: int) -> bool:
    """Return whether the open file still has that name: its last owner may just have removed it."""
    try:
        return os.path.samestat(os.stat(lock), os.fstat(handle))
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


def _locked_error(lock: Path, owner: str) -> BeingWrittenError:
    number, _, host = owner.partition(" ")
    whose = f"process {number} on {host}" if host else "another run"
    return BeingWrittenError(
        f"{whose} is writing this report just now: try again when it is done "
        f"(if it is not running, remove {lock})"
    )
