"""Files: safe reading, atomic writes, content hashes, a log of bounded size, the walk over logs, locks."""

import errno
import hashlib
import os
import re
import socket
import stat
import tomllib
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from importlib import import_module
from pathlib import Path
from typing import Any, NamedTuple

LOG_ENDINGS = (".csv", ".tsv", ".txt")
NOT_LOGS = (".toml", ".md", ".py", ".pdf", ".html", ".json", ".lock", ".log", ".pyc")
WORKBOOKS = (".xlsx", ".xlsm", ".ods", ".xls")
OTHER_WORKBOOKS = (".numbers", ".xlsb")
PICTURE_ENDINGS = (".jpg", ".jpeg", ".png", ".webp")
SKIPPED_FOLDERS = ("plugins", "reports", "__pycache__")
BENCH_NAME = "bench.toml"
DEEPEST_FOLDER = 64
LARGEST_FILE_BYTES = 256 * 1024 * 1024
UNKNOWN_CONTENT = ""
_LEADS_OUT = "is a link out of this folder: copy it, or name its folder in bench.toml: `[logs] also = [...]`"
_HASH_DIGITS = 32
_TEMPORARY = re.compile(r"\..+\.[0-9a-f]{8}\.part", re.DOTALL)
_NEVER_WAIT = getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_CLOEXEC", 0) | getattr(os, "O_BINARY", 0)
_NO_LINK = getattr(os, "O_NOFOLLOW", 0)


def open_regular_file(path: Path, flags: int = os.O_RDONLY, *, follow_links: bool = False) -> int:
    """Open a file by `os.open` and return its descriptor. OSError for a link, FIFO, device or folder."""
    if not follow_links and path.is_symlink():
        raise OSError(errno.ELOOP, "is a link, and a plain file is needed", str(path))
    try:
        descriptor = os.open(path, flags | _NEVER_WAIT | (0 if follow_links else _NO_LINK), 0o666)
    except OSError as error:
        if error.errno == errno.ENXIO:  # a FIFO that nobody reads
            raise OSError(errno.EINVAL, "is not an ordinary file", str(path)) from error
        raise
    if not stat.S_ISREG(os.fstat(descriptor).st_mode):
        os.close(descriptor)
        raise OSError(errno.EINVAL, "is not an ordinary file", str(path))
    return descriptor


def read_own_file(path: Path, most_bytes: int = LARGEST_FILE_BYTES) -> bytes:
    """Return the content of a file that the program keeps. OSError if it is no regular file or too large."""
    with open(open_regular_file(path), "rb") as stream:
        data = stream.read(most_bytes + 1)
    if len(data) > most_bytes:
        raise OSError(errno.EFBIG, f"is larger than {most_bytes // 1024 // 1024} MiB", str(path))
    return data


LOCK_NAME = ".being-written"
_TRIES = 3
_MOST_BYTES = 1000
_FAR = 1 << 30
_HELD = {errno.EACCES, errno.EAGAIN, errno.EWOULDBLOCK, errno.EDEADLK}


def write_atomically(path: Path, data: bytes) -> Path:
    """Write a file under a temporary name, then rename it: readers see the old content or the new, whole."""
    temporary = path.with_name(f".{path.name}.{os.urandom(4).hex()}.part")
    try:
        with _naming(path), open(temporary, "xb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        os.replace(temporary, path)
    except BaseException:
        temporary.unlink(missing_ok=True)
        raise
    return path


@contextmanager
def _naming(path: Path) -> Iterator[None]:
    """Name the file in an error that names none, such as that of a full disk."""
    try:
        yield
    except OSError as error:
        if error.filename is None:
            raise OSError(error.errno, error.strerror, str(path)) from error
        raise


def remove_temporary_files(folder: Path) -> None:
    """Remove what writes that were killed have left in a folder, while no other process writes there."""
    with os.scandir(folder) as entries:
        left = [entry for entry in entries if _TEMPORARY.fullmatch(entry.name)]
    for entry in left:
        if entry.is_file(follow_symlinks=False):
            with suppress(OSError):
                os.unlink(entry)


def append_lines(path: Path, lines: Iterable[str], *, most_bytes: int = 200_000) -> None:
    """Append lines to a log. One larger than `most_bytes` is first renamed to `<name>.old<suffix>`."""
    path.parent.mkdir(parents=True, exist_ok=True)
    append = os.O_WRONLY | os.O_APPEND | os.O_CREAT
    descriptor = open_regular_file(path, append)
    if os.fstat(descriptor).st_size > most_bytes:
        os.close(descriptor)
        os.replace(path, path.with_name(f"{path.stem}.old{path.suffix}"))
        descriptor = open_regular_file(path, append)
    with _naming(path), open(descriptor, "a", encoding="utf-8", errors="replace", newline="\n") as stream:
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
        with open(open_regular_file(path, follow_links=True), "rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest()[:_HASH_DIGITS]
    except OSError:
        return UNKNOWN_CONTENT


class FoundFile(NamedTuple):
    """A file that may be a log, or a folder whose files are out of reach.

    `why_not` says why the file is not read, None for one to read. `hides_files` is set for the folder.
    """

    path: Path
    why_not: str | None = None
    hides_files: bool = False


def log_files(folder: Path) -> Iterator[FoundFile]:
    """Yield every file below the folder that may be a log, sorted by name, and every folder it cannot read.

    bench.toml names further folders with logs under `[logs] also`. The walk skips hidden files, `plugins`
    and `reports` at the top, kinds of file that are never logs, and whatever lies outside these folders once
    links are followed. It enters a folder that links reach twice only once, and none nested more than
    DEEPEST_FOLDER deep.
    """
    tops = [folder, *(folder / name for name in _further_folders(folder))]
    inside = [Path(os.path.realpath(top)) for top in tops]
    visited: set[str] = set()
    for top in tops:
        yield from _log_files_below(top, inside, visited)


def _further_folders(folder: Path) -> list[str]:
    """Return what `[logs] also` of bench.toml names, nothing where that cannot be read."""
    try:
        text = read_own_file(folder / BENCH_NAME).decode("utf-8-sig")
        if "also" not in text:
            return []
        named = tomllib.loads(text).get("logs", {}).get("also", [])
        return [name for name in named if name.strip() and not Path(name).is_absolute()]
    except (OSError, ValueError, TypeError, AttributeError, RecursionError):
        return []


def _log_files_below(top: Path, inside: list[Path], visited: set[str]) -> Iterator[FoundFile]:
    errors: list[OSError] = []
    for current, folders, names in os.walk(top, followlinks=True, onerror=errors.append):
        yield from _unreadable(errors)
        real = os.path.realpath(current)
        if real in visited:
            folders.clear()
            continue
        visited.add(real)
        depth = len(Path(current).relative_to(top).parts)
        for name in sorted(folders):
            if name.lower().endswith(LOG_ENDINGS):
                yield FoundFile(Path(current, name), "is a folder, not a file")
        outside = {name for name in folders if _leads_out(Path(current, name), inside)}
        folders[:] = sorted(
            name for name in folders if not name.startswith(".") and (depth or name not in SKIPPED_FOLDERS)
        )
        yield from (FoundFile(Path(current, name), _LEADS_OUT) for name in folders if name in outside)
        folders[:] = [name for name in folders if name not in outside]
        if depth == DEEPEST_FOLDER:
            why = f"is a folder nested more than {DEEPEST_FOLDER} deep: move it up"
            yield from (FoundFile(Path(current, name), why, hides_files=True) for name in folders)
            folders.clear()
        for name in sorted(names):
            ending = Path(name).suffix.lower()
            if name.startswith((".", "~")) or ending in NOT_LOGS:
                continue
            known = LOG_ENDINGS + WORKBOOKS
            why_not = None if ending in known else f"is not a log: logs end in {', '.join(known)}"
            if ending in OTHER_WORKBOOKS:
                why_not = f"is a spreadsheet of another kind: save it as {WORKBOOKS[0]} or {LOG_ENDINGS[0]}"
            if why_not is None and _leads_out(Path(current, name), inside):
                why_not = _LEADS_OUT
            yield FoundFile(Path(current, name), why_not)
    yield from _unreadable(errors)


def _leads_out(path: Path, inside: list[Path]) -> bool:
    """Return whether the path is a link that ends outside all these folders."""
    if not os.path.islink(path):
        return False
    real = Path(os.path.realpath(path))
    return not any(real.is_relative_to(place) for place in inside)


def _unreadable(errors: list[OSError]) -> Iterator[FoundFile]:
    """Yield the folders that the walk could not open or list to the end, and forget the errors."""
    for error in errors:
        why = f"is a folder that cannot be read: {error.strerror or error}"
        yield FoundFile(Path(error.filename), why, hides_files=True)
    errors.clear()


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
        with _naming(lock):
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
        with suppress(OSError):
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
        with suppress(OSError):
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
