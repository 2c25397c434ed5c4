"""Reads every log below a maker's folder, and accounts for every file and row."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from benchwater.plugin.bench import Bench
from benchwater.plugin.logs import LogKind
from benchwater.read.log_parts import LogPart, log_parts
from benchwater.read.outcome import FileError, NotRead, ReadAs, Reading, SetAside, Source, UnreadColumn
from benchwater.read.prepare import fill_same_as_above, without_finished_baits
from benchwater.read.rows import ReadRows, read_rows
from benchwater.read.tables import build_tables, take_repeats
from benchwater.read.vocabulary import everyday_key
from benchwater.words import counted, listed

if TYPE_CHECKING:
    import pandas as pd

_FAR_AHEAD = np.timedelta64(400, "D")
_MOST_FAR_AHEAD = 3


class _ReadPart(NamedTuple):
    part: LogPart
    content: ReadRows
    question: str


def read_folder(
    folder: Path,
    kinds: Sequence[LogKind],
    bench: Bench,
    *,
    keep_repeats: Sequence[str] = (),
    same_as_above: Sequence[str] = (),
    progress: Callable[[str], None] = lambda file: None,
) -> Reading:
    """Read every log below the folder. Never raises for what a file holds: each is listed with its reason.

    `keep_repeats` names files whose rows are all meant, though another file holds the same ones; `*` is
    every file. `same_as_above` names files where a blank day or name is that of the row above.
    """
    files: list[_ReadPart] = []
    not_read: list[NotRead] = []
    for found in log_parts(folder, kinds, bench, progress=progress):
        if isinstance(found, NotRead):
            not_read.append(found)
            continue
        try:
            blanks = found.file in same_as_above or "*" in same_as_above
            filled = fill_same_as_above(found.header, found.body(), found.file, blanks=blanks)
            whole = replace(found.without_records(), read_as=found.read_as + filled.read_as)
            files += [
                _ReadPart(part, read_rows(part.file, part.header, body, bench), filled.question)
                for part, body in without_finished_baits(whole, filled.body, kinds, bench)
            ]
        except FileError as error:
            not_read.append(error.not_read(found.file))
    unique, repeats = take_repeats([read.content for read in files], keep_repeats)
    cells: list[SetAside] = []
    sources = []
    for (part, content, _), kept in zip(files, unique, strict=True):
        lines = frozenset(kept.lines.tolist() if content.cells_set_aside else ())
        in_rows_that_count = [cell for cell in content.cells_set_aside if cell.line in lines]
        cells += in_rows_that_count
        sources.append(
            Source(
                file=part.file,
                path=part.path,
                sha256=part.sha256,
                log=part.log,
                rows=len(content.lines) + len(content.set_aside),
                used=len(kept.lines),
                repeated=len(content.lines) - len(kept.lines),
                set_aside=len(content.set_aside),
                cells_set_aside=len(in_rows_that_count),
                dialect=part.dialect,
            )
        )
    tables = build_tables(kinds, unique)
    return Reading(
        tables=tables,
        sources=tuple(sources),
        set_aside=tuple(entry for read in files for entry in read.content.set_aside),
        cells_set_aside=tuple(cells),
        repeats=repeats,
        not_read=tuple(not_read),
        fallbacks=tuple(sorted({text for read in files for text in read.content.fallbacks})),
        check_problems=tuple(
            read.content.check_problem for read in files if read.content.check_problem is not None
        ),
        read_as=tuple(
            ReadAs(file=read.part.file, written=written, read_as=taken_for)
            for read in files
            for written, taken_for in dict.fromkeys(
                (*read.part.read_as, *read.part.header.read_as, *read.content.words_taken)
            )
        ),
        questions=(
            *dict.fromkeys(read.question for read in files if read.question),
            *_far_ahead(tables),
            *_short_names(kinds, tables),
        ),
        unread_columns=tuple(
            dict.fromkeys(
                UnreadColumn(
                    file=read.part.file, column=each.written, may_be=each.may_be, could_be=each.could_be
                )
                for read in files
                for each in read.part.header.headings
                if each.column is None and each.text
            )
        ),
    )


def _far_ahead(tables: Mapping[str, "pd.DataFrame"]) -> Iterator[str]:
    """Ask about a few rows dated more than a year after all others."""
    dates = [table["date"].to_numpy("datetime64[D]") for table in tables.values()]
    days = np.sort(np.concatenate(dates)) if dates else np.empty(0, "datetime64[D]")
    far = np.flatnonzero(np.diff(days) > _FAR_AHEAD)
    if not far.size or len(days) - far[-1] - 1 > _MOST_FAR_AHEAD:
        return
    before, first = days[far[-1]], days[far[-1] + 1]
    for table in tables.values():
        for row in table[table["date"] >= first].itertuples():
            yield (
                f"{row.file}, line {row.line} is dated {row.date:%Y-%m-%d}, long after every other row "
                f"(the latest of those is of {before}): is the year right?"
            )


def _short_names(kinds: Sequence[LogKind], tables: Mapping[str, "pd.DataFrame"]) -> Iterator[str]:
    """Ask about a name that others of the log hold with a word more: `perch` beside `yellow perch`."""
    for kind in kinds:
        for column in kind.columns:
            if column.kind != "name" or not column.word_phrases:
                continue
            rows = tables[kind.name][column.frame_name].dropna().astype("str").value_counts().sort_index()
            words = {name: set(everyday_key(str(name)).split()) for name in rows.index}
            for name, own in words.items():
                longer = [each for each in words if own < words[each]]
                if not longer:
                    continue
                count, others = int(rows[name]), listed([f"`{each}`" for each in longer])
                same = f'put `"{name}" = "{longer[0]}"` under [words.values] in bench.toml'
                yield (
                    f"{counted(count, 'row')} of the {kind.name} log {'names' if count == 1 else 'name'} the "
                    f"{column.name} `{name}`, and {int(rows[longer].sum())} {others}: is it the same? Then "
                    f"{same if len(longer) == 1 else 'write which'}"
                )
