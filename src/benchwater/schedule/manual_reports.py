"""What `report` records in the manifest, so that `due` does not write the same report again."""

from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from benchwater.analyse.report import Report
from benchwater.files import BeingWrittenError, only_writer
from benchwater.pipeline import Workspace
from benchwater.render.write import Written
from benchwater.schedule.manifest import (
    Inputs,
    MadeFrom,
    Manifest,
    WrittenReport,
    read_manifest,
    write_manifest,
)
from benchwater.schedule.owed import made_from
from benchwater.schedule.periods import periods_with_rows, with_digests
from benchwater.schedule.scan import hash_bench_and_plugins


@dataclass(frozen=True, slots=True, kw_only=True)
class ManualReports:
    """The reports that one run of `report` writes into `out`, from `inputs` hashed before it read anything.

    Both are None if the reports go to a folder of the maker's choice: `due` does not know of those.
    """

    workspace_plugins: bool
    inputs: Inputs | None
    out: Path | None

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
            if out is not None:
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
        return ManualReports(workspace_plugins=workspace_plugins, inputs=None, out=None)
    inputs = hash_bench_and_plugins(folder, workspace_plugins=workspace_plugins)
    return ManualReports(workspace_plugins=workspace_plugins, inputs=inputs, out=usual)


def _record(out: Path, label: str, report: WrittenReport | None) -> None:
    before = read_manifest(out)
    others = {name: each for name, each in before.reports.items() if name != label}
    reports = others if report is None else {**others, label: report}
    if reports != before.reports:
        write_manifest(out, Manifest(scan=before.scan, reports=reports))
