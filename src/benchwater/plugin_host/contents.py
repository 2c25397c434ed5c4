"""Content hashes of everything plugins are made of, to detect that one changed.

Imports nothing heavy, so that `due` with nothing to do ends soon.
"""

import hashlib
import os
import sys
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

from benchwater.files import content_hash
from benchwater.plugin_host.places import INIT, shipped_folder, workspace_folder

_DIGITS = 32


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
    """The folders that describe installed packages."""
    try:
        return sorted(name for name in os.listdir(place) if name.endswith((".dist-info", ".egg-info")))
    except OSError:
        return []
