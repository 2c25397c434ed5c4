"""Look up parts of a section, and check that it keeps the contract."""

import re
from collections.abc import Iterator

from benchwater.plugin.section import Finding, Section, Table
from benchwater.plugin.section_check import section_faults

_SOURCE = re.compile(r"\b(1[5-9]|20)[0-9]{2}\b|\bno (published )?source\b|\bas written\b", re.IGNORECASE)


def finding(section: Section, id: str, group: str | None = None) -> Finding:
    """Return the one finding of that id (and group, if given)."""
    found = [entry for entry in section.findings if entry.id == id and group in {None, entry.group}]
    assert len(found) == 1, (
        f"{len(found)} findings {id!r} for group {group!r} in {[f.id for f in section.findings]}"
    )
    return found[0]


def table(section: Section, id: str) -> Table:
    """Return the table of that id."""
    return next(entry for entry in section.tables if entry.id == id)


def records(section: Section, id: str) -> list[dict[str, object]]:
    """Return the rows of a table as dictionaries by column name."""
    found = table(section, id)
    names = [column.name for column in found.columns]
    return [dict(zip(names, row, strict=True)) for row in found.rows]


def check_section(section: Section) -> None:
    """Check that a section keeps the contract; AssertionError lists every fault.

    What the host checks: numbers finite (missing ones None), within their intervals, in canonical units; ids
    of findings, tables, figures and actions once each; plain cells under columns of different names; SVG.
    And what it leaves to the author: whole sentences, a figure's `alt`, a reason for each action, a source
    among the methods (a year, or the words `no source` or, for plain counts, `as written`).
    """
    wrong = [*section_faults(section), *_words(section)]
    assert not wrong, "\n".join(wrong)


def _words(section: Section) -> Iterator[str]:
    if section.status != "ok" and not _is_sentence(section.why):
        yield f"a section that is {section.status!r} must say why in a whole sentence, not {section.why!r}"
    if section.unsaid and not _is_sentence(section.unsaid):
        yield f"what the data cannot say must be a whole sentence, not {section.unsaid!r}"
    for entry in section.findings:
        if not _is_sentence(entry.text):
            yield f"finding {entry.id!r}: its text is no whole sentence: {entry.text!r}"
    for figure in section.figures:
        if not _is_sentence(figure.alt):
            yield f"figure {figure.id!r}: its alt is no whole sentence: {figure.alt!r}"
    for action in section.actions:
        if not action.text.strip() or not action.because.strip():
            yield f"action {action.id!r} must say what to do, and why"
    holds_numbers = section.findings or section.tables or section.figures
    if section.status == "empty" or not holds_numbers:
        return
    if not any(_SOURCE.search(method) for method in section.methods):
        yield (
            "no method names its source: author and year, or `common practice, no source`, "
            "or for plain counts `as written`"
        )


def _is_sentence(text: str) -> bool:
    return text.strip().endswith((".", "!", "?"))
