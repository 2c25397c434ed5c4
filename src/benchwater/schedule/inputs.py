"""What reports are made from, as content hashes: cheap to take, without reading a single row.

Nothing heavy is imported here. The walk below takes in every file that `read.folder` reads as a log.
"""

import hashlib
import os
import sys
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path

from benchwater.read.limits import LARGEST_FILE_BYTES

BENCH = "bench.toml"
LOG_ENDINGS = (".csv", ".tsv", ".txt")
NOT_KNOWN = ""
_DIGITS = 32
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
    from benchwater import __version__

    plugins = {f"shipped: {name}": content for name, content in _plugin_files(shipped_plugins())}
    plugins |= {f"installed: {name}": content for name, content in _installed()}
    if workspace_plugins and (folder / "plugins").resolve() != shipped_plugins().resolve():
        plugins |= {f"plugins/{name}": content for name, content in _plugin_files(folder / "plugins")}
    return Inputs(
        version=__version__,
        bench=content_hash(folder / BENCH),
        logs={path.relative_to(folder).as_posix(): content_hash(path) for path in possible_logs(folder)},
        plugins=plugins,
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


def shipped_plugins() -> Path:
    """The folder that `plugin_host.places` loads shipped plugins from."""
    package = Path(__file__).resolve().parents[1]
    installed = package / "shipped_plugins"
    return installed if installed.is_dir() else package.parents[1] / "plugins"


def content_hash(path: Path) -> str:
    """Half a file's SHA-256, or NOT_KNOWN if it cannot be opened. One too large to read goes by its size."""
    try:
        if not path.is_file():
            return "no ordinary file"
        if (size := path.stat().st_size) > LARGEST_FILE_BYTES:
            return f"{size} bytes"
        with path.open("rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest()[:_DIGITS]
    except OSError:
        return NOT_KNOWN


def _settled(earlier: dict[str, str], later: dict[str, str]) -> dict[str, str]:
    return {name: content if later.get(name) == content else NOT_KNOWN for name, content in earlier.items()}


def _plugin_files(folder: Path) -> Iterator[tuple[str, str]]:
    """Every file of a plugins folder that can take part: helpers and data too, tests and caches not."""
    if not folder.is_dir():
        return
    for current, folders, names in os.walk(folder):
        folders[:] = sorted(name for name in folders if not name.startswith(".") and name != "__pycache__")
        for name in sorted(names):
            if not name.startswith((".", "test_", "conftest")) and not name.endswith((".pyc", "~")):
                path = Path(current, name)
                yield path.relative_to(folder).as_posix(), content_hash(path)


def _installed() -> Iterator[tuple[str, str]]:
    """Plugins of installed packages: each package that names some, and what it says of them.

    Looked for where `importlib.metadata` looks, which to import would take longer than all the rest.
    """
    for place in dict.fromkeys(sys.path):
        for entry in _packages(place or "."):
            with suppress(OSError):
                named = Path(place, entry, "entry_points.txt").read_bytes()
                if b"[benchwater]" in named:
                    name, _, version = entry.rpartition(".")[0].partition("-")
                    yield name, f"{version} {hashlib.sha256(named).hexdigest()[:_DIGITS]}"


def _packages(place: str) -> list[str]:
    """The folders in which installed packages are told of."""
    try:
        return sorted(name for name in os.listdir(place) if name.endswith((".dist-info", ".egg-info")))
    except OSError:
        return []
