"""What reports of a folder are made from now: content hashes, and the periods that have rows.

Nothing heavy is imported before something has changed, so that `due` with nothing to do ends soon.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from benchwater.files import content_hash, log_files
from benchwater.plugin_host.contents import plugin_contents
from benchwater.schedule.manifest import Inputs, Look, Manifest

if TYPE_CHECKING:
    from benchwater.pipeline import Workspace

BENCH = "bench.toml"


@dataclass(frozen=True, slots=True, kw_only=True)
class LookedAt:
    """The look, and the folder as it was read for it (None where the last look still holds)."""

    look: Look
    workspace: "Workspace | None" = None


def take_inputs(folder: Path, *, workspace_plugins: bool = True) -> Inputs:
    """Hash everything that reports of this folder are made from. Never raises for what it cannot open."""
    logs = {
        path.relative_to(folder).as_posix(): content_hash(path)
        for path, why in log_files(folder)
        if why is None
    }
    return replace(inputs_but_logs(folder, workspace_plugins=workspace_plugins), logs=logs)


def inputs_but_logs(folder: Path, *, workspace_plugins: bool = True) -> Inputs:
    """The same without the logs, for whoever has their rows."""
    from benchwater import __version__

    return Inputs(
        version=__version__,
        bench=content_hash(folder / BENCH),
        plugins=plugin_contents(folder if workspace_plugins else None),
    )


def look_at(
    folder: Path,
    manifest: Manifest,
    *,
    inputs: Inputs,
    workspace_plugins: bool = True,
    progress: Callable[[str], None] = lambda step: None,
) -> LookedAt:
    """The last look where nothing changed since; else a new one, which reads every log.

    BenchError where bench.toml cannot be used. What changed while it was read is marked as not known.
    """
    if manifest.look is not None and inputs.same_as(manifest.look.inputs):
        return LookedAt(look=manifest.look)
    from benchwater.pipeline import read_workspace
    from benchwater.schedule.periods import periods_with_rows, with_digests

    workspace = read_workspace(folder, workspace_plugins=workspace_plugins, cache=True, progress=progress)
    reading = workspace.reading
    periods = with_digests(
        periods_with_rows(reading.tables, workspace.bench),
        folder,
        reading,
        workspace.plugins.log_kinds,
        workspace.bench,
    )
    settled = inputs.settled(take_inputs(folder, workspace_plugins=workspace_plugins))
    return LookedAt(look=Look(inputs=settled, periods=periods), workspace=workspace)
