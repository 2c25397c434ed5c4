"""The PDF report: the HTML printed, with its numbers as JSON and the logs it rests on attached."""

import hashlib
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any

from benchwater.read.outcome import Source
from benchwater.render import printing
from benchwater.words import shorten, visible

NUMBERS_NAME = "season-report.json"
MOST_BYTES = 8_000_000
_FORBIDDEN_IN_NAMES = re.compile(r'[\x00-\x1f/\\:*?"<>|]+')
_LONGEST_NAME = 120


@dataclass(frozen=True, slots=True, kw_only=True)
class AttachedLog:
    """A log file as it was read: its path in the workspace, the name it has in the PDF, and its bytes."""

    file: str
    name: str
    data: bytes
    sha256: str


def print_report(html: str, numbers: str, day: date, logs: Sequence[AttachedLog] = ()) -> bytes:
    """Return the PDF of `render_html(report)`, with `render_json(report)` and the logs attached, dated `day`.

    Raises PrintingUnavailable where native libraries are missing.
    """
    weasyprint, fetcher = printing.weasyprint(), printing.own_fetcher()
    made = datetime(day.year, day.month, day.day)

    def attachment(data: str | bytes, name: str, description: str, relationship: str) -> Any:
        return weasyprint.Attachment(
            string=data,
            name=name,
            description=description,
            created=made,
            modified=made,
            relationship=relationship,
            url_fetcher=fetcher,
        )

    attachments = [
        attachment(numbers, NUMBERS_NAME, "The numbers of this report, unrounded, for other programs", "Data")
    ]
    for log in logs:
        description = f"{visible(log.file)}, a log this report was made from (SHA-256 {log.sha256})"
        attachments.append(attachment(log.data, log.name, description, "Source"))
    return printing.to_pdf(html, attachments=attachments)


def read_logs(
    workspace: Path, sources: Sequence[Source], most_bytes: int = MOST_BYTES
) -> tuple[AttachedLog, ...]:
    """Return the source files that are unchanged since they were read, `most_bytes` together at most.

    Files that changed, are gone or do not fit are left out; the report names those that are in.
    """
    attached: list[AttachedLog] = []
    left = most_bytes
    names: set[str] = {NUMBERS_NAME}
    for source in sources:
        data = _read(workspace / source.file, left)
        if data is None or hashlib.sha256(data).hexdigest() != source.sha256:
            continue
        left -= len(data)
        name = _free_name(source.file, names)
        names.add(name.casefold())
        attached.append(AttachedLog(file=source.file, name=name, data=data, sha256=source.sha256))
    return tuple(attached)


def _read(path: Path, most: int) -> bytes | None:
    try:
        if path.stat().st_size > most:
            return None
        with path.open("rb") as stream:
            data = stream.read(most + 1)
    except (OSError, ValueError):
        return None
    return data if len(data) <= most else None


def _free_name(file: str, taken: set[str]) -> str:
    """Return the path as one name that no attachment has yet: `pours/may.csv` is `pours_may.csv`."""
    stem, dot, ending = _FORBIDDEN_IN_NAMES.sub("_", visible(file)).rpartition(".")
    stem, ending = (stem, dot + ending) if stem else (ending, "")
    short = shorten(stem, _LONGEST_NAME)
    name, number = short + ending, 1
    while name.casefold() in taken:
        number += 1
        name = f"{short}-{number}{ending}"
    return name
