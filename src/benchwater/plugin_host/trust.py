"""Content hashes of plugins, and which of a workspace's plugins this user has said yes to, on this machine.

Imports nothing heavy, so that `due` with nothing to do ends soon.
"""

import hashlib
import os
import sys
from collections.abc import Iterable, Iterator
from contextlib import suppress
from pathlib import Path

from benchwater.files import append_lines, content_hash, read_own_file
from benchwater.plugin_host.places import INIT, holds_plugins, shipped_folder, workspace_folder

_DIGITS = 32
NAME = "trusted-plugins.txt"


def plugin_contents(workspace: Path | None) -> dict[str, str]:
    """Content hashes by name of all that plugins may come from, UNKNOWN_CONTENT for what cannot be opened.

    `workspace` is the maker's folder, None to leave its plugins out.
    """

    found = {f"shipped: {name}": content for name, content in folder_contents(shipped_folder())}
    found |= {f"installed: {name}": content for name, content in _installed()}
    if (own := workspace_folder(workspace)) is not None:
        found |= {f"plugins/{name}": content for name, content in folder_contents(own)}
    return found


def folder_contents(folder: Path, *, tests: bool = False) -> Iterator[tuple[str, str]]:
    """Every file of a plugins folder that can affect a report: helpers and data, no caches.

    It follows links, and enters each folder once. `tests` adds those of the plugins.
    """
    left_out = (".",) if tests else (".", "test_", "conftest")
    visited: set[str] = set()
    for current, folders, names in os.walk(folder, followlinks=True):
        real = os.path.realpath(current)
        if real in visited:
            folders.clear()
            continue
        visited.add(real)
        folders[:] = sorted(name for name in folders if not name.startswith(".") and name != "__pycache__")
        for name in sorted(names):
            if not name.startswith(left_out) and not name.endswith((".pyc", "~")):
                path = Path(current, name)
                yield path.relative_to(folder).as_posix(), content_hash(path)


def _installed() -> Iterator[tuple[str, str]]:
    """Each installed package that declares plugins, with its version and a hash of its code.

    Searches where `importlib.metadata` does, the import of which takes longer than everything else here.
    """
    for place in dict.fromkeys(sys.path):
        for entry in _packages(place or "."):
            with suppress(OSError):
                named = Path(place, entry, "entry_points.txt").read_bytes()
                if b"[benchwater]" in named:
                    name, _, version = entry.rpartition(".")[0].partition("-")
                    yield name, f"{version} {_code_digest(named)}"


def _code_digest(entry_points: bytes) -> str:
    """A hash of an entry_points.txt and of every file of the packages that its plugins lie in."""
    from importlib.util import find_spec

    digest = hashlib.sha256(entry_points)
    section = entry_points.decode("utf-8", "replace").partition("[benchwater]")[2].partition("\n[")[0]
    modules = {
        line.partition("=")[2].strip().partition(":")[0].partition(".")[0] for line in section.split("\n")
    }
    for module in sorted(modules - {""}):
        spec = None
        with suppress(ImportError, ValueError):
            spec = find_spec(module)
        if spec is not None and spec.origin is not None:
            file = Path(spec.origin)
            found = folder_contents(file.parent) if file.name == INIT else [(file.name, content_hash(file))]
            digest.update(repr([*found]).encode())
    return digest.hexdigest()[:_DIGITS]


def _packages(place: str) -> list[str]:
    try:
        return sorted(name for name in os.listdir(place) if name.endswith((".dist-info", ".egg-info")))
    except OSError:
        return []


def state_folder() -> Path:
    """Return where this user's programs keep what they remember: XDG_STATE_HOME, or the system's own."""
    if named := os.environ.get("XDG_STATE_HOME"):
        return Path(named, "benchwater")
    if sys.platform == "win32":
        return Path(os.environ.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local", "benchwater")
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Application Support" / "benchwater"
    return Path.home() / ".local" / "state" / "benchwater"


def untrusted(workspace: Path | None) -> tuple[str, ...]:
    """Return the files below the workspace's plugins/ that this user has not said yes to as they are now.

    Empty where there is no plugin to run. A file with another name or content is another file.
    """
    folder = workspace_folder(workspace)
    if folder is None or not holds_plugins(folder):
        return ()
    known = _known()
    return tuple(name for name, digest in _digests(folder) if digest not in known)


def trust(workspace: Path, names: Iterable[str] | None = None) -> None:
    """Remember that this user trusts the workspace's plugins (or these files of them) as they are now."""
    folder = workspace_folder(workspace)
    if folder is None:
        return
    wanted, known = None if names is None else set(names), _known()
    lines = [
        f"{digest} {os.fsencode((folder / name).resolve())!r}"
        for name, digest in _digests(folder)
        if digest not in known and (wanted is None or name in wanted)
    ]
    if lines:
        state = state_folder()
        state.mkdir(parents=True, exist_ok=True, mode=0o700)
        append_lines(state / NAME, lines, most_bytes=sys.maxsize)


def _known() -> frozenset[str]:
    """Return the digests said yes to; none where the file cannot be read."""
    try:
        text = read_own_file(state_folder() / NAME).decode("utf-8", "replace")
    except OSError:
        return frozenset()
    return frozenset(line.partition(" ")[0] for line in text.split("\n") if line)


def _digests(folder: Path) -> Iterable[tuple[str, str]]:
    for name, content in folder_contents(folder, tests=True):
        yield name, hashlib.sha256(f"{content} {name}".encode("utf-8", "surrogateescape")).hexdigest()
