"""Write the reports that are owed, each in its own guard, and record those that `report` writes by hand."""

import time
import traceback
from collections.abc import Callable, Generator, Iterator, Sequence
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

from benchwater.analyse.report import Report
from benchwater.files import BeingWrittenError, only_writer
from benchwater.pipeline import Request, Workspace, make_report, read_workspace
from benchwater.plugin.hooks import ReportWritten
from benchwater.plugin_host.loaded import PluginProblem
from benchwater.render.write import Written, write_report
from benchwater.schedule.manifest import (
    NAME,
    Inputs,
    MadeFrom,
    Manifest,
    Period,
    Scan,
    WrittenReport,
    hash_bench_and_plugins,
    hash_inputs,
    read_manifest,
    write_manifest,
)
from benchwater.schedule.owed import made_from, scan_folder, states
from benchwater.schedule.periods import periods_with_rows, with_digests
from benchwater.words import visible

_PAUSE_S = 0.5
_MOST_PAUSES = 1_200
Progress = Callable[[str], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Done:
    """What became of one report that was owed.

    `files` are those written; `set_aside` counts the rows of the logs that could not be used; `problems` are
    for the maker; `error` is set if nothing could be written; `traces` are for `--debug`.
    """

    label: str
    why: str
    files: tuple[Path, ...] = ()
    set_aside: int = 0
    problems: tuple[str, ...] = ()
    error: Exception | None = None
    traces: tuple[str, ...] = ()

    @property
    def clean(self) -> bool:
        return self.error is None and not self.problems


@dataclass(frozen=True, slots=True, kw_only=True)
class Made:
    """A report just made and written."""

    files: tuple[Path, ...]
    printed: bool
    set_aside: int = 0
    failed: tuple[str, ...] = ()
    problems: tuple[str, ...] = ()
    traces: tuple[str, ...] = ()


Maker = Callable[[Workspace, Period, Path, Progress], Made]


def make_one(workspace: Workspace, period: Period, out: Path, progress: Progress) -> Made:
    """Make the report of one period and write it. A section or plugin that fails is in the result."""
    traces: list[str] = []
    report = make_report(
        workspace,
        Request(month=period.month, whole_season=period.whole_season),
        progress=progress,
        on_failure=lambda analysis, trace: traces.append(trace),
    )
    written = write_report(report, out, workspace=workspace.folder, progress=progress)
    problems = [problem.sentence for problem in report.plugin_problems]
    problems += [f"{each.id} failed. {each.why}" for each in report.sections if each.status == "failed"]
    return Made(
        files=written.files,
        printed=not written.problem,
        set_aside=len(report.set_aside),
        failed=report.failures,
        problems=(*problems, *filter(None, [written.problem])),
        traces=(*(problem.detail for problem in report.plugin_problems if problem.detail), *traces),
    )


def catch_up(
    folder: Path,
    out: Path,
    today: date,
    *,
    workspace_plugins: bool = True,
    progress: Progress = lambda step: None,
    make: Maker = make_one,
) -> Generator[Done, None, None]:
    """Write what is owed, in order of the periods' ends, and record each report as soon as it is written.

    BenchError if bench.toml cannot be used. Another run is waited for; BeingWrittenError if it is not done
    after ten minutes. A report that cannot be written stays owed, and the others are still written.
    """
    out.mkdir(parents=True, exist_ok=True)
    with _only_run(out, progress):
        manifest = read_manifest(out)
        inputs = hash_inputs(folder, workspace_plugins=workspace_plugins)
        scan, workspace = scan_folder(
            folder, manifest, inputs=inputs, workspace_plugins=workspace_plugins, progress=progress
        )

        def read() -> Workspace:
            nonlocal workspace
            workspace = workspace or read_workspace(
                folder, workspace_plugins=workspace_plugins, progress=progress
            )
            return workspace

        run = _Run(out, scan, manifest, read)
        unprinted = any(not report.printed for report in manifest.reports.values())
        can_print = unprinted and _can_print()
        found = states(scan, manifest.reports, out, today, can_print=can_print, unreadable=inputs.unreadable)
        for state in found:
            if state.kept:
                yield Done(label=state.label, why="", problems=(visible(state.kept),))
                continue
            if state.period is not None and state.owed:
                done = run.write(state.period, state.owed, make, progress)
                yield done
                if done.error is not None:
                    continue
            if state.period is not None and (state.owed or state.to_hand_on):
                handed_on = run.hand_on(state.label)
                if not handed_on.clean:
                    yield handed_on
        run.save()


@contextmanager
def _only_run(out: Path, progress: Progress) -> Iterator[None]:
    """Hold the lock of the reports' folder; wait while another run holds it."""
    with ExitStack() as held:
        for left in reversed(range(_MOST_PAUSES)):
            try:
                held.enter_context(only_writer(out))
                break
            except BeingWrittenError:
                if not left:
                    raise
                progress("Waiting for another run to be done")
                time.sleep(_PAUSE_S)
        yield


def hand_on(
    workspace: Workspace, out: Path, label: str, files: Sequence[Path], *, failed: bool
) -> tuple[PluginProblem, ...]:
    """Hand a report that is in place to the plugins; return what went wrong, for each that refused it."""
    report = ReportWritten(
        label=label, workspace=workspace.folder, folder=out / label, files=tuple(files), failed=failed
    )
    return workspace.plugins.hand_on(report, workspace.bench.plugin_options)


class _Run:
    """One run of `catch_up`: writes reports, hands them to the plugins and keeps the manifest."""

    def __init__(self, out: Path, scan: Scan, saved: Manifest, read: Callable[[], Workspace]) -> None:
        """`saved` is the manifest as it is on disk; `read` returns the workspace, read at the first call."""
        self._out, self._scan, self._saved, self._read = out, scan, saved, read
        self._reports = dict(saved.reports)

    def write(self, period: Period, why: str, make: Maker, progress: Progress) -> Done:
        """Make one report and record it."""
        try:
            made = make(self._read(), period, self._out, lambda step: progress(f"{period.label}: {step}"))
            self._reports[period.label] = WrittenReport(
                made_from=made_from(period, self._scan.inputs),
                files=tuple(path.name for path in made.files),
                printed=made.printed,
                failed=made.failed,
                handed_on=False,
            )
            self.save()
        except Exception as error:
            return Done(label=period.label, why=why, error=error, traces=(traceback.format_exc(),))
        return Done(
            label=period.label,
            why=why,
            files=made.files,
            set_aside=made.set_aside,
            problems=made.problems,
            traces=made.traces,
        )

    def hand_on(self, label: str) -> Done:
        """Hand a report that is in place to the plugins; `problems` has one for each that refused it."""
        report = self._reports[label]
        files = [self._out / label / name for name in report.files]
        try:
            refusals = hand_on(self._read(), self._out, label, files, failed=bool(report.failed))
            self._reports[label] = replace(report, handed_on=not refusals)
            self.save()
        except Exception as error:
            return Done(label=label, why="", error=error, traces=(traceback.format_exc(),))
        problems = tuple(each.sentence for each in refusals)
        return Done(label=label, why="", problems=problems, traces=tuple(each.detail for each in refusals))

    def save(self) -> None:
        """Write the manifest if it differs from the one on disk."""
        manifest = Manifest(scan=self._scan, reports=dict(self._reports))
        if manifest != self._saved or not (self._out / NAME).exists():
            write_manifest(self._out, manifest)
            self._saved = manifest


def _can_print() -> bool:
    from benchwater.render.pdf import PrintingUnavailable, weasyprint

    try:
        weasyprint()
    except PrintingUnavailable:
        return False
    return True


@dataclass(frozen=True, slots=True, kw_only=True)
class ManualReports:
    """The reports that one run of `report` writes into `out`, from `inputs` hashed before it read anything.

    Both are None if the reports go to a folder of the maker's choice: `due` does not know of those.
    """

    workspace_plugins: bool
    inputs: Inputs | None = None
    out: Path | None = None

    @contextmanager
    def overwriting(self, label: str) -> Iterator[Callable[[Workspace, Report, Written, bool], None]]:
        """Lock the reports, forget what the old one was made from, and yield a function that records the new.

        The function takes the workspace, the report, its files, and whether all plugins accepted it. While
        another run holds the lock, nothing is forgotten or recorded, and this one does not wait.
        """
        with ExitStack() as held:
            out = self.out
            if out is not None:
                try:
                    out.mkdir(parents=True, exist_ok=True)
                    held.enter_context(only_writer(out))
                except (OSError, BeingWrittenError):
                    out = None
                else:
                    _record(out, label, None)

            def record(workspace: Workspace, report: Report, written: Written, handed_on: bool) -> None:
                source = self._made_from(workspace, report)
                if out is None or source is None:
                    return
                entry = WrittenReport(
                    made_from=source,
                    files=tuple(path.name for path in written.files),
                    printed=not written.problem,
                    failed=report.failures,
                    handed_on=handed_on,
                )
                with suppress(OSError):  # then `due` writes the report again
                    _record(out, label, entry)

            yield record

    def _made_from(self, workspace: Workspace, report: Report) -> MadeFrom | None:
        """Return what the report was made from, or None if `due` would cover other days under its label."""
        if self.inputs is None:
            return None
        bench, reading = workspace.bench, workspace.reading
        period = next((p for p in periods_with_rows(reading.tables, bench) if p.label == report.label), None)
        if period is None or period.rows_until != report.season.end:
            return None
        (period,) = with_digests((period,), workspace.folder, reading)
        now = hash_bench_and_plugins(workspace.folder, workspace_plugins=self.workspace_plugins)
        return made_from(period, self.inputs.mark_changes(now))


def manual_reports(folder: Path, out: Path | None, *, workspace_plugins: bool) -> ManualReports:
    """Hash the inputs; call it before anything is read. `out` is the maker's choice of folder, if any."""
    usual = folder / "reports"
    if out is not None and out.resolve() != usual.resolve():
        return ManualReports(workspace_plugins=workspace_plugins)
    inputs = hash_bench_and_plugins(folder, workspace_plugins=workspace_plugins)
    return ManualReports(workspace_plugins=workspace_plugins, inputs=inputs, out=usual)


def _record(out: Path, label: str, report: WrittenReport | None) -> None:
    before = read_manifest(out)
    others = {name: each for name, each in before.reports.items() if name != label}
    reports = others if report is None else {**others, label: report}
    if reports != before.reports:
        write_manifest(out, Manifest(scan=before.scan, reports=reports))
