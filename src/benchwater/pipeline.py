"""From a folder to a Report: read, gather, analyse. Rendering takes the Report from here."""

import os
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from benchwater import __version__
from benchwater.analyse.advice import past_actions, rank_actions
from benchwater.analyse.report import MissingLog, Report
from benchwater.analyse.run import Unread, run_analyses, run_vitals, shown_photos, split_analyses
from benchwater.analyse.spans import (
    SpanError,
    Spans,
    earlier_spans,
    last_day,
    month_spans,
    read_month,
    season_spans,
    trip_spans,
)
from benchwater.ledger.trips import usual_end
from benchwater.plugin.bench import Bench
from benchwater.plugin.hooks import Analysis
from benchwater.plugin.season import Season
from benchwater.plugin_host.load import load_plugins
from benchwater.plugin_host.loaded import LoadedPlugin, Plugins
from benchwater.plugin_host.options import read_options
from benchwater.read.bench_file import FILE_NAME, BenchFile, load_bench
from benchwater.read.folder import read_folder
from benchwater.read.found_bench import bench_from_logs
from benchwater.read.outcome import Reading
from benchwater.read.own_words import with_own_words
from benchwater.read.photos import small_photos, with_photos
from benchwater.supervisor import return_freed_memory
from benchwater.text import did_you_mean, near_names
from benchwater.worker_process import WorkerProcess

if TYPE_CHECKING:
    import pandas as pd

LATE_DAYS = 240


@dataclass(frozen=True, slots=True, kw_only=True)
class Request:
    """The report asked for: a month (`2026-05`), the whole season or a trip of bench.toml.

    Without any of them it is the latest month with rows. `only` names the analyses to run; empty for all.
    `season_ahead` plans the season ahead; a season report of LATE_DAYS or more does so anyway.
    """

    month: str | None = None
    whole_season: bool = False
    trip: str | None = None
    season_ahead: bool = False
    only: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Workspace:
    """A maker's folder as read: its bench, its plugins and its logs."""

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
    """Read everything a folder holds. BenchError where bench.toml is wrong, or missing beside no log.

    Without bench.toml, or where it says how to read the logs and nothing else, the bench is what they name.

    `plugin_files` are plugins that do not lie in the folder, as a test of one has it.
    """
    has_bench = os.path.lexists(folder / FILE_NAME)
    bench_file = load_bench(folder) if has_bench else None
    off = bench_file.plugins_off if bench_file is not None else ()
    plugins = load_plugins(folder if workspace_plugins else None, off, files=plugin_files)
    if bench_file is None:
        bench_file = BenchFile(bench=bench_from_logs(folder, plugins.log_kinds))
    elif not bench_file.names_bench:
        kinds = with_own_words(plugins.log_kinds, bench_file.words)
        bench_file = replace(bench_file, bench=bench_from_logs(folder, kinds))
    options = read_options(
        plugins, bench_file.bench.plugin_options, bench_file.plugin_lines, complete=workspace_plugins
    )
    reading = read_folder(
        folder,
        with_own_words(plugins.log_kinds, bench_file.words),
        bench_file.bench,
        keep_repeats=bench_file.keep_repeats,
        same_as_above=bench_file.same_as_above,
        progress=lambda file: progress(f"Reading {file}"),
    )
    reading = with_photos(folder, reading)
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
    """Gather and analyse the report asked for. SpanError or UnknownAnalysisError if there is none such."""
    spans = choose_spans(workspace, request)
    analyses = _wanted(workspace.plugins, request.only)
    if request.trip is not None:
        analyses = [pair for pair in analyses if {"fishing", "catch"} & set(pair[0].needs)]
    reading, bench = workspace.reading, workspace.bench
    season = gather(reading, bench, spans)
    late = request.whole_season and (spans.season.end - spans.season.start).days >= LATE_DAYS
    if bench.plan.until is None and (request.season_ahead or late):
        bench = replace(bench, plan=replace(bench.plan, until=usual_end(season)))
        season = gather(reading, bench, spans)
    analyses, split_problems = split_analyses(analyses, season)
    return_freed_memory()
    import scipy.optimize  # noqa: F401  # before the fork, so that it is imported once

    worker = WorkerProcess()
    worker.submit(
        lambda: past_actions(analyses, earlier_spans(spans, bench), partial(gather, reading, bench))
    )
    with worker:
        sections = run_analyses(
            analyses,
            season,
            spans.parts,
            unread=Unread(Counter(row.log for row in reading.set_aside), len(reading.not_read)),
            progress=lambda title: progress(f"Analysing: {title}"),
            on_failure=on_failure,
        )
        vitals, problems = run_vitals(analyses, season, spans.season, on_failure=on_failure)
        progress("Comparing with earlier months")
        past = worker.result()
    return Report(
        bench=bench,
        label=spans.label,
        period=spans.period,
        season=spans.season,
        sections=sections,
        actions=rank_actions(sections, bench, spans, past),
        sources=reading.sources,
        set_aside=reading.set_aside,
        repeats=reading.repeats,
        not_read=reading.not_read,
        plugin_problems=workspace.plugins.problems + split_problems + problems,
        version=__version__,
        vitals=vitals,
        cells_set_aside=reading.cells_set_aside,
        read_as=reading.read_as,
        unread_columns=reading.unread_columns,
        missing_logs=tuple(_missing_logs(analyses, season, workspace.plugins)),
        photos=small_photos(workspace.folder, shown_photos(sections)),
    )


def _missing_logs(
    analyses: Sequence[tuple[Analysis, LoadedPlugin]], season: Season, plugins: Plugins
) -> Iterator[MissingLog]:
    for kind in plugins.log_kinds:
        waiting = tuple(analysis.id for analysis, _ in analyses if kind.name in analysis.needs)
        if waiting and not season.holds(kind.name):
            yield MissingLog(log=kind.name, columns=kind.signature, sections=waiting)


def choose_spans(workspace: Workspace, request: Request) -> Spans:
    """Return the spans of the report asked for. SpanError if there is none such."""
    if request.trip is not None:
        return trip_spans(request.trip, workspace.bench)
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


def gather(reading: Reading, bench: Bench, spans: Spans) -> Season:
    """Return the Season of a report: every row before the report's end."""
    span = spans.season
    whole = Season(bench, reading.tables, span.start, span.end)
    logs = {kind: _used_words(whole.before(kind, span.end), table) for kind, table in reading.tables.items()}
    return Season(bench, logs, span.start, span.end, reading.tables_set_aside)


def _used_words(rows: "pd.DataFrame", table: "pd.DataFrame") -> "pd.DataFrame":
    """Some rows of a table, without the categories that its other rows alone hold."""
    if len(rows) == len(table):
        return rows
    words = [name for name in rows.columns if rows[name].dtype == "category"]
    return rows.assign(**{name: rows[name].cat.remove_unused_categories() for name in words})


class UnknownAnalysisError(ValueError):
    """`--only` names an analysis that no plugin provides."""


def _wanted(plugins: Plugins, only: Sequence[str]) -> list[tuple[Analysis, LoadedPlugin]]:
    known = [analysis.id for analysis, _ in plugins.analyses]
    for name in only:
        if name not in known:
            raise UnknownAnalysisError(_why_unknown(name, known, plugins))
    return [pair for pair in plugins.analyses if not only or pair[0].id in only]


def _why_unknown(name: str, known: Sequence[str], plugins: Plugins) -> str:
    if name in plugins.left_out:
        return f"`{name}` is switched off in bench.toml"
    broken = [problem for problem in plugins.problems if Path(problem.name).stem == name]
    if broken or (plugins.problems and not near_names(name, known)):
        whys = [f"{each.name} ({each.origin}) {each.why}" for each in broken or plugins.problems]
        return f"there is no analysis `{name}`: {'; '.join(whys)}"
    return f"there is no analysis `{name}`{did_you_mean(name, known, 'there are: ' + ', '.join(known))}"
