"""Copy each report's PDF into a folder the maker names: a synced folder, a printer's hot folder.

    [plugins.copy_report]
    folder = "~/Sync/reports"

Off until a folder is named. A path that is not absolute begins at the workspace.
"""

import glob
import os
from collections.abc import Iterable
from pathlib import Path

from benchwater.plugin import HandOnError, Option, ReportWritten, hookimpl


@hookimpl
def report_options() -> Iterable[Option]:
    """The folder."""
    return [Option(name="folder", meaning="where each report's PDF is copied to", kind="text")]


@hookimpl
def report_written(report: ReportWritten) -> None:
    """Copy the PDF as `season-report-<label>.pdf`, atomically; an equal one stays untouched."""
    named = report.options["folder"]
    if named is None:
        return
    folder = _folder(report.workspace, str(named))
    pdf = next((path for path in report.files if path.suffix == ".pdf"), None)
    if pdf is None:
        raise HandOnError("there is no PDF to copy, as it could not be printed")
    if pdf.is_symlink():
        raise HandOnError(f"{pdf} is a link, so the PDF was not copied: remove it, then run `benchwater due`")
    target = folder / f"{pdf.stem}-{report.label}{pdf.suffix}"
    try:
        data = pdf.read_bytes()
        if not (target.is_file() and target.read_bytes() == data):
            _write_atomically(target, data)
    except OSError as error:
        raise HandOnError(f"the PDF could not be copied to {target}: {error.strerror or error}") from error


def _folder(workspace: Path, named: str) -> Path:
    if not named.strip():
        raise HandOnError('[plugins.copy_report] in bench.toml needs `folder = "..."`, the path of a folder')
    try:
        folder = workspace / Path(named).expanduser()
    except RuntimeError as error:
        raise HandOnError(
            f"the folder `{named}` of [plugins.copy_report] cannot be found: {error}"
        ) from error
    if not folder.is_dir():
        raise HandOnError(
            f"the folder {folder} of [plugins.copy_report] is not there, so the PDF was not copied: make it, "
            "connect its drive, or name another in bench.toml"
        )
    return folder


def _write_atomically(target: Path, data: bytes) -> None:
    """Write under another ending first, then rename: a hot folder prints every PDF that it sees."""
    for left in target.parent.glob(f".{glob.escape(target.stem)}.????????.part"):
        left.unlink(missing_ok=True)  # of a run that was killed
    temporary = target.with_name(f".{target.stem}.{os.urandom(4).hex()}.part")
    try:
        with open(temporary, "xb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        os.replace(temporary, target)
    except BaseException:
        temporary.unlink(missing_ok=True)
        raise
