"""Write a report's three files, each by an atomic write."""

import os
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from benchwater.analyse.report import Report
from benchwater.render.html import render_html
from benchwater.render.json_twin import render_json
from benchwater.render.lock import only_writer
from benchwater.render.pdf import print_report, read_logs
from benchwater.render.printing import PrintingUnavailable
from benchwater.render.second_renderer import Renderer, renderer

NAME = "season-report"


@dataclass(frozen=True, slots=True, kw_only=True)
class Written:
    """The files written, and why the PDF is not among them."""

    files: tuple[Path, ...]
    problem: str = ""


def write_report(
    report: Report,
    out: Path,
    *,
    workspace: Path | None = None,
    progress: Callable[[str], None] = lambda step: None,
    second: Renderer | None = None,
    meanwhile: Callable[[], object] = lambda: None,
) -> Written:
    """Write HTML, JSON and PDF below `out/<label>/`; the PDF comes last, because it needs native libraries.

    `workspace` is the folder of the logs; the PDF carries those that are unchanged since they were read.
    `second` is a process that renders, if one was started; `meanwhile` runs while it prints. If the PDF
    cannot be printed, the result says why, and an older PDF is removed so that the three files agree.
    Raises OSError where a file cannot be written, BeingWrittenError while another run writes the report.
    """
    folder = out / report.label
    folder.mkdir(parents=True, exist_ok=True)
    with only_writer(folder):
        return _write(report, folder, workspace, progress, second or renderer(), meanwhile)


def _write(
    report: Report,
    folder: Path,
    workspace: Path | None,
    progress: Callable[[str], None],
    second: Renderer,
    meanwhile: Callable[[], object],
) -> Written:
    progress("Writing HTML and JSON")
    logs = read_logs(workspace, report.sources) if workspace is not None else ()
    second.give(partial(render_html, report, [log.file for log in logs]))
    twin = render_json(report)
    html: str = second.answer()
    second.give(partial(print_report, html, twin, report.period.end, logs))
    files = [
        write_whole(folder / f"{NAME}.html", html.encode()),
        write_whole(folder / f"{NAME}.json", twin.encode()),
    ]
    progress("Printing the PDF")
    meanwhile()
    target = folder / f"{NAME}.pdf"
    try:
        pdf: bytes = second.answer()
    except PrintingUnavailable as error:
        target.unlink(missing_ok=True)
        return Written(files=tuple(files), problem=f"The PDF was not printed. {error}")
    return Written(files=(write_whole(target, pdf), *files))


def write_whole(path: Path, data: bytes) -> Path:
    """Replace a file atomically: a run that is killed leaves the old one."""
    handle, temporary = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        os.chmod(temporary, 0o666 & ~_umask())
        os.replace(temporary, path)
    except BaseException:
        Path(temporary).unlink(missing_ok=True)
        raise
    return path


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
