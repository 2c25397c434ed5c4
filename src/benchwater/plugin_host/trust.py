"""Which of a workspace's plugins this user has said yes to, on this machine, by content hash.

Imports nothing heavy, so that `due` with nothing to do ends soon.
"""

import hashlib
import os
import sys
from collections.abc import Iterable
from pathlib import Path

from benchwater.files import append_lines, read_own_file
from benchwater.plugin_host.contents import folder_contents
from benchwater.plugin_host.places import holds_plugins, workspace_folder

NAME = "trusted-plugins.txt"


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
