"""What is remembered between runs: one small JSON beside the reports, which may be lost without harm."""

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from datetime import date
from pathlib import Path
from typing import Any

from benchwater.files import UNKNOWN_CONTENT, write_atomically

NAME = ".benchwater-due.json"
FORMAT = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Inputs:
    """Content hashes by name: of each file that may be a log, of bench.toml, and of each plugin.

    UNKNOWN_CONTENT stands for a content that could not be looked at, or that changed while it was read: it
    equals no other, itself included, so that such a file is looked at again.
    """

    version: str
    bench: str
    logs: dict[str, str] = field(default_factory=dict)
    plugins: dict[str, str] = field(default_factory=dict)

    def same_as(self, other: "Inputs | None") -> bool:
        """Whether nothing at all changed between the two."""
        return self == other and UNKNOWN_CONTENT not in {
            self.bench,
            *self.logs.values(),
            *self.plugins.values(),
        }

    def settled(self, later: "Inputs") -> "Inputs":
        """These, with whatever is different in `later` marked as not known."""
        return Inputs(
            version=self.version,
            bench=self.bench if self.bench == later.bench else UNKNOWN_CONTENT,
            logs=_settled(self.logs, later.logs),
            plugins=_settled(self.plugins, later.plugins),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Period:
    """A month or a season that has rows.

    It has ended once `ended_on` has come. Its report looks at rows before `rows_until`: `rows` is a
    digest of them all, `files` one for each log file, to say which of them changed.
    """

    label: str
    month: str
    whole_season: bool
    ended_on: date
    rows_until: date
    rows: str = ""
    files: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """The last look at a folder: its contents, and the periods that have rows."""

    inputs: Inputs
    periods: tuple[Period, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class RestsOn:
    """All that one report was made from."""

    rows: str
    files: Mapping[str, str]
    bench: str
    plugins: Mapping[str, str]
    version: str


@dataclass(frozen=True, slots=True, kw_only=True)
class WrittenReport:
    """A report in place: its files, what it rests on, what in it failed, and whether plugins were told."""

    rests_on: RestsOn
    files: tuple[str, ...]
    printed: bool = True
    failed: tuple[str, ...] = ()
    handed_on: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Manifest:
    """The last look, if there was one, and every report written, by label."""

    look: Look | None = None
    reports: Mapping[str, WrittenReport] = field(default_factory=dict)


def read_manifest(out: Path) -> Manifest:
    """The manifest beside the reports; an empty one where it is missing, damaged or of another format."""
    try:
        data = json.loads((out / NAME).read_text(encoding="utf-8"))
        return _manifest(data) if data["format"] == FORMAT else Manifest()
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return Manifest()


def manifest_text(manifest: Manifest) -> str:
    """The manifest as JSON text."""
    data = {"format": FORMAT, **asdict(manifest)}
    return json.dumps(data, ensure_ascii=True, indent=1, sort_keys=True, default=date.isoformat) + "\n"


def write_manifest(out: Path, manifest: Manifest) -> None:
    """Write the manifest beside the reports, atomically."""
    write_atomically(out / NAME, manifest_text(manifest).encode())


def _manifest(data: Mapping[str, Any]) -> Manifest:
    look = data["look"]
    return Manifest(
        look=None if look is None else _look(look),
        reports={str(label): _report(each) for label, each in data["reports"].items()},
    )


def _look(data: Mapping[str, Any]) -> Look:
    inputs = data["inputs"]
    return Look(
        inputs=Inputs(
            version=str(inputs["version"]),
            bench=str(inputs["bench"]),
            logs=_texts(inputs["logs"]),
            plugins=_texts(inputs["plugins"]),
        ),
        periods=tuple(
            Period(
                label=str(each["label"]),
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
    rests = data["rests_on"]
    return WrittenReport(
        rests_on=RestsOn(
            rows=str(rests["rows"]),
            files=_texts(rests["files"]),
            bench=str(rests["bench"]),
            plugins=_texts(rests["plugins"]),
            version=str(rests["version"]),
        ),
        files=tuple(str(name) for name in data["files"]),
        printed=bool(data["printed"]),
        failed=tuple(str(text) for text in data["failed"]),
        handed_on=bool(data["handed_on"]),
    )


def _texts(data: Mapping[str, Any]) -> dict[str, str]:
    return {str(name): str(text) for name, text in data.items()}


def _settled(earlier: dict[str, str], later: dict[str, str]) -> dict[str, str]:
    return {
        name: content if later.get(name) == content else UNKNOWN_CONTENT for name, content in earlier.items()
    }
