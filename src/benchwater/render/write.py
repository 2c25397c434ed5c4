"""Write a report's three files, each by an atomic write."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from benchwater.analyse.report import Report
from benchwater.files import only_writer, write_atomically
from benchwater.render.html import render_html, render_paper
from benchwater.render.json_twin import render_json
from benchwater.render.pdf import PrintingUnavailable, print_report, read_logs
from benchwater.worker_process import WorkerProcess

NAME = "season-report"


@dataclass(frozen=True, slots=True, kw_only=True)
class Written:
    """The files written, and why the PDF is not among them, if it is not."""

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
    """Write HTML, JSON and PDF below `out/<label>/`; the PDF comes last, because it needs native libraries.

    `workspace` is the folder of the logs; the PDF carries those that are unchanged since they were read.
    `worker` is a process that renders, if one was started. If the PDF cannot be printed, the result says
    why, and an older PDF is removed so that the three files agree.
    Raises OSError where a file cannot be written, BeingWrittenError while another run writes the report.
    """
    folder = out / report.label
    folder.mkdir(parents=True, exist_ok=True)
    worker = worker or WorkerProcess()
    with only_writer(folder):
        progress("Writing HTML and JSON")
        logs = read_logs(workspace, report.sources) if workspace is not None else ()
        attached = [log.file for log in logs]
        worker.submit(partial(render_paper, report, attached))
        twin = render_json(report)
        paper: str = worker.result()
        worker.submit(partial(print_report, paper, twin, report.period.end, logs))
        html = render_html(report, attached)
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
