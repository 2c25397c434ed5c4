"""A season from a few lines of bench.toml and CSV, read as the program would."""

import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from types import ModuleType

from benchwater.pipeline import Request, choose_spans, gather, read_workspace
from benchwater.plugin.hooks import Analysis
from benchwater.plugin.season import Season, Span
from benchwater.plugin.section import Section
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
    return import_plugin(path, f"benchwater_plugin_under_test_{path.stem}")
