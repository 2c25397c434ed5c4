"""Wait for files to change and then be quiet. What is done then is another's business."""

from collections.abc import Callable, Generator
from pathlib import Path

QUIET_MS = 2_000
_IGNORED_ENDINGS = (".pyc", ".part", ".tmp", ".log", ".lock")


class Relevant:
    """Which paths below the workspace can change a report: hidden files, reports and caches cannot."""

    def __init__(self, folder: Path, out: Path) -> None:
        """`folder` is the workspace, `out` where its reports go."""
        self._folder = folder.resolve()
        self._out = out.resolve()

    def __call__(self, path: Path) -> bool:
        """Whether a change of this path is worth a look."""
        if path.is_relative_to(self._out) or not path.is_relative_to(self._folder):
            return False
        parts = path.relative_to(self._folder).parts
        if not parts or parts[0] == "reports" or path.suffix.lower() in _IGNORED_ENDINGS:
            return False
        return not any(part.startswith((".", "~")) or part == "__pycache__" for part in parts)

    def name(self, path: Path) -> str:
        """The path as the maker knows it."""
        return path.relative_to(self._folder).as_posix()


def quiet_changes(
    folder: Path,
    relevant: Relevant,
    *,
    poll: bool = False,
    quiet_ms: int = QUIET_MS,
    anew: Callable[[], bool] = lambda: False,
) -> Generator[tuple[str, ...], None, None]:
    """The names of what changed, once nothing has changed any more for `quiet_ms`.

    Also yields, with no names, once at the start, when it already notices changes, and when `anew` says
    that it is time for another reason, such as a new day.
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
        elif first or pending or anew():
            names = _worth_naming(folder, pending)
            first = False
            pending.clear()
            yield names


def _worth_naming(folder: Path, names: set[str]) -> tuple[str, ...]:
    """All but what an editor made and took away again, unless there is nothing else: then it was a folder."""
    fleeting = {name for name in names if not Path(name).suffix and not (folder / name).exists()}
    return tuple(sorted(names - fleeting or names))
