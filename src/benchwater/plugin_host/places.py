"""The three places plugins come from, in this order: shipped, installed packages, the workspace.

Imports nothing heavy, so that `due` with nothing to do ends soon.
"""

import importlib.util
import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType
from typing import Literal

Origin = Literal["shipped", "installed", "workspace"]
ENTRY_POINTS = "benchwater"
INIT = "__init__.py"


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


def import_plugin(path: Path, name: str) -> ModuleType:
    """Import a plugin's file, or its folder with an `__init__.py`, afresh and under that name without dots.

    The modules of a folder import from each other with a dot: `from .curves import fitted`.
    """
    file, inside = (path / INIT, [str(path)]) if path.is_dir() else (path, None)
    spec = importlib.util.spec_from_file_location(name, file, submodule_search_locations=inside)
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
        if path.name.startswith((".", "_", "test_", "conftest")):
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
        load=lambda: import_plugin(path, f"benchwater_plugins/{origin}/{name.replace('.', '/')}"),
        path=path,
    )


def _forget(name: str) -> None:
    for module in [module for module in sys.modules if f"{module}.".startswith(f"{name}.")]:
        del sys.modules[module]
