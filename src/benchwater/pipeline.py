"""The straight way, in one place: read, gather, analyse. Rendering takes the Report from here."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from benchwater import __version__
from benchwater.analyse.report import Report
from benchwater.analyse.run import rank_actions
from benchwater.analyse.shared import run_shared
from benchwater.gather.season import gather
from benchwater.gather.spans import SpanError, Spans, last_day, month_spans, read_month, season_spans
from benchwater.plugin.bench import Bench
from benchwater.plugin.hooks import Analysis
from benchwater.plugin_host.load import load_plugins
from benchwater.plugin_host.loaded import LoadedPlugin, Plugins
from benchwater.plugin_host.options import read_options
from benchwater.read.bench_file import load_bench
from benchwater.read.folder import read_folder
from benchwater.read.outcome import Reading
from benchwater.text import did_you_mean


@dataclass(frozen=True, slots=True, kw_only=True)
class Request:
    """What is asked for: a month (`2026-05`), the whole season, or neither for the latest month with rows.

    `only` names the analyses wanted (all when empty).
    """

    month: str | None = None
    whole_season: bool = False
    only: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Workspace:
    """A maker's folder, read: its bench, its plugins and its logs."""

    folder: Path
    bench: Bench
    plugins: Plugins
    reading: Reading


def read_workspace(
    folder: Path,
    *,
    workspace_plugins: bool = True,
    plugin_files: Sequence[Path] = (),
    progress: Callable[[str], None] = lambda step: None,
) -> Workspace:
    """Read everything a folder holds. BenchError where bench.toml is missing or wrong.

    `plugin_files` are plugins that do not lie in the folder, as a test of one has it.
    """
    bench_file = load_bench(folder)
    plugins = load_plugins(folder if workspace_plugins else None, bench_file.plugins_off, files=plugin_files)
    options = read_options(
        plugins, bench_file.bench.plugin_options, bench_file.plugin_lines, complete=workspace_plugins
    )
    reading = read_folder(
        folder,
        plugins.log_kinds,
        bench_file.bench,
        keep_repeats=bench_file.keep_repeats,
        progress=lambda file: progress(f"Reading {file}"),
    )
    bench = replace(
        bench_file.bench,
        fallbacks=bench_file.bench.fallbacks + reading.fallbacks,
        plugin_options=options,
    )
    plugins = plugins.with_check_problems(reading.check_problems)
    return Workspace(folder=folder, bench=bench, plugins=plugins, reading=reading)


def make_report(
    workspace: Workspace,
    request: Request,
    *,
    progress: Callable[[str], None] = lambda step: None,
    on_failure: Callable[[str, str], None] = lambda analysis, trace: None,
) -> Report:
    """Gather and analyse what is asked for. SpanError or UnknownAnalysisError where that makes no sense."""
    spans = choose_spans(workspace, request)
    analyses = _wanted(workspace.plugins, request.only)
    season = gather(workspace.reading, workspace.bench, spans)
    analysed = run_shared(
        analyses,
        season,
        spans.parts,
        spans.season,
        progress=lambda title: progress(f"Analysing: {title}"),
        on_failure=on_failure,
    )
    reading = workspace.reading
    return Report(
        bench=workspace.bench,
        label=spans.label,
        period=spans.period,
        season=spans.season,
        sections=analysed.sections,
        actions=rank_actions(analysed.sections, workspace.bench),
        sources=reading.sources,
        set_aside=reading.set_aside,
        repeats=reading.repeats,
        not_read=reading.not_read,
        plugin_problems=workspace.plugins.problems + analysed.problems,
        version=__version__,
        vitals=analysed.vitals,
    )


def choose_spans(workspace: Workspace, request: Request) -> Spans:
    """The spans of the report asked for."""
    if request.month is not None and not request.whole_season:
        return month_spans(read_month(request.month), workspace.bench)
    latest = last_day(workspace.reading.tables)
    if request.month is not None:
        latest = read_month(request.month)
    if latest is None:
        raise SpanError(
            "the logs hold no rows yet, so there is no latest month: name one with --month 2026-05"
        )
    if request.whole_season:
        return season_spans(latest, workspace.bench)
    return month_spans(latest.replace(day=1), workspace.bench)


class UnknownAnalysisError(ValueError):
    """`--only` names an analysis that no plugin brings."""


def _wanted(plugins: Plugins, only: Sequence[str]) -> list[tuple[Analysis, LoadedPlugin]]:
    known = [analysis.id for analysis, _ in plugins.analyses]
    for name in only:
        if name not in known:
            hint = did_you_mean(name, known, f"there are: {', '.join(known)}")
            raise UnknownAnalysisError(f"there is no analysis `{name}`{hint}")
    return [pair for pair in plugins.analyses if not only or pair[0].id in only]
