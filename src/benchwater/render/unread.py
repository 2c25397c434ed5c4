"""What the logs hold and the report does not count: files, rows, cells, columns; what to mend first."""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from benchwater.analyse.report import Report
from benchwater.plugin.bench import Bench
from benchwater.read.outcome import SetAside
from benchwater.words import counted, listed, shorten, visible

MOST_FIXES, MOST_FILES = 3, 2
_LONGEST_VALUE, _LONGEST_FILE, _LETTERS_ACROSS = 24, 40, 104
_PIECES = {
    "pour": ("casting", ""),
    "finishing": ("piece", ""),
    "fishing": ("bait", ""),
    "catch": ("fish", "fish"),
}
_ONE_FIX = frozenset(("date", "date_order", "missing", "open_quote", "too_many_cells"))


@dataclass(frozen=True, slots=True)
class Unread:
    """The top of page one: `files` are lines on files refused whole, `rows` says what is set aside.

    `fixes` are what to mend first: what brings back most comes first.
    """

    files: tuple[str, ...]
    rows: str
    fixes: tuple[str, ...]

    @property
    def lines(self) -> int:
        """About how many printed lines it takes."""
        letters = len(self.rows) + sum(map(len, self.fixes))
        return len(self.files) + -(-letters // _LETTERS_ACROSS)


def unread(report: Report) -> Unread:
    """Return what page one says first: nothing where everything was read."""
    files = [
        f"No row of {_name(each.file)} was read: it {visible(each.why)}."
        for each in report.not_read[:MOST_FILES]
    ]
    left = len(report.not_read) - MOST_FILES
    if left > 0:
        files.append(f"{counted(left, 'more file was', 'more files were')} not read: see the appendix.")
    return Unread(files=tuple(files), rows=_rows(report), fixes=tuple(_fixes(report)))


def _rows(report: Report) -> str:
    rows, cells = len(report.set_aside), len(report.cells_set_aside)
    questions = sum(bool(each.may_be) for each in report.unread_columns)
    parts = []
    if rows:
        carried = _carried(report.set_aside, report.bench)
        parts.append(
            f"{counted(rows, 'row')} could not be read and {'count' if rows > 1 else 'counts'} nowhere"
            + (f" ({carried}, as far as they say)" if carried else "")
        )
    if cells:
        are = "are" if cells > 1 else "is"
        parts.append(f"{counted(cells, 'cell')} in {'other ' if rows else ''}rows {are} unknown")
    named = [each.column for each in report.unread_columns if each.could_be and not each.may_be]
    if named:
        columns = listed([f"“{shorten(visible(name), _LONGEST_VALUE)}”" for name in named], MOST_FIXES)
        parts.append(f"{columns} {'are columns' if len(named) > 1 else 'is a column'} not read")
    if questions:
        parts.append(f"{counted(questions, 'column was', 'columns were')} not understood")
    return f"{'; '.join(parts)}." if parts else ""


def _carried(entries: Sequence[SetAside], bench: Bench) -> str:
    """Return `12 castings, 3 baits and 2.2 lb`: what rows set aside hold, as far as they can be read."""
    pieces: defaultdict[str, int] = defaultdict(int)
    amounts: defaultdict[str, float] = defaultdict(float)
    for entry in entries:
        if entry.amount is not None and entry.unit:
            amounts[entry.unit] += entry.amount
        elif entry.amount is not None and entry.log in _PIECES:
            pieces[entry.log] += round(entry.amount)
    said = [counted(pieces[log], *_PIECES[log]) for log in _PIECES if pieces[log] > 0]
    return listed(said + [bench.show(amount, unit) for unit, amount in sorted(amounts.items()) if amount > 0])


def _fixes(report: Report) -> Iterator[str]:
    """Yield what to mend, what concerns most rows first."""
    groups: defaultdict[tuple[str, ...], list[SetAside]] = defaultdict(list)
    for what, entries in (("row", report.set_aside), ("cell", report.cells_set_aside)):
        for entry in entries:
            if entry.reason != "totals":
                alike = "" if entry.reason in _ONE_FIX else entry.value
                groups[what, entry.log, entry.column, entry.reason, alike].append(entry)
    used = {source.file: source.used for source in report.sources}
    found = [
        (len(group), sum(entry.amount or 0 for entry in group), _fix(what, group, report.bench))
        for (what, *_), group in groups.items()
    ]
    found += [(used.get(each.file, 0), 0.0, each.question) for each in report.unread_columns if each.may_be]
    for *_, words in sorted(found, key=lambda each: (-each[0], -each[1]))[:MOST_FIXES]:
        yield words


def _fix(what: str, group: Sequence[SetAside], bench: Bench) -> str:
    first = group[0]
    value = shorten(visible(first.value).replace("`", ""), _LONGEST_VALUE)
    written = f"`{value}`" if value else "a blank cell"
    others = len({entry.value for entry in group}) - 1
    if len(group) == 1:
        return f"{written} ({_name(first.file)}, line {first.line})"
    carried = _carried(group, bench) if what == "row" else ""
    more = f" and {others} more like it" if others else ""
    column = f" in column {shorten(visible(first.column), _LONGEST_VALUE)}" if first.column else ""
    return f"{written}{more}{column} ({counted(len(group), what)}{f', {carried}' if carried else ''})"


def _name(file: str) -> str:
    return shorten(visible(file.rpartition("/")[2]), _LONGEST_FILE)
