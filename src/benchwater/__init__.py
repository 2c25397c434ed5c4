"""benchwater: the season report for people who make their own fishing lures.

`benchwater.load("my-bench")` reads a folder for a notebook: see `benchwater.notebook`.
"""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from benchwater.notebook import load as load

__all__ = ["load"]
__version__ = "0.1.0"


def __dir__() -> list[str]:
    """Return the names of the module, `load` among them before it is imported."""
    return sorted({*globals(), *__all__})


def __getattr__(name: str) -> object:
    """Import `load` only when it is used: it is slow to import."""
    if name != "load":
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from benchwater.notebook import load

    return load
