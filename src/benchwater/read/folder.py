"""Reads every log below a maker's folder, and accounts for every file and row."""

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from benchwater.files import LARGEST_FILE_BYTES, log_files
from benchwater.plugin.bench import Bench
from benchwater.plugin.logs import LogKind
from benchwater.read.coded import Mask
from benchwater.read.headers import Heading, recognise
from benchwater.read.outcome import NotRead, ReadAs, Reading, SetAside, Source, UnreadColumn
from benchwater.read.records import decode
from benchwater.read.refusals import FileError
from benchwater.read.rows import ReadRows, read_rows
from benchwater.read.tables import FileRows, build_tables, take_repeats


@dataclass(frozen=True, slots=True, kw_only=True)
class _ReadFile:
    file: str
    sha256: str
    kind: LogKind
    dialect: str
    headings: tuple[Heading, ...]
    content: ReadRows


def read_folder(
    folder: Path,
    kinds: Sequence[LogKind],
    bench: Bench,
    *,
    keep_repeats: Sequence[str] = (),
    progress: Callable[[str], None] = lambda file: None,
) -> Reading:
    """Read every log below the folder. Never raises for what a file holds: each is listed with its reason.

    `keep_repeats` names files whose rows are all meant, though another file holds the same ones; `*` is
    every file.
    """
    files: list[_ReadFile] = []
    not_read: list[NotRead] = []
    for path, why, _ in log_files(folder):
        name = path.relative_to(folder).as_posix()
        progress(name)
        if why is not None:
            not_read.append(NotRead(file=name, why=why))
            continue
        try:
            files.append(_read_file(path, name, kinds, bench))
        except FileError as error:
            not_read.append(NotRead(file=name, why=str(error)))
    file_rows = [
        FileRows(file=read.file, log=read.kind.name, columns=read.content.columns, lines=read.content.lines)
        for read in files
    ]
    unique = take_repeats(file_rows, keep_repeats)
    cells: list[SetAside] = []
    sources = []
    for read, kept in zip(files, unique.kept, strict=True):
        used = int(kept.sum())
        set_aside = len(read.content.set_aside)
        in_rows_that_count = _cells_in_rows(read.content, kept)
        cells += in_rows_that_count
        sources.append(
            Source(
                file=read.file,
                sha256=read.sha256,
                log=read.kind.name,
                rows=len(read.content.lines) + set_aside,
                used=used,
                repeated=len(kept) - used,
                set_aside=set_aside,
                cells_set_aside=len(in_rows_that_count),
                dialect=read.dialect,
            )
        )
    return Reading(
        tables=build_tables(
            kinds, [entry.take(kept) for entry, kept in zip(file_rows, unique.kept, strict=True)]
        ),
        sources=tuple(sources),
        set_aside=tuple(entry for read in files for entry in read.content.set_aside),
        cells_set_aside=tuple(cells),
        repeats=unique.repeats,
        not_read=tuple(not_read),
        fallbacks=tuple(sorted({text for read in files for text in read.content.fallbacks})),
        check_problems=tuple(
            read.content.check_problem for read in files if read.content.check_problem is not None
        ),
        read_as=tuple(
            ReadAs(file=read.file, written=written, read_as=taken_for)
            for read in files
            for written, taken_for in dict.fromkeys([*_headings_taken(read), *read.content.words_taken])
        ),
        unread_columns=tuple(
            UnreadColumn(file=read.file, column=each.written, may_be=each.may_be)
            for read in files
            for each in read.headings
            if each.column is None and each.text
        ),
    )


def _headings_taken(read: _ReadFile) -> list[tuple[str, str]]:
    return [
        (each.written, each.column.name)
        for each in read.headings
        if each.column is not None and each.is_everyday
    ]


def _cells_in_rows(content: ReadRows, kept: Mask) -> list[SetAside]:
    """The cells set aside in the rows that are kept."""
    if not content.cells_set_aside:
        return []
    lines = frozenset(content.lines[kept].tolist())
    return [cell for cell in content.cells_set_aside if cell.line in lines]


def _read_file(path: Path, name: str, kinds: Sequence[LogKind], bench: Bench) -> _ReadFile:
    data = _bytes(path)
    decoded = decode(data)
    header = recognise(decoded.text, kinds)
    separator = {",": "commas", ";": "semicolons", "\t": "tabs"}[header.separator]
    return _ReadFile(
        file=name,
        sha256=hashlib.sha256(data).hexdigest(),
        kind=header.kind,
        dialect=f"{decoded.encoding}, {separator}",
        headings=header.headings,
        content=read_rows(name, header, header.body(), bench),
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
