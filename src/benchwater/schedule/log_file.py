"""A log file a person can find and read, which never grows beyond two files of a bounded size."""

import os
from pathlib import Path

MOST_BYTES = 200_000
NAME = "due.log"


def add_lines(path: Path, lines: list[str], *, stamp: str, most_bytes: int = MOST_BYTES) -> None:
    """Add lines at the end, each behind the stamp. A full file becomes `<name>.old`, in place of the last.

    OSError where it cannot be written.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    if path.exists() and path.stat().st_size > most_bytes:
        os.replace(path, path.with_name(f"{path.stem}.old{path.suffix}"))
    with path.open("a", encoding="utf-8", errors="replace", newline="\n") as stream:
        stream.writelines(f"{stamp}  {line}\n" for text in lines for line in text.splitlines())
