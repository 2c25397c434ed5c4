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

from benchwater.render.lock import BeingWrittenError, only_writer
from benchwater.render.write import write_report
from benchwater.schedule.manifest import (
    NAME,
    Look,
    Manifest,
    Period,
    WrittenReport,
    read_manifest,
    write_manifest,
)
from benchwater.schedule.owed import State, rests_on, states
from benchwater.schedule.scan import look_at, take_inputs

if TYPE_CHECKING:
    from benchwater.pipeline import Workspace


@dataclass(frozen=True, slots=True, kw_only=True)
class Done:
    """What became of one report that was owed.

    `files` are those written; `set_aside` counts the rows of the logs that could not be used; `problems` are
    what the maker should know; `error` is there where nothing could be written; `traces` are for `--debug`.
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


_PAUSE_S = 0.5
_MOST_PAUSES = 1_200

Maker = Callable[["Workspace", Period, Path, Callable[[str], None]], Made]


def make_one(workspace: "Workspace", period: Period, out: Path, progress: Callable[[str], None]) -> Made:
    """Make the report of one period and write it. What breaks inside it is told, not raised."""
    from benchwater.pipeline import Request, make_report

    traces: list[str] = []
    made = make_report(
        workspace,
        Request(month=period.month, whole_season=period.whole_season),
        progress=progress,
        on_failure=lambda analysis, trace: traces.append(trace),
    )
    written = write_report(made, out, workspace=workspace.folder, progress=progress)
    broken = [section for section in made.sections if section.status == "failed"]
    refused = made.plugin_problems
    problems = [f"Plugin {problem.name} ({problem.origin}) {problem.why}" for problem in refused]
    problems += [f"{section.id} failed. {section.why}" for section in broken]
    if written.problem:
        problems.append(written.problem)
    return Made(
        files=written.files,
        printed=not written.problem,
        set_aside=len(made.set_aside),
        failed=made.failures,
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
    """Write what is owed, in order of the periods' ends, and remember each report as soon as it is written.

    BenchError where bench.toml cannot be used; BeingWrittenError where another run, which is waited for,
    is not done after ten minutes. A report that cannot be written stays owed, and the others are still
    written.
    """
    out.mkdir(parents=True, exist_ok=True)
    with _alone(out, progress):
        manifest = read_manifest(out)
        inputs = take_inputs(folder, workspace_plugins=workspace_plugins)
        seen = look_at(
            folder, manifest, inputs=inputs, workspace_plugins=workspace_plugins, progress=progress
        )
        run = _Run(folder, out, manifest, seen.look, seen.workspace, workspace_plugins, progress, make)
        waiting = any(not report.printed for report in manifest.reports.values())
        can_print = waiting and _can_print()
        for state in states(seen.look, manifest.reports, out, today, can_print=can_print):
            if state.period is not None and state.owed:
                yield run.write(state.period, state.owed)
            elif state.period is not None and state.to_hand_on:
                yield from run.hand_on_again(state)
        run.remember()


@contextmanager
def _alone(out: Path, progress: Callable[[str], None]) -> Iterator[None]:
    """One run at a time for one folder of reports: the second waits, and then finds nothing left to do."""
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


class _Run:
    def __init__(
        self,
        folder: Path,
        out: Path,
        manifest: Manifest,
        look: Look,
        workspace: "Workspace | None",
        workspace_plugins: bool,
        progress: Callable[[str], None],
        make: Maker,
    ) -> None:
        self._folder = folder
        self._out = out
        self._before = manifest
        self._look = look
        self._reports = dict(manifest.reports)
        self._read = workspace
        self._workspace_plugins = workspace_plugins
        self._progress = progress
        self._make = make

    def write(self, period: Period, why: str) -> Done:
        """Make one report, remember it, and tell the plugins that asked for it."""
        try:
            workspace = self._workspace()
            made = self._make(
                workspace, period, self._out, lambda step: self._progress(f"{period.label}: {step}")
            )
            self._reports[period.label] = WrittenReport(
                rests_on=rests_on(period, self._look.inputs),
                files=tuple(path.name for path in made.files),
                printed=made.printed,
                failed=made.failed,
                handed_on=False,
            )
            self.remember()
            told = self._hand_on(period.label)
        except Exception as error:
            return Done(label=period.label, why=why, error=error, traces=(traceback.format_exc(),))
        return Done(
            label=period.label,
            why=why,
            files=made.files,
            set_aside=made.set_aside,
            problems=(*made.problems, *(text for text, _ in told)),
            traces=(*made.traces, *(trace for _, trace in told)),
        )

    def hand_on_again(self, state: State) -> Iterator[Done]:
        """Tell the plugins again of a report that one of them could do nothing with last time."""
        told = self._hand_on(state.label)
        if told:
            yield Done(
                label=state.label,
                why="not handed on yet",
                problems=tuple(text for text, _ in told),
                traces=tuple(trace for _, trace in told),
            )

    def remember(self) -> None:
        """Write the manifest, unless it says so already."""
        manifest = Manifest(look=self._look, reports=self._reports)
        if manifest != self._before or not (self._out / NAME).exists():
            write_manifest(self._out, manifest)
            self._before = Manifest(look=self._look, reports=dict(self._reports))

    def _hand_on(self, label: str) -> list[tuple[str, str]]:
        from benchwater.plugin.hooks import ReportWritten

        workspace, report = self._workspace(), self._reports[label]
        problems = workspace.plugins.hand_on(
            ReportWritten(
                label=label,
                workspace=self._folder,
                folder=self._out / label,
                files=tuple(self._out / label / name for name in report.files),
                failed=bool(report.failed),
            ),
            workspace.bench.plugin_options,
        )
        self._reports[label] = replace(report, handed_on=not problems)
        self.remember()
        return [(f"Plugin {each.name} ({each.origin}) {each.why}", each.detail) for each in problems]

    def _workspace(self) -> "Workspace":
        if self._read is None:
            from benchwater.pipeline import read_workspace

            self._read = read_workspace(
                self._folder,
                workspace_plugins=self._workspace_plugins,
                cache=True,
                progress=self._progress,
            )
        return self._read


def _can_print() -> bool:
    """Whether WeasyPrint finds its native libraries; it prints to standard output where it does not."""
    try:
        with contextlib.redirect_stdout(io.StringIO()):
            import weasyprint  # noqa: F401
    except OSError:
        return False
    return True
