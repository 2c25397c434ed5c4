"""benchwater: the season report for people who make their own fishing lures.

`benchwater.load("my-bench")` reads a folder for a notebook: see `benchwater.door`.
"""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from benchwater.door import load as load

    __version__: str


def __getattr__(name: str) -> object:
    """`load` and `__version__`, looked up only when asked for: both are slow to import."""
    if name == "load":
        from benchwater.door import load

        return load
    if name != "__version__":
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from importlib.metadata import PackageNotFoundError, version

    try:
        return version("benchwater")
    except PackageNotFoundError:
        return "0"
