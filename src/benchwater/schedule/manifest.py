"""What `due` remembers between runs, and the hashes of what is there now.

It is a small JSON file beside the reports, which may be lost without harm. The imports at the top are light,
so that `due` with nothing to do is quick.
"""

import json
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, field, fields, replace
from datetime import date
from functools import partial
from pathlib import Path
from typing import Any, TypeVar

import benchwater
from benchwater.files import (
    BENCH_NAME,
    PICTURE_ENDINGS,
    UNKNOWN_CONTENT,
    content_hash,
    log_files,
    read_own_file,
    write_atomically,
)
from benchwater.plugin_host import trust

NAME = ".benchwater-due.json"
UNTRUSTED = "plugins/"
FORMAT = 4
_Read = TypeVar("_Read", bound="Scan | Period | Inputs | MadeFrom | WrittenReport")


@dataclass(frozen=True, slots=True, kw_only=True)
class Inputs:
    """Content hashes by name: of each file that may be a log or a picture, of bench.toml, and of each plugin.

    UNKNOWN_CONTENT stands for a file or folder that could not be opened or changed while it was read. It
    equals no other content, itself included, so that it is read again.
    """

    version: str
    bench: str
    logs: Mapping[str, str] = field(default_factory=dict)
    plugins: Mapping[str, str] = field(default_factory=dict)

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

        def unchanged(before: Mapping[str, str], after: Mapping[str, str]) -> Mapping[str, str]:
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
    """Return the manifest that JSON holds. ValueError for a name that leads out of the reports' folder."""
    scan = data["scan"]
    found = Manifest(
        scan=None if scan is None else _read(Scan, scan),
        reports={label: _read(WrittenReport, each) for label, each in data["reports"].items()},
    )
    labels = [*found.reports, *(period.label for period in (found.scan.periods if found.scan else ()))]
    for name in (*labels, *(name for report in found.reports.values() for name in report.files)):
        if name in {"", ".", ".."} or any(character in name for character in "/\\:\0"):
            raise ValueError(f"{name!r} is no bare name")
    return found


def _read(kind: type[_Read], data: Mapping[str, Any]) -> _Read:
    """Return a dataclass from JSON. KeyError, TypeError or ValueError where it does not hold one."""
    return kind(**{each.name: _READERS[each.type](data[each.name]) for each in fields(kind)})


def _text(value: object) -> str:
    if not isinstance(value, str):
        raise TypeError(f"{value!r} is no text")
    return value


def _texts(data: Mapping[str, object]) -> dict[str, str]:
    return {name: _text(text) for name, text in data.items()}


_READERS: Mapping[Any, Callable[[Any], Any]] = {
    str: _text,
    bool: bool,
    date: date.fromisoformat,
    Mapping[str, str]: _texts,
    tuple[str, ...]: lambda names: tuple(map(_text, names)),
    tuple[Period, ...]: lambda periods: tuple(_read(Period, each) for each in periods),
    Inputs: partial(_read, Inputs),
    MadeFrom: partial(_read, MadeFrom),
}
"""How a field of each type is read from JSON."""


def hash_inputs(folder: Path, *, workspace_plugins: bool = True) -> Inputs:
    """Hash everything that reports of this folder are made from. Raises nothing for what it cannot open."""
    logs = {
        path.relative_to(folder).as_posix(): UNKNOWN_CONTENT if hides_files else _content(path)
        for path, why_not, hides_files in log_files(folder)
        if why_not is None or hides_files or path.suffix.lower() in PICTURE_ENDINGS
    }
    return replace(hash_bench_and_plugins(folder, workspace_plugins=workspace_plugins), logs=logs)


def _content(path: Path) -> str:
    """Hash of a log; size and time of change of a picture, as these are large and many."""
    if path.suffix.lower() not in PICTURE_ENDINGS:
        return content_hash(path)
    try:
        found = path.stat()
    except OSError:
        return "gone"
    return f"{found.st_size} bytes of {found.st_mtime_ns}"


def hash_bench_and_plugins(folder: Path, *, workspace_plugins: bool = True) -> Inputs:
    """Hash the same without the logs, for a caller that holds their rows.

    The name UNTRUSTED stands for plugins of the workspace that the user has not said yes to.
    """
    held_back = workspace_plugins and bool(trust.untrusted(folder))
    plugins = trust.plugin_contents(folder if workspace_plugins and not held_back else None)
    if held_back:
        plugins[UNTRUSTED] = "not trusted"
    return Inputs(version=benchwater.__version__, bench=content_hash(folder / BENCH_NAME), plugins=plugins)
