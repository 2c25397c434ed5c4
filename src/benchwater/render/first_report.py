"""A first report: what the logs show so far, and what to write down next."""

from dataclasses import dataclass

from benchwater.analyse.report import Report, ReportSection
from benchwater.render.text import sentences
from benchwater.words import listed, visible

MOST_TO_WRITE = 3
_FEWEST_SECTIONS, _LONGEST_WHY, _FEW_ROWS = 4, 320, 100


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
