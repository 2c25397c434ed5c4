"""Scan a folder: hash what its reports are made from, and read its logs only if something changed.

The imports at the top are light, so that `due` with nothing to do is quick.
"""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import benchwater
from benchwater.files import PICTURE_ENDINGS, UNKNOWN_CONTENT, content_hash, log_files
from benchwater.plugin_host import trust
from benchwater.plugin_host.contents import plugin_contents
from benchwater.schedule.manifest import UNTRUSTED, Inputs, Manifest, Scan

if TYPE_CHECKING:
    from benchwater.pipeline import Workspace

BENCH = "bench.toml"


def hash_inputs(folder: Path, *, workspace_plugins: bool = True) -> Inputs:
    """Hash everything that reports of this folder are made from. Raises nothing for what it cannot open."""
    logs = {
        path.relative_to(folder).as_posix(): UNKNOWN_CONTENT if hides_files else _content(path)
        for path, why_not, hides_files in log_files(folder)
        if why_not is None or hides_files or path.suffix.lower() in PICTURE_ENDINGS
    }
    return replace(hash_bench_and_plugins(folder, workspace_plugins=workspace_plugins), logs=logs)


def _content(path: Path) -> str:
    """Hash of a log; size and time of change of a picture, as these are large and many."""
    if path.suffix.lower() not in PICTURE_ENDINGS:
        return content_hash(path)
    try:
        found = path.stat()
    except OSError:
        return "gone"
    return f"{found.st_size} bytes of {found.st_mtime_ns}"


def hash_bench_and_plugins(folder: Path, *, workspace_plugins: bool = True) -> Inputs:
    """Hash the same without the logs, for a caller that holds their rows.

    The name UNTRUSTED stands for plugins of the workspace that the user has not said yes to.
    """
    held_back = workspace_plugins and bool(trust.untrusted(folder))
    plugins = plugin_contents(folder if workspace_plugins and not held_back else None)
    if held_back:
        plugins[UNTRUSTED] = "not trusted"
    return Inputs(
        version=benchwater.__version__,
        bench=content_hash(folder / BENCH),
        plugins=plugins,
    )


def scan_folder(
    folder: Path,
    manifest: Manifest,
    *,
    inputs: Inputs,
    workspace_plugins: bool = True,
    progress: Callable[[str], None] = lambda step: None,
) -> "tuple[Scan, Workspace | None]":
    """Return the scan of the folder, and the workspace if its logs were read for it.

    The manifest's scan still holds if `inputs` have not changed since. BenchError if bench.toml cannot be
    used. What changes while it is read is marked as unknown.
    """
    if manifest.scan is not None and inputs.same_as(manifest.scan.inputs):
        return manifest.scan, None
    from benchwater.pipeline import read_workspace
    from benchwater.schedule.periods import periods_with_rows, with_digests

    workspace = read_workspace(folder, workspace_plugins=workspace_plugins, progress=progress)
    reading = workspace.reading
    periods = with_digests(periods_with_rows(reading.tables, workspace.bench), folder, reading)
    marked = inputs.mark_changes(hash_inputs(folder, workspace_plugins=workspace_plugins))
    return Scan(inputs=marked, periods=periods), workspace
