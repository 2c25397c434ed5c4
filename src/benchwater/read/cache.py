"""What large files were read as, kept in the workspace: what has not changed is not parsed again.

An entry is a `.npz`: arrays of numbers and one JSON text, never anything pickled. Its name is a digest of the
file's content and of all that reading rests on, so that it answers for nothing else. The folder may be
deleted at any time; an entry that cannot be read is as good as none.
"""

import contextlib
import hashlib
import json
import os
import sys
import tempfile
import zipfile
from collections.abc import Callable, Iterable, Sequence
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from benchwater.read.coded import Coded
from benchwater.read.limits import MOST_ROWS
from benchwater.read.outcome import SetAside
from benchwater.read.rows import ReadRows

FOLDER = ".benchwater-cache"
FORMAT = 1
LEAST_BYTES = 512 * 1024

_CODE = ("read", "units", "plugin")
_TAG = "Signature: 8a477f597d28d172789f06886806bc55\n# What benchwater read; may be deleted at any time.\n"
_EPOCH, _TICK = datetime(1970, 1, 1), timedelta(microseconds=1)
_SAVE: Callable[..., None] = np.savez
_PLAIN = (str, int, float, type(None))


class Remembered(NamedTuple):
    """What a file was read as: the log it is, how it is written, and its rows."""

    log: str
    dialect: str
    content: ReadRows


class ReadCache:
    """The entries of one workspace, under the circumstances of one run."""

    def __init__(self, workspace: Path, rests_on: Iterable[str], least_bytes: int = LEAST_BYTES) -> None:
        """`rests_on` is what reading rests on besides the files and this program: bench.toml, plugins.

        Files of less than `least_bytes` are quicker read than looked up.
        """
        self._folder = workspace / FOLDER
        self._circumstances = digest([str(FORMAT), *_program(), *rests_on])
        self._least_bytes = least_bytes
        self._used: set[str] = set()

    def find(self, data: bytes, sha256: str, file: str) -> Remembered | None:
        """What a file of that content was read as, if that is known."""
        if len(data) < self._least_bytes:
            return None
        path = self._entry(sha256)
        try:
            return _opened(path, file)
        except Exception:  # whatever is wrong with an entry, the file itself can be read
            return None

    def keep(self, data: bytes, sha256: str, remembered: Remembered) -> None:
        """Remember what a file was read as; a folder that cannot be written to remembers nothing."""
        if len(data) < self._least_bytes:
            return
        path = self._entry(sha256)
        with contextlib.suppress(OSError):
            self._folder.mkdir(exist_ok=True)
            for name, text in (("CACHEDIR.TAG", _TAG), (".gitignore", "*\n")):
                if not (self._folder / name).exists():
                    (self._folder / name).write_text(text, encoding="utf-8")
            _write(path, remembered)

    def tidy(self) -> None:
        """Delete the entries that this run did not ask for."""
        with contextlib.suppress(OSError):
            for path in self._folder.glob("*.npz"):
                if path.name not in self._used:
                    path.unlink(missing_ok=True)

    def _entry(self, sha256: str) -> Path:
        name = f"{digest([sha256, self._circumstances])[:40]}.npz"
        self._used.add(name)
        return self._folder / name


def digest(parts: Iterable[str]) -> str:
    """One digest of several texts."""
    return hashlib.sha256(json.dumps(list(parts)).encode()).hexdigest()


def _program() -> Iterable[str]:
    """Versions, and the source that reads, which changes under one version while somebody works on it."""
    import pandas as pd

    from benchwater import __version__

    yield from (__version__, sys.version, np.__version__, pd.__version__)
    package = Path(__file__).resolve().parents[1]
    for path in sorted(path for folder in _CODE for path in (package / folder).rglob("*.py")):
        yield hashlib.sha256(path.read_bytes()).hexdigest()


def _write(path: Path, remembered: Remembered) -> None:
    content = remembered.content
    columns = {name: _described(column.values) for name, column in content.columns.items()}
    if any(described is None for described in columns.values()):
        return
    told = {
        "log": remembered.log,
        "dialect": remembered.dialect,
        "columns": columns,
        "set_aside": [
            [row.line, row.column, row.value, row.why, row.reason, row.log] for row in content.set_aside
        ],
        "fallbacks": sorted(content.fallbacks),
    }
    text = json.dumps(told, ensure_ascii=True).encode()
    arrays = {
        f"codes{number}": _small(column.codes) for number, column in enumerate(content.columns.values())
    }
    handle, temporary = tempfile.mkstemp(prefix=".", suffix=".tmp", dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as stream:
            _SAVE(stream, told=np.frombuffer(text, np.uint8), lines=content.lines, **arrays)
        os.replace(temporary, path)
    except BaseException:
        Path(temporary).unlink(missing_ok=True)
        raise


def _opened(path: Path, file: str) -> Remembered | None:
    if not path.is_file():
        return None
    with zipfile.ZipFile(path) as entry:
        if any(part.compress_type != zipfile.ZIP_STORED for part in entry.infolist()):
            raise ValueError("an entry is never packed")
    with np.load(path, allow_pickle=False) as arrays:
        told = json.loads(arrays["told"].tobytes())
        lines = _checked(arrays["lines"], np.int64)
        columns = {
            name: Coded(_checked(arrays[f"codes{number}"], np.int32), _values(described))
            for number, (name, described) in enumerate(told["columns"].items())
        }
    rows = len(lines)
    if rows > MOST_ROWS or bool(np.any(np.diff(lines) <= 0)):
        raise ValueError("lines in no order")
    for codes, values in columns.values():
        if len(codes) != rows or np.any(codes < 0) or np.any(codes >= len(values)):
            raise ValueError("codes of nothing")
    return Remembered(
        log=_text(told["log"]),
        dialect=_text(told["dialect"]),
        content=ReadRows(
            columns=columns,
            lines=lines,
            set_aside=tuple(_set_aside(file, *row) for row in told["set_aside"]),
            fallbacks=frozenset(map(_text, told["fallbacks"])),
        ),
    )


def _described(values: Sequence[Any]) -> list[Any] | None:
    """Values with how JSON holds them; None where it cannot."""
    kinds = set(map(type, values))
    if kinds <= set(_PLAIN):
        return ["plain", list(values)]
    if kinds <= {datetime, type(None)}:
        return ["moments", [None if value is None else (value - _EPOCH) // _TICK for value in values]]
    if kinds <= {tuple, type(None)} and all(type(tag) is str for tags in values for tag in tags or ()):
        return ["tags", [None if value is None else list(value) for value in values]]
    return None


def _values(described: Sequence[Any]) -> list[Any]:
    kind, values = described
    if kind == "plain" and set(map(type, values)) <= set(_PLAIN):
        return list(values)
    if kind == "moments":
        return [None if value is None else _EPOCH + value * _TICK for value in values]
    if kind == "tags":
        return [None if value is None else tuple(map(_text, value)) for value in values]
    raise ValueError("values of no kind")


def _set_aside(file: str, line: int, *texts: str) -> SetAside:
    column, value, why, reason, log = map(_text, texts)
    return SetAside(file=file, line=int(line), column=column, value=value, why=why, reason=reason, log=log)


def _text(value: object) -> str:
    if not isinstance(value, str):
        raise TypeError("no text")
    return value


def _small(codes: np.ndarray[Any, np.dtype[np.int32]]) -> np.ndarray[Any, Any]:
    return codes.astype(np.min_scalar_type(int(codes.max(initial=0))))


def _checked(array: np.ndarray[Any, Any], dtype: type) -> np.ndarray[Any, Any]:
    if array.ndim != 1 or array.dtype.kind not in "iu":
        raise ValueError("no row of whole numbers")
    return array.astype(dtype)
