"""What `due` remembers between runs: a small JSON file beside the reports, which may be lost without harm."""

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from datetime import date
from pathlib import Path
from typing import Any

from benchwater.files import UNKNOWN_CONTENT, read_own_file, write_atomically

NAME = ".benchwater-due.json"
UNTRUSTED = "plugins/"
FORMAT = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Inputs:
    """Content hashes by name: of each file that may be a log or a picture, of bench.toml, and of each plugin.

    UNKNOWN_CONTENT stands for a file or folder that could not be opened or changed while it was read. It
    equals no other content, itself included, so that it is read again.
    """

    version: str
    bench: str
    logs: dict[str, str] = field(default_factory=dict)
    plugins: dict[str, str] = field(default_factory=dict)

    def same_as(self, other: "Inputs | None") -> bool:
        """Return whether nothing changed between the two."""
        contents = {self.bench, *self.logs.values(), *self.plugins.values()}
        return self == other and UNKNOWN_CONTENT not in contents

    @property
    def unreadable(self) -> tuple[str, ...]:
        """The log files and folders that could not be opened, where no change is marked as unknown."""
        return tuple(name for name, content in self.logs.items() if content == UNKNOWN_CONTENT)

    def mark_changes(self, later: "Inputs") -> "Inputs":
        """Return these inputs, with UNKNOWN_CONTENT for whatever is different in `later`."""

        def unchanged(before: dict[str, str], after: dict[str, str]) -> dict[str, str]:
            return {
                name: content if after.get(name) == content else UNKNOWN_CONTENT
                for name, content in before.items()
            }

        return Inputs(
            version=self.version,
            bench=self.bench if self.bench == later.bench else UNKNOWN_CONTENT,
            logs=unchanged(self.logs, later.logs),
            plugins=unchanged(self.plugins, later.plugins),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Period:
    """A month or a season that has rows.

    It has ended once `ended_on` has come. Its report covers rows before `rows_until`: `rows` is a digest of
    them all, `files` holds one for each log file, to say which of them changed.
    """

    label: str
    month: str
    whole_season: bool
    ended_on: date
    rows_until: date
    rows: str = ""
    files: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Scan:
    """A folder as it was last read: its contents, and the periods that have rows."""

    inputs: Inputs
    periods: tuple[Period, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class MadeFrom:
    """All that one report was made from."""

    rows: str
    files: Mapping[str, str]
    bench: str
    plugins: Mapping[str, str]
    version: str


@dataclass(frozen=True, slots=True, kw_only=True)
class WrittenReport:
    """A report in place: what it was made from, its files, what in it failed.

    `handed_on` is whether every plugin's `report_written` hook accepted it.
    """

    made_from: MadeFrom
    files: tuple[str, ...]
    printed: bool = True
    failed: tuple[str, ...] = ()
    handed_on: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Manifest:
    """The last scan, if there was one, and every report written, by label."""

    scan: Scan | None = None
    reports: Mapping[str, WrittenReport] = field(default_factory=dict)


def read_manifest(out: Path) -> Manifest:
    """Read the manifest beside the reports; an empty one if it is missing, damaged or of another format."""
    try:
        data = json.loads(read_own_file(out / NAME))
        return _manifest(data) if data["format"] == FORMAT else Manifest()
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return Manifest()


def write_manifest(out: Path, manifest: Manifest) -> None:
    """Write the manifest beside the reports."""
    write_atomically(out / NAME, manifest_text(manifest).encode())


def manifest_text(manifest: Manifest) -> str:
    """Return the manifest as JSON text."""
    data = {"format": FORMAT, **asdict(manifest)}
    return json.dumps(data, ensure_ascii=True, indent=1, sort_keys=True, default=date.isoformat) + "\n"


def _manifest(data: Mapping[str, Any]) -> Manifest:
    scan = data["scan"]
    return Manifest(
        scan=None if scan is None else _scan(scan),
        reports={_bare_name(label): _report(each) for label, each in data["reports"].items()},
    )


def _scan(data: Mapping[str, Any]) -> Scan:
    inputs = data["inputs"]
    return Scan(
        inputs=Inputs(
            version=str(inputs["version"]),
            bench=str(inputs["bench"]),
            logs=_texts(inputs["logs"]),
            plugins=_texts(inputs["plugins"]),
        ),
        periods=tuple(
            Period(
                label=_bare_name(each["label"]),
                month=str(each["month"]),
                whole_season=bool(each["whole_season"]),
                ended_on=date.fromisoformat(each["ended_on"]),
                rows_until=date.fromisoformat(each["rows_until"]),
                rows=str(each["rows"]),
                files=_texts(each["files"]),
            )
            for each in data["periods"]
        ),
    )


def _report(data: Mapping[str, Any]) -> WrittenReport:
    made_from = data["made_from"]
    return WrittenReport(
        made_from=MadeFrom(
            rows=str(made_from["rows"]),
            files=_texts(made_from["files"]),
            bench=str(made_from["bench"]),
            plugins=_texts(made_from["plugins"]),
            version=str(made_from["version"]),
        ),
        files=tuple(_bare_name(name) for name in data["files"]),
        printed=bool(data["printed"]),
        failed=tuple(str(text) for text in data["failed"]),
        handed_on=bool(data["handed_on"]),
    )


def _bare_name(name: str) -> str:
    """Return the name of a file or folder. ValueError if it leads out of the folder that it lies in."""
    if name in {"", ".", ".."} or any(character in name for character in "/\\:\0"):
        raise ValueError(f"{name!r} is no bare name")
    return name


def _texts(data: Mapping[str, Any]) -> dict[str, str]:
    return {str(name): str(text) for name, text in data.items()}
