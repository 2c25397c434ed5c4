"""Finds the logs below a folder: each part of a file that is one log, with its header and records."""

import hashlib
import os
import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import islice, pairwise
from pathlib import Path
from typing import NamedTuple

from benchwater.files import LARGEST_FILE_BYTES, log_files, open_regular_file
from benchwater.plugin.bench import Bench
from benchwater.plugin.logs import LogKind
from benchwater.read.headers import SEPARATORS, Header, count_known, recognise
from benchwater.read.outcome import DEEPEST_HEADER_ROW, MOST_COLUMNS, FileError, NotRead
from benchwater.read.records import (
    Body,
    Decoded,
    Grid,
    check_lines,
    decode,
    plain_ends,
    read_body,
    records_and_ends,
)
from benchwater.read.shapes import header_of, names_logs, reshape
from benchwater.read.vocabulary import column_names, plain_heading, split_unit
from benchwater.read.workbook import MARKS, read_workbook
from benchwater.words import listed

_SEPARATORS = {",": "commas", ";": "semicolons", "\t": "tabs"}
_WORKBOOK = "workbook"
_SAMPLED_CHARACTERS = 30_000
_MOST_CHARACTERS_IN_SECTIONS = 500_000
_SAMPLED_OF_SECTION = 2_000
_MOST_LINES_TRIED = 400
_MOST_SECTIONS = 40
_WITHOUT_DIGITS = re.compile(r"^[^0-9\n]+$", re.MULTILINE)


class _Log(NamedTuple):
    header: Header
    records: Body | None = None
    read_as: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class LogPart:
    """The part of a file that is one log, and the path of that file.

    `read_as` lists what was taken for something else. `records` holds what stands below the header where
    that is not in the order of the file.
    """

    file: str
    path: str
    sha256: str
    dialect: str
    header: Header
    records: Body | None = None
    read_as: tuple[tuple[str, str], ...] = ()

    @property
    def log(self) -> str:
        return self.header.kind.name

    def without_records(self) -> "LogPart":
        """The same without the text, which need not be kept once it is read."""
        return replace(self, header=replace(self.header, below=""), records=None)

    def body(self) -> Body:
        """The records. FileError beyond the bounds of an honest log."""
        return self.header.body() if self.records is None else self.records


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
    kinds = [kind for kind in kinds if not kind.part_of]
    for path, why, _ in log_files(folder):
        name = path.relative_to(folder).as_posix()
        progress(name)
        if why is not None:
            yield NotRead(file=name, why=why)
            continue
        try:
            yield from _parts(path, name, kinds, bench)
        except FileError as error:
            yield error.not_read(name)


def _parts(
    path: Path, name: str, kinds: Sequence[LogKind], bench: Bench | None
) -> Iterator[LogPart | NotRead]:
    data = _bytes(path)
    sha256 = hashlib.sha256(data).hexdigest()
    if not data.startswith(MARKS):
        yield from text_parts(decode(data), name, sha256, kinds, bench)
        return
    sheets = 0
    for sheet in read_workbook(data):
        file = f"{name}, sheet {sheet.name}"
        try:
            yield from text_parts(Decoded(sheet.text, _WORKBOOK), file, sha256, kinds, bench, path=name)
            sheets += 1
        except FileError as error:
            if not sheet.is_hidden:
                yield error.not_read(file)
    if not sheets:
        yield NotRead(file=name, why="is a workbook without a sheet that is a log")


def text_parts(
    decoded: Decoded,
    file: str,
    sha256: str,
    kinds: Sequence[LogKind],
    bench: Bench | None,
    *,
    path: str = "",
) -> Iterator[LogPart | NotRead]:
    """Yield the logs of a text, in the order of its sections. FileError where it is none."""
    sections = _sections(decoded.text, kinds)
    for number, text in enumerate(sections):
        try:
            for log in _shaped(text, kinds, bench) or [_Log(recognise(text, kinds, bench))]:
                if isinstance(log, FileError):
                    yield log.not_read(file)
                    continue
                yield LogPart(
                    file=file,
                    sha256=sha256,
                    path=path or file,
                    dialect=decoded.encoding
                    if decoded.encoding == _WORKBOOK
                    else f"{decoded.encoding}, {_SEPARATORS[log.header.separator]}",
                    header=log.header,
                    records=log.records,
                    read_as=log.read_as,
                )
        except FileError as error:
            if len(sections) == 1:
                raise
            yield error.not_read(file, f" (section {number + 1} of {len(sections)})")


def _sections(text: str, kinds: Sequence[LogKind]) -> list[str]:
    """The text cut before each line that is a header; blank lines keep each line's number.

    Only small files are cut, as they are kept by hand.
    """
    if len(text) > _MOST_CHARACTERS_IN_SECTIONS or not text.strip():
        return [text]
    plain = plain_ends(text)
    found: list[tuple[int, int]] = []
    end_of_title, title, last_header = -1, 0, ""
    for match in islice(_WITHOUT_DIGITS.finditer(plain), _MOST_LINES_TRIED):
        line = match[0]
        filled = max(sum(bool(cell.strip()) for cell in line.split(mark)) for mark in SEPARATORS)
        if filled == 1:
            title, end_of_title = match.start(), match.end()
        elif (
            filled >= 3
            and line != last_header
            and any(count_known(line.split(mark), kinds) for mark in SEPARATORS)
        ):
            is_titled = end_of_title >= 0 and not plain[end_of_title : match.start()].strip()
            found.append((match.start(), title if is_titled else match.start()))
            last_header = line
    if len(found) < 2:
        return [text]
    ends = [start for start, _ in found[1:]] + [len(plain)]
    starts = [
        cut
        for (start, cut), end in zip(found, ends, strict=True)
        if _is_header(plain[start:end][:_SAMPLED_OF_SECTION], kinds)
    ]
    if len(starts) < 2 or len(starts) > _MOST_SECTIONS:
        return [text]
    cuts = [0, *starts[1:], len(plain)]
    return ["\n" * plain.count("\n", 0, cut) + plain[cut:end] for cut, end in pairwise(cuts)]


def _is_header(text: str, kinds: Sequence[LogKind]) -> bool:
    try:
        logs = _shaped(text, kinds, None) or [_Log(recognise(text, kinds))]
    except FileError:
        return False
    return any(isinstance(log, _Log) and log.header.first_line == 2 for log in logs)


def _shaped(text: str, kinds: Sequence[LogKind], bench: Bench | None) -> list[_Log | FileError]:
    """The logs of a text that is kept in another shape than one row an entry, none where it is not."""
    sample = plain_ends(text[:_SAMPLED_CHARACTERS])
    for separator in SEPARATORS:
        for record, end in islice(records_and_ends(sample, separator), DEEPEST_HEADER_ROW):
            if not 3 <= len(record.cells) <= MOST_COLUMNS or not count_known(record.cells, kinds):
                continue
            names = {plain_heading(split_unit(cell)[0]) for cell in record.cells}
            exact = [kind for kind in kinds if column_names(kind).are_all_in(names)]
            is_a_log = len(exact) == 1
            if is_a_log and names <= column_names(exact[0]).exact.keys():
                return []
            first_line = sample.count("\n", 0, end) + 1
            below = sample[end:] if len(text) <= _SAMPLED_CHARACTERS else sample[end:].rpartition("\n")[0]
            grid = _grid(record.cells, below, separator, first_line)
            is_cut = len(text) > _SAMPLED_CHARACTERS
            made = reshape(grid, kinds, bench, is_a_log=is_a_log)
            if is_cut and (made or names_logs(grid, kinds)):
                plain = plain_ends(text)
                check_lines(plain)
                grid = _grid(record.cells, plain[end:], separator, first_line)
                made = reshape(grid, kinds, bench, is_a_log=is_a_log)
            if not made:
                if is_a_log:
                    return []
                continue
            return [_log_of(part, of, separator, first_line, bench) for part, of in made]
    return []


def _log_of(
    grid: Grid, kinds: Sequence[LogKind], separator: str, first_line: int, bench: Bench | None
) -> "_Log | FileError":
    if grid.problem:
        return FileError(grid.problem)
    try:
        header = header_of(grid, kinds, separator, bench)
    except FileError as error:
        return FileError(f"{error} (in what was taken for the {listed([kind.name for kind in kinds])} log)")
    return _Log(replace(header, first_line=first_line, below=""), grid.body, grid.read_as)


def _grid(cells: Sequence[str], below: str, separator: str, first_line: int) -> Grid:
    body = read_body(below, separator, len(cells), first_line)
    return Grid(headings=tuple(cell.strip() for cell in cells), body=body)


def _bytes(path: Path) -> bytes:
    try:
        with open(open_regular_file(path, follow_links=True), "rb") as stream:
            before = os.fstat(stream.fileno())
            data = stream.read(LARGEST_FILE_BYTES + 1)
        after = path.stat()
    except OSError as error:
        raise FileError(f"cannot be opened: {error.strerror or error}") from error
    if len(data) > LARGEST_FILE_BYTES:
        raise FileError(f"is larger than {LARGEST_FILE_BYTES // 1024 // 1024} MiB")
    if (before.st_mtime_ns, before.st_size) != (after.st_mtime_ns, after.st_size) or len(
        data
    ) != after.st_size:
        raise FileError("is being written to just now: run again when it is saved")
    return data
