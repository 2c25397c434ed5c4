"""The logs a report rests on, as the PDF carries them: so that a printed claim leads back to its rows."""

import hashlib
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from benchwater.read.outcome import Source
from benchwater.render.text import shorten, visible

MOST_BYTES = 8_000_000
_NO_NAME = re.compile(r'[\x00-\x1f/\\:*?"<>|]+')
_LONGEST_NAME = 120


@dataclass(frozen=True, slots=True, kw_only=True)
class AttachedLog:
    """A log file as it was read: its path in the workspace, the name it has in the PDF, and its bytes."""

    file: str
    name: str
    data: bytes
    sha256: str


def read_logs(
    workspace: Path, sources: Sequence[Source], most_bytes: int = MOST_BYTES
) -> tuple[AttachedLog, ...]:
    """The source files that still hold the bytes the report was made from, `most_bytes` together at most.

    What has changed since, is gone or no longer fits is left out; the report names those that are in.
    """
    attached: list[AttachedLog] = []
    left = most_bytes
    names: set[str] = {"season-report.json"}
    for source in sources:
        data = _bytes_of(workspace / source.file, left)
        if data is None or hashlib.sha256(data).hexdigest() != source.sha256:
            continue
        left -= len(data)
        name = _free_name(source.file, names)
        names.add(name.casefold())
        attached.append(AttachedLog(file=source.file, name=name, data=data, sha256=source.sha256))
    return tuple(attached)


def _bytes_of(path: Path, most: int) -> bytes | None:
    try:
        if path.stat().st_size > most:
            return None
        with path.open("rb") as stream:
            data = stream.read(most + 1)
    except (OSError, ValueError):
        return None
    return data if len(data) <= most else None


def _free_name(file: str, taken: set[str]) -> str:
    """The path as one name that no attachment has yet: `pours/may.csv` is `pours_may.csv`."""
    stem, dot, ending = _NO_NAME.sub("_", visible(file)).rpartition(".")
    stem, ending = (stem, dot + ending) if stem else (ending, "")
    plain = shorten(stem, _LONGEST_NAME)
    name, number = plain + ending, 1
    while name.casefold() in taken:
        number += 1
        name = f"{plain}-{number}{ending}"
    return name
