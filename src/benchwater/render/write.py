"""Put a report's three files in place, each whole or not at all."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from benchwater.analyse.report import Report
from benchwater.files import write_atomically
from benchwater.render.html import render_html
from benchwater.render.json_twin import render_json
from benchwater.render.lock import only_writer
from benchwater.render.pdf import print_report, read_logs
from benchwater.render.printing import PrintingUnavailable
from benchwater.worker_process import WorkerProcess

NAME = "season-report"


@dataclass(frozen=True, slots=True, kw_only=True)
class Written:
    """The files now in place, and why one of them is not."""

    files: tuple[Path, ...]
    problem: str = ""


def write_report(
    report: Report,
    out: Path,
    *,
    workspace: Path | None = None,
    progress: Callable[[str], None] = lambda step: None,
    worker: WorkerProcess | None = None,
) -> Written:
    """Write HTML, JSON and PDF below `out/<label>/`. The first two come first: they need no native library.

    `workspace` is the folder the logs were read from: those that still hold the same bytes go into the PDF.
    `worker` is the process that renders, if one was started.
    A PDF that cannot be printed is a problem in the result; an older one is then removed, so that the
    three files never disagree. OSError where a file cannot be written; BeingWrittenError while another
    run writes the same report.
    """
    folder = out / report.label
    folder.mkdir(parents=True, exist_ok=True)
    with only_writer(folder):
        return _write(report, folder, workspace, progress, worker or WorkerProcess())


def _write(
    report: Report,
    folder: Path,
    workspace: Path | None,
    progress: Callable[[str], None],
    worker: WorkerProcess,
) -> Written:
    progress("Writing HTML and JSON")
    logs = read_logs(workspace, report.sources) if workspace is not None else ()
    worker.submit(partial(render_html, report, [log.file for log in logs]))
    twin = render_json(report)
    html: str = worker.result()
    worker.submit(partial(print_report, html, twin, report.period.end, logs))
    files = [
        write_atomically(folder / f"{NAME}.html", html.encode()),
        write_atomically(folder / f"{NAME}.json", twin.encode()),
    ]
    progress("Printing the PDF")
    target = folder / f"{NAME}.pdf"
    try:
        pdf: bytes = worker.result()
    except PrintingUnavailable as error:
        target.unlink(missing_ok=True)
        return Written(files=tuple(files), problem=f"The PDF was not printed. {error}")
    return Written(files=(write_atomically(target, pdf), *files))
