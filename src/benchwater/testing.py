"""For whoever writes a plugin: a season from a few lines of bench.toml and CSV, and checks on a section."""

import importlib.util
import sys
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType

from benchwater.gather.season import gather
from benchwater.pipeline import Request, choose_spans, read_workspace
from benchwater.plugin.season import Season, Span
from benchwater.plugin.section import Finding, Section, Table


@dataclass(frozen=True, slots=True, kw_only=True)
class MadeSeason:
    """A season read from texts, with the spans that a report would look at."""

    season: Season
    period: Span
    whole: Span


def make_season(bench: str, logs: Mapping[str, str], month: str | None = None) -> MadeSeason:
    """Read `bench` (a bench.toml) and `logs` (file name to CSV text) as the program would.

    `month` is the report's month, left out for the latest with rows. AssertionError where a row is set
    aside or a file is not read: a test's own data must be clean.
    """
    with tempfile.TemporaryDirectory() as folder:
        for name, text in {"bench.toml": bench, **logs}.items():
            path = Path(folder, name)
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(text, encoding="utf-8")
        workspace = read_workspace(Path(folder), workspace_plugins=False)
    spoilt = [*workspace.reading.set_aside, *workspace.reading.not_read]
    assert not spoilt, spoilt
    spans = choose_spans(workspace, Request(month=month))
    season = gather(workspace.reading, workspace.bench, spans)
    return MadeSeason(season=season, period=spans.period, whole=spans.season)


def plugin_file(path: Path) -> ModuleType:
    """The module of a plugin's file, imported afresh as the host would."""
    spec = importlib.util.spec_from_file_location(f"benchwater_plugin_under_test_{path.stem}", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[module.__name__] = module
    spec.loader.exec_module(module)
    return module


def finding(section: Section, id: str, group: str | None = None) -> Finding:
    """The one finding of that id (and group, where given)."""
    found = [entry for entry in section.findings if entry.id == id and group in {None, entry.group}]
    assert len(found) == 1, (
        f"{len(found)} findings {id!r} for group {group!r} in {[f.id for f in section.findings]}"
    )
    return found[0]


def table(section: Section, id: str) -> Table:
    """The table of that id."""
    return next(entry for entry in section.tables if entry.id == id)


def records(section: Section, id: str) -> list[dict[str, object]]:
    """The rows of a table as dictionaries by column name."""
    found = table(section, id)
    names = [column.name for column in found.columns]
    return [dict(zip(names, row, strict=True)) for row in found.rows]
