"""The three places plugins come from, in this order: shipped, installed packages, the workspace.

Imports nothing heavy, so that `due` with nothing to do ends soon.
"""

import importlib.util
import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from importlib.machinery import FileFinder, ModuleSpec, SourceFileLoader
from pathlib import Path
from types import ModuleType
from typing import Any, Literal

Origin = Literal["shipped", "installed", "workspace"]
ENTRY_POINTS = "benchwater"
INIT = "__init__.py"
_PACKAGE = "benchwater_plugins"
_NOT_PLUGINS = ("test_", "conftest")


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """A plugin not yet imported: its name, where it is from, and how to import it."""

    name: str
    origin: Origin
    where: str
    load: Callable[[], object]
    path: Path | None = None

    @property
    def short_name(self) -> str:
        """The name without the folders it lies in."""
        return self.name.rpartition(".")[2]


def candidates(workspace: Path | None, files: Sequence[Path] = ()) -> Iterator[Candidate]:
    """Every plugin there is. `workspace` is the maker's folder, None to leave its plugins out.

    `files` are further plugins, files or folders, taken as if they lay in the workspace's `plugins/`.
    """
    from importlib.metadata import entry_points

    yield from _in_folder(shipped_folder(), "shipped")
    for entry in sorted(entry_points(group=ENTRY_POINTS), key=lambda entry: entry.name):
        yield Candidate(name=entry.name, origin="installed", where=entry.value, load=entry.load)
    if (own := workspace_folder(workspace)) is not None:
        yield from _in_folder(own, "workspace")
    for path in files:
        yield _in_file(path, path.parent, "workspace")


def shipped_folder() -> Path:
    """Where the shipped plugins lie: inside the installed package, or beside `src/` in a checkout."""
    package = Path(__file__).resolve().parents[1]
    installed = package / "shipped_plugins"
    return installed if installed.is_dir() else package.parents[1] / "plugins"


def workspace_folder(workspace: Path | None) -> Path | None:
    """The folder of a workspace's own plugins; None where these are left out, or are the shipped ones."""
    if workspace is None or (workspace / "plugins").resolve() == shipped_folder().resolve():
        return None
    return workspace / "plugins"


def holds_plugins(folder: Path) -> bool:
    """Return whether a folder of plugins holds one that would be loaded."""
    return folder.is_dir() and next(_plugins_below(folder), None) is not None


class _SourceLoader(SourceFileLoader):
    """Compiles a module's source each time: a cached `.pyc` is neither read nor written."""

    def path_stats(self, path: Any) -> Any:
        raise OSError("no cache is used")


class _SourceFinder:
    """Finds the modules of a workspace's plugin that is a folder: as source, and no tests."""

    @staticmethod
    def find_spec(name: str, path: Sequence[str] | None, target: object = None) -> ModuleSpec | None:
        if not name.startswith(f"{_PACKAGE}/workspace/") or path is None:
            return None
        if not name.rpartition(".")[2].startswith(_NOT_PLUGINS):
            for place in path:
                found = FileFinder(place, (_SourceLoader, [".py"])).find_spec(name)
                if found is not None:
                    return found
        raise ModuleNotFoundError(f"there is no module {name.partition('/workspace/')[2]!r}", name=name)


def import_plugin(path: Path, name: str) -> ModuleType:
    """Import a plugin's file, or its folder with an `__init__.py`, afresh and under that name without dots.

    The modules of a folder import from each other with a dot: `from .curves import fitted`.
    """
    file, inside = (path / INIT, [str(path)]) if path.is_dir() else (path, None)
    if not file.is_file():
        raise ImportError(f"{file.name} is not an ordinary file")
    loader = _SourceLoader(name, str(file)) if name.startswith(f"{_PACKAGE}/workspace/") else None
    spec = importlib.util.spec_from_file_location(
        name, file, loader=loader, submodule_search_locations=inside
    )
    if _SourceFinder not in sys.meta_path:
        sys.meta_path.insert(0, _SourceFinder)
    if spec is None or spec.loader is None:
        raise ImportError(f"{path.name} cannot be imported as a Python file")
    module = importlib.util.module_from_spec(spec)
    _forget(name)
    sys.modules[name] = module
    try:
        spec.loader.exec_module(module)
    except BaseException:
        _forget(name)
        raise
    return module


def _in_folder(folder: Path, origin: Origin) -> Iterator[Candidate]:
    if folder.is_dir():
        for path in _plugins_below(folder):
            yield _in_file(path, folder, origin)


def _plugins_below(folder: Path) -> Iterator[Path]:
    """Every plugin in order of path: a file, or a folder with an `__init__.py`, which is one as a whole."""
    for path in sorted(folder.iterdir()):
        if path.name.startswith((".", "_", *_NOT_PLUGINS)):
            continue
        if path.suffix == ".py" or (path / INIT).is_file():
            yield path
        elif path.is_dir() and not path.is_symlink():
            yield from _plugins_below(path)


def _in_file(path: Path, folder: Path, origin: Origin) -> Candidate:
    relative = path.relative_to(folder)
    name = relative.as_posix().removesuffix(".py").replace("/", ".")
    return Candidate(
        name=name,
        origin=origin,
        where=relative.as_posix(),
        load=lambda: import_plugin(path, f"{_PACKAGE}/{origin}/{name.replace('.', '/')}"),
        path=path,
    )


def _forget(name: str) -> None:
    for module in [module for module in sys.modules if f"{module}.".startswith(f"{name}.")]:
        del sys.modules[module]
