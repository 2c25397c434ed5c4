"""Wait until files in a workspace change and then stay unchanged for a while."""

from collections.abc import Callable, Generator
from pathlib import Path

QUIET_MS = 2_000
_IGNORED_ENDINGS = (".pyc", ".part", ".tmp", ".log", ".lock")


class Relevant:
    """Filter of the paths that can change a report: no hidden files, reports or caches."""

    def __init__(self, folder: Path, out: Path) -> None:
        """Take the workspace and the folder where its reports go."""
        self._folder = folder.resolve()
        self._out = out.resolve()

    def __call__(self, path: Path) -> bool:
        """Return whether a change of this path can change a report."""
        if path.is_relative_to(self._out) or not path.is_relative_to(self._folder):
            return False
        parts = path.relative_to(self._folder).parts
        if not parts or parts[0] == "reports" or path.suffix.lower() in _IGNORED_ENDINGS:
            return False
        return not any(part.startswith((".", "~")) or part == "__pycache__" for part in parts)

    def name(self, path: Path) -> str:
        """Return the path relative to the workspace."""
        return path.relative_to(self._folder).as_posix()


def quiet_changes(
    folder: Path,
    relevant: Relevant,
    *,
    poll: bool = False,
    quiet_ms: int = QUIET_MS,
    due_again: Callable[[], bool] = lambda: False,
) -> Generator[tuple[str, ...], None, None]:
    """Yield the names of the files that changed, once nothing has changed for `quiet_ms`.

    Yields no names once at the start, as soon as it notices changes, and whenever `due_again` returns true,
    such as on a new day.
    """
    from watchfiles import watch

    pending: set[str] = set()
    first = True
    for changes in watch(
        folder.resolve(),
        watch_filter=lambda change, path: relevant(Path(path)),
        rust_timeout=quiet_ms,
        yield_on_timeout=True,
        force_polling=poll or None,
        raise_interrupt=True,
        ignore_permission_denied=True,
    ):
        if changes:
            pending.update(relevant.name(Path(path)) for _, path in changes)
        elif first or pending or due_again():
            names = _without_temporary(folder, pending)
            first = False
            pending.clear()
            yield names


def _without_temporary(folder: Path, names: set[str]) -> tuple[str, ...]:
    """Leave out files that an editor made and removed, unless nothing else changed: then it was a folder."""
    temporary = {name for name in names if not Path(name).suffix and not (folder / name).exists()}
    return tuple(sorted(names - temporary or names))
