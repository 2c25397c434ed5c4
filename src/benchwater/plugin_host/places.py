"""The three places plugins come from, in this order: shipped, installed packages, the workspace."""

import importlib.util
import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from importlib.metadata import entry_points
from pathlib import Path
from types import ModuleType

from benchwater.plugin.hooks import PROJECT
from benchwater.plugin_host.loaded import Origin


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """A plugin not yet imported: its name, where it is from, and how to import it."""

    name: str
    origin: Origin
    where: str
    load: Callable[[], object]
    path: Path | None = None


def candidates(workspace: Path | None, files: Sequence[Path] = ()) -> Iterator[Candidate]:
    """Every plugin there is. `workspace` is the maker's folder, None to leave its plugins out.

    `files` are further plugin files, taken as if they lay in the workspace's `plugins/`.
    """
    yield from _in_folder(shipped_folder(), "shipped")
    for entry in sorted(entry_points(group=PROJECT), key=lambda entry: entry.name):
        yield Candidate(name=entry.name, origin="installed", where=entry.value, load=entry.load)
    if workspace is not None and (workspace / "plugins").resolve() != shipped_folder().resolve():
        yield from _in_folder(workspace / "plugins", "workspace")
    for path in files:
        yield _in_file(path, path.parent, "workspace")


def shipped_folder() -> Path:
    """Where the shipped plugins lie: inside the installed package, or beside `src/` in a checkout."""
    package = Path(__file__).resolve().parents[1]
    installed = package / "shipped_plugins"
    return installed if installed.is_dir() else package.parents[1] / "plugins"


def _in_folder(folder: Path, origin: Origin) -> Iterator[Candidate]:
    if not folder.is_dir():
        return
    for path in sorted(folder.rglob("*.py")):
        relative = path.relative_to(folder)
        if path.name.startswith(("_", "test_", "conftest")) or any(
            part.startswith((".", "_")) for part in relative.parts
        ):
            continue
        yield _in_file(path, folder, origin)


def _in_file(path: Path, folder: Path, origin: Origin) -> Candidate:
    relative = path.relative_to(folder)
    name = relative.with_suffix("").as_posix().replace("/", ".")
    return Candidate(
        name=name,
        origin=origin,
        where=relative.as_posix(),
        load=_file_loader(path, f"{origin}.{name}"),
        path=path,
    )


def _file_loader(path: Path, name: str) -> Callable[[], ModuleType]:
    def load() -> ModuleType:
        module_name = f"benchwater_plugins.{name}"
        spec = importlib.util.spec_from_file_location(module_name, path)
        if spec is None or spec.loader is None:
            raise ImportError(f"{path.name} cannot be imported as a Python file")
        module = importlib.util.module_from_spec(spec)
        sys.modules[module_name] = module
        try:
            spec.loader.exec_module(module)
        except BaseException:
            del sys.modules[module_name]
            raise
        return module

    return load
