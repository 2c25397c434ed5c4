"""Files: atomic writes, content hashes, a log of bounded size, and the walk over a maker's logs."""

import hashlib
import os
from collections.abc import Iterable, Iterator
from pathlib import Path

LOG_ENDINGS = (".csv", ".tsv", ".txt")
NOT_LOGS = (".toml", ".md", ".py", ".pdf", ".html", ".json", ".lock", ".log", ".pyc")
SPREADSHEETS = (".xlsx", ".xls", ".xlsm", ".ods", ".numbers")
SKIPPED_FOLDERS = ("plugins", "reports", "__pycache__")
LARGEST_FILE_BYTES = 256 * 1024 * 1024
UNKNOWN_CONTENT = ""
_HASH_DIGITS = 32


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
