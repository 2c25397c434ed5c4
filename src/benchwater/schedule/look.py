"""Look at a folder: read its logs, and say which periods have rows and what each report rests on."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from benchwater.schedule.inputs import Inputs, take_inputs
from benchwater.schedule.manifest import Look, Manifest

if TYPE_CHECKING:
    from benchwater.pipeline import Workspace


@dataclass(frozen=True, slots=True, kw_only=True)
class LookedAt:
    """The look, and the folder as it was read for it (None where the last look still holds)."""

    look: Look
    workspace: "Workspace | None" = None


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
    from benchwater.schedule.periods import periods_with_rows
    from benchwater.schedule.row_digests import with_digests

    workspace = read_workspace(folder, workspace_plugins=workspace_plugins, progress=progress)
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
