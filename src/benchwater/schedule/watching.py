"""Wait until files in a workspace change and then stay unchanged for a while."""

import time
from collections.abc import Callable, Generator
from pathlib import Path

QUIET_MS = 2_000
_IGNORED_ENDINGS = (".pyc", ".part", ".tmp", ".log", ".lock")


class Relevant:
    """Filter of the paths that can change a report: no hidden files, reports or caches."""

    def __init__(self, folder: Path, out: Path) -> None:
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

    Yields no names once at the start, as soon as it notices changes, whenever `due_again` returns true, such
    as on a new day, and once the folder is back after it was removed.
    """
    while True:
        yield from _quiet_changes(folder, relevant, poll, quiet_ms, due_again)
        while _identity(folder) is None:
            time.sleep(quiet_ms / 1000)


def _identity(folder: Path) -> tuple[int, int] | None:
    """Device and number of the folder, another one once it was removed and made again; None without one."""
    try:
        found = folder.stat()
    except OSError:
        return None
    return found.st_dev, found.st_ino


def _quiet_changes(
    folder: Path, relevant: Relevant, poll: bool, quiet_ms: int, due_again: Callable[[], bool]
) -> Generator[tuple[str, ...], None, None]:
    """Do the same until the folder is removed."""
    from watchfiles import watch

    pending: set[str] = set()
    first, watched = True, _identity(folder)
    for changes in watch(
        folder.resolve(),
        watch_filter=lambda change, path: relevant(Path(path)),
        rust_timeout=quiet_ms,
        yield_on_timeout=True,
        force_polling=poll or None,
        raise_interrupt=True,
        ignore_permission_denied=True,
    ):
        if _identity(folder) != watched:
            return
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
