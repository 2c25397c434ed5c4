"""Finds the logs below a folder: each part of a file that is one log, with its header and records."""

import hashlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from benchwater.files import LARGEST_FILE_BYTES, log_files
from benchwater.plugin.bench import Bench
from benchwater.plugin.logs import LogKind
from benchwater.read.body import Body
from benchwater.read.headers import Header, recognise
from benchwater.read.outcome import NotRead
from benchwater.read.records import decode
from benchwater.read.refusals import FileError

_SEPARATORS = {",": "commas", ";": "semicolons", "\t": "tabs"}


@dataclass(frozen=True, slots=True, kw_only=True)
class LogPart:
    """The part of a file that is one log. `read_as` lists what was taken for something else."""

    file: str
    sha256: str
    dialect: str
    header: Header
    read_as: tuple[tuple[str, str], ...] = ()

    @property
    def log(self) -> str:
        """The name of the log."""
        return self.header.kind.name

    def without_records(self) -> "LogPart":
        """The same without the text, which need not be kept once it is read."""
        return replace(self, header=replace(self.header, below=""))

    def body(self) -> Body:
        """The records. FileError beyond the bounds of an honest log."""
        return self.header.body()


def log_parts(
    folder: Path,
    kinds: Sequence[LogKind],
    bench: Bench | None,
    *,
    progress: Callable[[str], None] = lambda file: None,
) -> Iterator[LogPart | NotRead]:
    """Yield every log below the folder, and every file that is none; never raises for what a file holds.

    `bench` is None where it is not known yet.
    """
    for path, why, _ in log_files(folder):
        name = path.relative_to(folder).as_posix()
        progress(name)
        if why is not None:
            yield NotRead(file=name, why=why)
            continue
        try:
            yield from _parts(path, name, kinds, bench)
        except FileError as error:
            yield NotRead(file=name, why=str(error))


def _parts(path: Path, name: str, kinds: Sequence[LogKind], bench: Bench | None) -> Iterator[LogPart]:
    data = _bytes(path)
    decoded = decode(data)
    header = recognise(decoded.text, kinds)
    yield LogPart(
        file=name,
        sha256=hashlib.sha256(data).hexdigest(),
        dialect=f"{decoded.encoding}, {_SEPARATORS[header.separator]}",
        header=header,
    )


def _bytes(path: Path) -> bytes:
    try:
        before = path.stat()
        if not path.is_file():
            raise FileError("is not an ordinary file")
        if before.st_size > LARGEST_FILE_BYTES:
            raise FileError(f"is larger than {LARGEST_FILE_BYTES // 1024 // 1024} MiB")
        data = path.read_bytes()
        after = path.stat()
    except OSError as error:
        raise FileError(f"cannot be opened: {error.strerror or error}") from error
    if (before.st_mtime_ns, before.st_size) != (after.st_mtime_ns, after.st_size) or len(
        data
    ) != after.st_size:
        raise FileError("is being written to just now: run again when it is saved")
    return data
