"""What the front page says: what was not read, which advice there is room for, what to write down first."""

import math
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from benchwater.analyse.report import RankedAction, Report, ReportSection
from benchwater.plugin.bench import Bench
from benchwater.read.outcome import SetAside
from benchwater.render.text import sentences
from benchwater.words import counted, listed, shorten, visible

MOST_FIXES, MOST_FILES = 3, 2
LONGEST_BECAUSE, LONGEST_KEPT = 100, 88
MOST_LINES, MOST_KEPT = 21, 3
_USUAL_SECTIONS = 11
_LETTERS_A_LINE, _SMALL_LETTERS_A_LINE, _LETTERS_OF_SINCE = 70, 92, 24
MOST_TO_WRITE = 3
_FEWEST_SECTIONS, _LONGEST_WHY, _FEW_ROWS = 4, 320, 100
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


@dataclass(frozen=True, slots=True)
class FrontAdvice:
    """The actions of the front page, each list in the report's order; `left` counts those to do left out."""

    to_do: tuple[RankedAction, ...]
    holds: tuple[RankedAction, ...]
    mended: tuple[RankedAction, ...]
    left: int


def front_advice(report: Report) -> FrontAdvice:
    """Return what the front page shows of the report's actions.

    Urgent actions come first, then the most valuable of each section, then new ones, then the others.
    """
    to_do = [ranked for ranked in report.actions if ranked.state in ("new", "open")]
    holds, mended = (_of(report, state) for state in ("holds", "mended"))
    room = MOST_LINES - unread(report).lines - _kept_lines(holds) - _kept_lines(mended)
    sections = sum(section.status != "empty" for section in report.sections)
    room -= 2 * max(0, sections - _USUAL_SECTIONS)
    chosen: list[RankedAction] = []
    for ranked in _by_need(to_do):
        lines = _lines(ranked)
        if ranked.action.urgent or lines <= room:
            chosen.append(ranked)
            room -= lines
    shown = tuple(ranked for ranked in to_do if any(ranked is each for each in chosen))
    return FrontAdvice(to_do=shown, holds=holds, mended=mended, left=len(to_do) - len(shown))


def _of(report: Report, state: str) -> tuple[RankedAction, ...]:
    return tuple(ranked for ranked in report.actions if ranked.state == state)[:MOST_KEPT]


def _by_need(to_do: Sequence[RankedAction]) -> list[RankedAction]:
    usual = [ranked for ranked in to_do if not ranked.action.urgent]
    best = {id(ranked) for ranked in {each.section_id: each for each in reversed(usual)}.values()}

    def need(ranked: RankedAction) -> int:
        if ranked.action.urgent:
            return 0
        if id(ranked) in best:
            return 1
        return 2 if ranked.state == "new" else 3

    return sorted(to_do, key=need)


def _kept_lines(kept: Sequence[RankedAction]) -> int:
    texts = (sentences(visible(ranked.action.text), LONGEST_KEPT) for ranked in kept)
    letters = sum(len(text) + _LETTERS_OF_SINCE for text in texts)
    return math.ceil((letters + _LETTERS_OF_SINCE) / _LETTERS_ACROSS) if kept else 0


def _lines(ranked: RankedAction) -> int:
    text = visible(ranked.action.text)
    because = sentences(visible(ranked.action.because), LONGEST_BECAUSE)
    return math.ceil(len(text) / _LETTERS_A_LINE) + math.ceil(len(because) / _SMALL_LETTERS_A_LINE)


@dataclass(frozen=True, slots=True)
class ToWrite:
    """One thing to write down next, and what it unlocks."""

    text: str
    unlocks: str


def is_first(report: Report) -> bool:
    """Return whether the logs hold few rows and most sections are thin or empty.

    A report of a few chosen sections is none.
    """
    rows = sum(source.used for source in report.sources)
    waiting = sum(section.status in ("thin", "empty") for section in report.sections)
    few = rows < _FEW_ROWS and len(report.sections) >= _FEWEST_SECTIONS
    return few and 2 * waiting > len(report.sections)


def next_to_write(report: Report) -> tuple[ToWrite, ...]:
    """Return what to write down next: what unlocks most sections first, thin ones before new logs."""
    titles = {section.id: section.title for section in report.sections}
    questions = {section.id: section.question for section in report.sections}
    found: list[tuple[int, ToWrite]] = []
    for section in report.sections:
        explained = section.status == "thin" or (
            section.status == "empty" and not any(section.id in log.sections for log in report.missing_logs)
        )
        if explained:
            why = sentences(visible(section.why), _LONGEST_WHY)
            found.append((1, ToWrite(text=f"{section.title}: {why}", unlocks=section.question)))
    unread = {row.log for row in report.set_aside}
    for log in report.missing_logs:
        waiting = [section_id for section_id in log.sections if section_id in titles]
        if waiting and log.log not in unread:
            columns = listed(f"`{name}`" for name in log.columns)
            text = f"Start {_a(log.log)} log with the columns {columns}."
            answers = " ".join(questions[section_id] for section_id in waiting[:2])
            unlocks = f"{listed(titles[section_id] for section_id in waiting)}: {answers}"
            found.append((len(waiting), ToWrite(text=text, unlocks=unlocks)))
    found.sort(key=lambda each: -each[0])
    return tuple(each for _, each in found[:MOST_TO_WRITE])


def shows_something(section: ReportSection) -> bool:
    """Return whether a section failed, or has a number other than zero to show."""
    return section.status == "failed" or any(
        each.value and not each.quiet for part in section.parts for each in part.section.findings
    )


def _a(noun: str) -> str:
    return f"{'an' if noun[:1] in 'aeiou' else 'a'} {noun}"
