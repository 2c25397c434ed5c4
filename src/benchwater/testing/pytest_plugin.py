"""The fixture `run_report`: makes a whole report from a few texts, as the command line does.

A test module, or the topmost conftest.py, asks for it with

    pytest_plugins = ["benchwater.testing.pytest_plugin"]
"""

import contextlib
import io
import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

import pytest


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportRun:
    """The outcome of `benchwater report`: exit status, output, and the report's JSON twin.

    `status` is 0 if nothing failed, 1 if something did or the PDF could not be printed, 2 if there is no
    report; `twin` is empty then. `out` and `err` are what was printed, and `folder` is the
    workspace it ran in.
    """

    status: int
    out: str
    err: str
    twin: Mapping[str, Any]
    folder: Path

    def section(self, id: str) -> Mapping[str, Any]:
        """Return the section of that analysis in the JSON twin."""
        ids = [section["id"] for section in self.twin.get("sections", ())]
        assert id in ids, f"no section {id!r} among {ids}\n{self.out}{self.err}"
        return next(section for section in self.twin["sections"] if section["id"] == id)


class RunReport(Protocol):
    """The type of the fixture `run_report`."""

    def __call__(self, files: Mapping[str, str | Path], *arguments: str) -> ReportRun:
        """Run `benchwater report` on a workspace of these files."""


@pytest.fixture
def run_report(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> RunReport:
    """Return a function that writes files into a new folder and runs `benchwater report` there.

    It takes the files by their path (`{"bench.toml": text, "logs/a.csv": text, "plugins/x.py": Path(...)}`;
    a Path is a file to copy) and further arguments of the command, such as `"--month", "2026-05"`. The
    plugins among them are trusted in this run alone.
    """

    def run(files: Mapping[str, str | Path], *arguments: str) -> ReportRun:
        monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path_factory.mktemp("state")))
        folder = tmp_path_factory.mktemp("workspace")
        for name, content in files.items():
            path = folder / name
            path.parent.mkdir(parents=True, exist_ok=True)
            text = content.read_text(encoding="utf-8") if isinstance(content, Path) else content
            path.write_text(text, encoding="utf-8", newline="\n")
        return _report(folder, arguments)

    return run


def _report(folder: Path, arguments: tuple[str, ...]) -> ReportRun:
    from benchwater.commands import cli
    from benchwater.commands.terminal import guarded

    reports = folder / "reports"
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        status = guarded(cli, ["report", str(folder), "--trust", "--out", str(reports), *arguments])
    twins = sorted(reports.glob("*/season-report.json"))
    twin = json.loads(twins[-1].read_text(encoding="utf-8")) if twins else {}
    return ReportRun(status=status, out=out.getvalue(), err=err.getvalue(), twin=twin, folder=folder)
