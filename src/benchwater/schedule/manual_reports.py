"""What `due` is told of a report that was asked for by hand, so that it does not write the same once more."""

from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from benchwater.analyse.report import Report
from benchwater.pipeline import Workspace
from benchwater.render.lock import BeingWrittenError, only_writer
from benchwater.render.write import Written
from benchwater.schedule.manifest import (
    Inputs,
    Manifest,
    RestsOn,
    WrittenReport,
    read_manifest,
    write_manifest,
)
from benchwater.schedule.owed import rests_on
from benchwater.schedule.periods import periods_with_rows, with_digests
from benchwater.schedule.scan import inputs_but_logs


@dataclass(frozen=True, slots=True, kw_only=True)
class ByHand:
    """A command that writes reports by hand: into `out`, by `inputs` from before it read anything.

    Both are None where its reports go to a folder of the maker's choice: `due` is told nothing of those.
    """

    workspace_plugins: bool
    inputs: Inputs | None
    out: Path | None

    @contextmanager
    def overwriting(self, label: str) -> Iterator["Note"]:
        """Hold the reports as `due` does while one of them is written, and forget what that one rested on.

        While another run is at it nothing is forgotten and nothing noted, and nobody waits.
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
                _note(out, label, None)
            yield Note(self, out)


class Note:
    """A place for what a report rests on, in `out`; None where nothing can be noted."""

    def __init__(self, by: ByHand, out: Path | None) -> None:
        """Nothing is noted yet."""
        self._by = by
        self._out = out
        self._rests_on: RestsOn | None = None

    def look(self, workspace: Workspace, made: Report) -> None:
        """See what the report rests on, if it is as `due` would make it; one of other days is passed over."""
        if self._out is None or self._by.inputs is None:
            return
        folder, bench, reading = workspace.folder, workspace.bench, workspace.reading
        period = next((p for p in periods_with_rows(reading.tables, bench) if p.label == made.label), None)
        if period is None or period.rows_until != made.season.end:
            return
        (period,) = with_digests((period,), folder, reading, workspace.plugins.log_kinds, bench)
        now = inputs_but_logs(folder, workspace_plugins=self._by.workspace_plugins)
        self._rests_on = rests_on(period, self._by.inputs.settled(now))

    def keep(self, made: Report, written: Written, *, handed_on: bool) -> None:
        """Note the report, now written, with what it was seen to rest on.

        A note that cannot be written is no fault of the report: `due` then writes it once more.
        """
        if self._out is None or self._rests_on is None:
            return
        report = WrittenReport(
            rests_on=self._rests_on,
            files=tuple(path.name for path in written.files),
            printed=not written.problem,
            failed=made.failures,
            handed_on=handed_on,
        )
        with suppress(OSError):
            _note(self._out, made.label, report)


def by_hand(folder: Path, out: Path | None, *, workspace_plugins: bool) -> ByHand:
    """To be asked for before anything is read; `out` is where the maker wants the report, if anywhere."""
    usual = folder / "reports"
    if out is not None and out.resolve() != usual.resolve():
        return ByHand(workspace_plugins=workspace_plugins, inputs=None, out=None)
    inputs = inputs_but_logs(folder, workspace_plugins=workspace_plugins)
    return ByHand(workspace_plugins=workspace_plugins, inputs=inputs, out=usual)


def _note(out: Path, label: str, report: WrittenReport | None) -> None:
    before = read_manifest(out)
    others = {name: each for name, each in before.reports.items() if name != label}
    reports = others if report is None else {**others, label: report}
    if reports != before.reports:
        write_manifest(out, Manifest(look=before.look, reports=reports))
