"""Put a report's three files in place, each whole or not at all."""

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
    """The files now in place, and why one of them is not."""

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
    """Write HTML, JSON and PDF below `out/<label>/`. The first two come first: they need no native library.

    `workspace` is the folder the logs were read from: those that still hold the same bytes go into the PDF.
    `second` is the process that renders, where one was begun; `meanwhile` is done while it prints.
    A PDF that cannot be printed is a problem in the result; an older one is then removed, so that the
    three files never disagree. OSError where a file cannot be written; BeingWrittenError while another
    run writes the same report.
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
    """Replace a file in one step: a run that is killed leaves the old one readable."""
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
