"""Write every report that is owed, one after the other, each in its own guard."""

import contextlib
import io
import time
import traceback
from collections.abc import Callable, Generator, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from benchwater.files import BeingWrittenError, only_writer
from benchwater.render.write import write_report
from benchwater.schedule.manifest import (
    NAME,
    Manifest,
    Period,
    Scan,
    WrittenReport,
    read_manifest,
    write_manifest,
)
from benchwater.schedule.owed import State, made_from, states
from benchwater.schedule.scan import hash_inputs, scan_folder
from benchwater.words import visible

if TYPE_CHECKING:
    from benchwater.pipeline import Workspace

_PAUSE_S = 0.5
_MOST_PAUSES = 1_200


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
        """Whether all of it went well."""
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


Maker = Callable[["Workspace", Period, Path, Callable[[str], None]], Made]


def make_one(workspace: "Workspace", period: Period, out: Path, progress: Callable[[str], None]) -> Made:
    """Make the report of one period and write it. A section or plugin that fails is in the result."""
    from benchwater.pipeline import Request, make_report

    traces: list[str] = []
    report = make_report(
        workspace,
        Request(month=period.month, whole_season=period.whole_season),
        progress=progress,
        on_failure=lambda analysis, trace: traces.append(trace),
    )
    written = write_report(report, out, workspace=workspace.folder, progress=progress)
    refused = report.plugin_problems
    problems = [f"Plugin {problem.name} ({problem.origin}) {problem.why}" for problem in refused]
    problems += [f"{each.id} failed. {each.why}" for each in report.sections if each.status == "failed"]
    if written.problem:
        problems.append(written.problem)
    return Made(
        files=written.files,
        printed=not written.problem,
        set_aside=len(report.set_aside),
        failed=report.failures,
        problems=tuple(problems),
        traces=tuple([problem.detail for problem in refused if problem.detail] + traces),
    )


def catch_up(
    folder: Path,
    out: Path,
    today: date,
    *,
    workspace_plugins: bool = True,
    progress: Callable[[str], None] = lambda step: None,
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
        run = _Run(
            folder=folder,
            out=out,
            scan=scan,
            saved=manifest,
            reports=dict(manifest.reports),
            workspace=workspace,
            workspace_plugins=workspace_plugins,
            progress=progress,
            make=make,
        )
        unprinted = any(not report.printed for report in manifest.reports.values())
        can_print = unprinted and _can_print()
        found = states(scan, manifest.reports, out, today, can_print=can_print, unreadable=inputs.unreadable)
        for state in found:
            if state.kept:
                yield Done(label=state.label, why="", problems=(visible(state.kept),))
            elif state.period is not None and state.owed:
                yield run.write(state.period, state.owed)
            elif state.period is not None and state.to_hand_on:
                yield from run.hand_on_again(state)
        run.save()


@contextmanager
def _only_run(out: Path, progress: Callable[[str], None]) -> Iterator[None]:
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


@dataclass(kw_only=True)
class _Run:
    """One run of `catch_up`. `saved` is the manifest as it is on disk, `reports` what it is to hold."""

    folder: Path
    out: Path
    scan: Scan
    saved: Manifest
    workspace: "Workspace | None"
    workspace_plugins: bool
    progress: Callable[[str], None]
    make: Maker
    reports: dict[str, WrittenReport]

    def write(self, period: Period, why: str) -> Done:
        """Make one report, record it, and hand it to the plugins."""
        try:
            workspace = self._read_workspace()
            made = self.make(
                workspace, period, self.out, lambda step: self.progress(f"{period.label}: {step}")
            )
            self.reports[period.label] = WrittenReport(
                made_from=made_from(period, self.scan.inputs),
                files=tuple(path.name for path in made.files),
                printed=made.printed,
                failed=made.failed,
                handed_on=False,
            )
            self.save()
            refusals = self._hand_on(period.label)
        except Exception as error:
            return Done(label=period.label, why=why, error=error, traces=(traceback.format_exc(),))
        return Done(
            label=period.label,
            why=why,
            files=made.files,
            set_aside=made.set_aside,
            problems=(*made.problems, *(problem for problem, _ in refusals)),
            traces=(*made.traces, *(trace for _, trace in refusals)),
        )

    def hand_on_again(self, state: State) -> Iterator[Done]:
        """Hand a report to the plugins again, as one of them refused it last time."""
        refusals = self._hand_on(state.label)
        if refusals:
            yield Done(
                label=state.label,
                why="not handed on yet",
                problems=tuple(problem for problem, _ in refusals),
                traces=tuple(trace for _, trace in refusals),
            )

    def save(self) -> None:
        """Write the manifest if it differs from the one on disk."""
        manifest = Manifest(scan=self.scan, reports=dict(self.reports))
        if manifest != self.saved or not (self.out / NAME).exists():
            write_manifest(self.out, manifest)
            self.saved = manifest

    def _hand_on(self, label: str) -> list[tuple[str, str]]:
        """Hand a report to the plugins; return the problem and the trace of each that refused it."""
        from benchwater.plugin.hooks import ReportWritten

        workspace, report = self._read_workspace(), self.reports[label]
        problems = workspace.plugins.hand_on(
            ReportWritten(
                label=label,
                workspace=self.folder,
                folder=self.out / label,
                files=tuple(self.out / label / name for name in report.files),
                failed=bool(report.failed),
            ),
            workspace.bench.plugin_options,
        )
        self.reports[label] = replace(report, handed_on=not problems)
        self.save()
        return [(f"Plugin {each.name} ({each.origin}) {each.why}", each.detail) for each in problems]

    def _read_workspace(self) -> "Workspace":
        if self.workspace is None:
            from benchwater.pipeline import read_workspace

            self.workspace = read_workspace(
                self.folder,
                workspace_plugins=self.workspace_plugins,
                progress=self.progress,
            )
        return self.workspace


def _can_print() -> bool:
    """Return whether WeasyPrint finds its native libraries; its import prints to stdout if it does not."""
    try:
        with contextlib.redirect_stdout(io.StringIO()):
            import weasyprint  # noqa: F401
    except OSError:
        return False
    return True
