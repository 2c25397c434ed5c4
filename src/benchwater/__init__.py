"""benchwater: the season report for people who make their own fishing lures."""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    __version__: str


def __getattr__(name: str) -> str:
    """`__version__`, looked up only when asked for: package metadata is slow to import."""
    if name != "__version__":
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from importlib.metadata import PackageNotFoundError, version

    try:
        return version("benchwater")
    except PackageNotFoundError:
        return "0"
