"""The test kit for plugin authors: a season from a few lines of bench.toml and CSV, and checks on a section.

`benchwater.testing.pytest_plugin` offers the fixture `run_report`, which makes a whole report.
"""

import re
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from types import ModuleType

from benchwater.pipeline import Request, choose_spans, gather, read_workspace
from benchwater.plugin.hooks import Analysis
from benchwater.plugin.season import Season, Span
from benchwater.plugin.section import Finding, Section, Table
from benchwater.plugin.section_check import section_faults
from benchwater.plugin_host.places import import_plugin


@dataclass(frozen=True, slots=True, kw_only=True)
class MadeSeason:
    """A season read from texts, the spans that a report would cover, and the analyses by id."""

    season: Season
    period: Span
    whole: Span
    analyses: Mapping[str, Analysis] = field(default_factory=dict)

    def section(self, analysis: str, span: Span | None = None) -> Section:
        """Return the section of an analysis for a span (default: the period); what it raises is raised."""
        return self.analyses[analysis].analyse(self.season, span or self.period)


def make_season(
    bench: str,
    logs: Mapping[str, str],
    month: str | None = None,
    *,
    plugins: Sequence[Path] = (),
    rows_may_be_set_aside: bool = False,
) -> MadeSeason:
    """Read `bench` (a bench.toml) and `logs` (file name to CSV text) as the program would.

    `month` is the report's month (default: the latest with rows). `plugins` are files or folders of the
    plugins under test: their logs are read, and their options come from `bench`. AssertionError if a row is
    set aside (unless `rows_may_be_set_aside`), a file is not read or one of `plugins` is refused: a test's
    own data must be clean.
    """
    with tempfile.TemporaryDirectory() as folder:
        for name, text in {"bench.toml": bench, **logs}.items():
            path = Path(folder, name)
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(text, encoding="utf-8")
        workspace = read_workspace(Path(folder), workspace_plugins=False, plugin_files=plugins)
    refused = [problem for problem in workspace.plugins.problems if problem.origin == "workspace"]
    faults = [
        *refused,
        *(() if rows_may_be_set_aside else workspace.reading.set_aside),
        *workspace.reading.cells_set_aside,
        *workspace.reading.not_read,
    ]
    assert not faults, faults
    spans = choose_spans(workspace, Request(month=month))
    season = gather(workspace.reading, workspace.bench, spans)
    analyses = {analysis.id: analysis for analysis, _ in workspace.plugins.analyses}
    return MadeSeason(season=season, period=spans.period, whole=spans.season, analyses=analyses)


def plugin_file(path: Path) -> ModuleType:
    """Import a plugin's file or folder afresh, as the host does, and return the module."""
    place = re.sub(r"\W", "_", path.resolve().as_posix())
    return import_plugin(path, f"benchwater_plugin_under_test{place}")


__all__ = ["MadeSeason", "check_section", "finding", "make_season", "plugin_file", "records", "table"]


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
