"""What reports are made from, as content hashes: cheap to take, without reading a single row.

Nothing heavy is imported here. The walk below takes in every file that `read.folder` reads as a log.
"""

import os
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path

from benchwater.plugin_host.contents import NOT_KNOWN, content_hash, plugin_contents

BENCH = "bench.toml"
LOG_ENDINGS = (".csv", ".tsv", ".txt")
_SKIPPED_AT_TOP = ("plugins", "reports", "__pycache__")


@dataclass(frozen=True, slots=True, kw_only=True)
class Inputs:
    """Content hashes by name: of each file that may be a log, of bench.toml, and of each plugin.

    NOT_KNOWN stands for a content that could not be looked at, or that changed while it was read: it
    equals no other, itself included, so that such a file is looked at again.
    """

    version: str
    bench: str
    logs: dict[str, str] = field(default_factory=dict)
    plugins: dict[str, str] = field(default_factory=dict)

    def same_as(self, other: "Inputs | None") -> bool:
        """Whether nothing at all changed between the two."""
        return self == other and NOT_KNOWN not in {self.bench, *self.logs.values(), *self.plugins.values()}

    def settled(self, later: "Inputs") -> "Inputs":
        """These, with whatever is different in `later` marked as not known."""
        return Inputs(
            version=self.version,
            bench=self.bench if self.bench == later.bench else NOT_KNOWN,
            logs=_settled(self.logs, later.logs),
            plugins=_settled(self.plugins, later.plugins),
        )


def take_inputs(folder: Path, *, workspace_plugins: bool = True) -> Inputs:
    """Hash everything that reports of this folder are made from. Never raises for what it cannot open."""
    logs = {path.relative_to(folder).as_posix(): content_hash(path) for path in possible_logs(folder)}
    return replace(inputs_but_logs(folder, workspace_plugins=workspace_plugins), logs=logs)


def inputs_but_logs(folder: Path, *, workspace_plugins: bool = True) -> Inputs:
    """The same without the logs, for whoever has their rows."""
    from benchwater import __version__

    return Inputs(
        version=__version__,
        bench=content_hash(folder / BENCH),
        plugins=plugin_contents(folder if workspace_plugins else None),
    )


def possible_logs(folder: Path) -> Iterator[Path]:
    """Every file below the folder that has the ending of a log, as `read.folder.log_files` walks it."""
    seen: set[str] = set()
    for current, folders, names in os.walk(folder, followlinks=True):
        real = os.path.realpath(current)
        if real in seen:
            folders.clear()
            continue
        seen.add(real)
        at_top = Path(current) == folder
        folders[:] = sorted(
            name for name in folders if not name.startswith(".") and not (at_top and name in _SKIPPED_AT_TOP)
        )
        for name in sorted(names):
            if not name.startswith((".", "~")) and name.lower().endswith(LOG_ENDINGS):
                yield Path(current, name)


def _settled(earlier: dict[str, str], later: dict[str, str]) -> dict[str, str]:
    return {name: content if later.get(name) == content else NOT_KNOWN for name, content in earlier.items()}
