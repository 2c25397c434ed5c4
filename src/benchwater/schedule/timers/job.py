"""What a timer is to run, and a name for it, whichever system runs it."""

import hashlib
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

MARK = "Written by benchwater timer"


class TimerError(RuntimeError):
    """A timer that cannot be shown, set up or removed; the message says why and what to do."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """A daily run of `due` for one folder, at an hour and minute. Paths are absolute."""

    python: str
    folder: Path
    out: Path
    log: Path
    hour: int = 6
    minute: int = 30
    workspace_plugins: bool = True

    def __post_init__(self) -> None:
        """Refuse what no timer can hold."""
        for text in (self.python, str(self.folder), str(self.out), str(self.log)):
            is_text = all(character < "\ud800" or character > "\udfff" for character in text)
            if not is_text or any(ord(character) < 32 or ord(character) == 127 for character in text):
                raise TimerError(f"no timer can hold the path {text!r}: rename what has unusual characters")

    @property
    def name(self) -> str:
        """`benchwater-my-bench-1a2b3c4d`: the same for the same folder, another for any other."""
        plain = re.sub(r"[^a-z0-9]+", "-", self.folder.name.lower()).strip("-")[:40]
        mark = hashlib.sha256(str(self.folder).encode("utf-8", "surrogatepass")).hexdigest()[:8]
        return "-".join(part for part in ("benchwater", plain, mark) if part)

    @property
    def words(self) -> tuple[str, ...]:
        """The command as a list of words, which each system quotes in its own way."""
        command = [self.python, "-P", "-m", "benchwater", "due"]
        command += ["--out", str(self.out), "--log", str(self.log)]
        if not self.workspace_plugins:
            command.append("--no-workspace-plugins")
        return (*command, "--", str(self.folder))


@dataclass(frozen=True, slots=True, kw_only=True)
class TimerFile:
    """A file that a timer consists of; `data` holds MARK, by which it is known as benchwater's."""

    path: Path
    data: bytes
    encoding: str = "utf-8"

    @property
    def text(self) -> str:
        """Its content as text."""
        return self.data.decode(self.encoding)

    def is_ours(self) -> bool:
        """Whether the file that lies at this path was written by benchwater."""
        try:
            return MARK in self.path.read_bytes().decode(self.encoding, "replace")
        except FileNotFoundError:
            return True


@dataclass(frozen=True, slots=True, kw_only=True)
class Timer:
    """Everything one system needs: files, and the commands that switch the timer on and off.

    A command in `off` may fail, for what it switches off may not be on. `after_removal` runs once the
    files are gone. `note` is for the maker.
    """

    system: str
    tool: str
    files: tuple[TimerFile, ...]
    on: tuple[Sequence[str], ...]
    off: tuple[Sequence[str], ...]
    after_removal: tuple[Sequence[str], ...] = ()
    note: str = ""
