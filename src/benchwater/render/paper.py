"""The sections of a report on paper: the answer, a picture or two, what to do, and one table."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from benchwater.analyse.report import Report, ReportSection, SpanSection
from benchwater.plugin.section import Finding, Section, Status, Table
from benchwater.render.sections import (
    STATUS_WORDS,
    ActionLine,
    Block,
    PhotoBlock,
    counted_kinds,
    figure_block,
    is_shown,
    own_status,
    photo_blocks,
    remaining_advice,
    section_anchors,
    shown_parts,
    span_label,
    table_block,
    told_findings,
)
from benchwater.render.text import sentences
from benchwater.words import listed, shorten, visible

MOST_OF_PERIOD, MOST_OF_SEASON, MOST_ADVISED, MOST_ROWS = 2, 3, 3, 10
_LETTERS_A_LINE, _LINES_OF_A_PICTURE = 66, 14
_LONGEST_NOTE = 170
MOST_PHOTOS_ON_PAPER = 3
_LONGEST_HEAD = 30


@dataclass(frozen=True, slots=True)
class PaperPart:
    """The findings of one span, headline first; `label` and `note` are empty where they add nothing."""

    label: str
    status: Status
    word: str
    note: str
    findings: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PaperSection:
    """One section on paper; `running` is its title, shortened for the head of its pages.

    `more` says what the HTML has besides.
    """

    title: str
    running: str
    anchor: str
    question: str
    status: Status
    word: str
    why: str
    parts: tuple[PaperPart, ...]
    pictures: tuple[Block, ...]
    advice: tuple[ActionLine, ...]
    unsaid: str
    table: Block | None
    photos: tuple[PhotoBlock, ...]
    more: str


def paper_sections(report: Report) -> tuple[PaperSection, ...]:
    """Return the sections as paper shows them."""
    anchors = section_anchors(report.sections)
    return tuple(_paper_section(section, anchors[section.id], report) for section in report.sections)


def _paper_section(section: ReportSection, anchor: str, report: Report) -> PaperSection:
    shown = shown_parts(section) if section.status != "empty" else []
    said = (_paper_part(part, section, told_findings(part, shown)) for part in shown)
    parts = tuple(part for part in said if part.findings or part.note)
    told = _told_by(section)
    unsaid = next((part.section.unsaid for part in reversed(section.parts) if part.section.unsaid), "")
    advice = remaining_advice(section, report)
    most = max(MOST_ADVISED, sum(line.urgent for line in advice))
    beside = [words for part in parts for words in (part.note, *part.findings)]
    beside += [unsaid, *(line.text + line.because for line in advice[:most])]
    figures = told.figures[: 1 if _lines(beside) < 1.4 * _LINES_OF_A_PICTURE else 2]
    table = _needed_table(told, {figure.id.partition(":")[0] for figure in figures})
    left = {
        "finding": len({each.text for part in shown for each in part.section.findings if not each.quiet})
        - sum(len(part.findings) for part in parts),
        "picture": len({figure.id for part in shown for figure in part.section.figures}) - len(figures),
        "table": len({each.id for part in shown for each in part.section.tables if is_shown(each)})
        - (table is not None),
        "thing to do": len(advice[most:]),
    }
    kinds = counted_kinds(left)
    return PaperSection(
        title=section.title,
        running=shorten(visible(section.title), _LONGEST_HEAD),
        anchor=anchor,
        question=section.question,
        status=section.status,
        word=STATUS_WORDS[section.status],
        why=section.why if section.status != "ok" else "",
        parts=parts,
        pictures=tuple(figure_block(figure) for figure in figures),
        advice=advice[:most],
        unsaid=unsaid,
        table=None if table is None else table_block(table, report.bench, _most_rows(table)),
        photos=photo_blocks(section, report)[:MOST_PHOTOS_ON_PAPER],
        more=f"Also in season-report.html: {listed(kinds)}." if kinds else "",
    )


def _lines(paragraphs: list[str]) -> int:
    """Return about how many lines the paragraphs take beside a picture."""
    return sum(math.ceil(len(text) / _LETTERS_A_LINE) for text in paragraphs)


def _paper_part(part: SpanSection, section: ReportSection, told: Sequence[Finding]) -> PaperPart:
    most = MOST_OF_SEASON if part is section.parts[-1] else MOST_OF_PERIOD
    most += MOST_OF_PERIOD if len(section.parts) == 1 else 0
    return PaperPart(
        label=span_label(part, section),
        status=part.section.status,
        word=STATUS_WORDS[part.section.status],
        note=sentences(visible(own_status(part, section)), _LONGEST_NOTE),
        findings=tuple(finding.text for finding in told[:most]),
    )


def _told_by(section: ReportSection) -> Section:
    """Return the part whose pictures and table paper has: the season's, unless only the period's is `ok`."""
    sure = [part.section for part in section.parts if part.section.status == "ok"]
    return (sure or [part.section for part in section.parts])[-1]


def _needed_table(content: Section, drawn: set[str]) -> Table | None:
    """Return the first table that paper may have and that no picture beside it replaces."""
    allowed = [each for each in content.tables if is_shown(each) and each.paper_rows != 0]
    return next((each for each in allowed if each.id not in drawn or len(each.rows) <= MOST_ROWS), None)


def _most_rows(table: Table) -> int:
    """Return how many rows of a table are on paper: a last one is not left out to say that it is."""
    most = min(MOST_ROWS, MOST_ROWS if table.paper_rows is None else table.paper_rows)
    return most + 1 if len(table.rows) == most + 1 else most
