"""benchwater: the season report for people who make their own fishing lures.

`benchwater.load("my-bench")` reads a folder for a notebook: see `benchwater.notebook`.
"""

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from benchwater.notebook import SetAsideWarning as SetAsideWarning
    from benchwater.notebook import load as load
    from benchwater.read.bench_table import BenchError as BenchError

_PLACES = {
    "BenchError": "benchwater.read.bench_table",
    "SetAsideWarning": "benchwater.notebook",
    "load": "benchwater.notebook",
}
__all__ = ["BenchError", "SetAsideWarning", "load"]
__version__ = "0.1.0"


def __dir__() -> list[str]:
    """Return the names of the module, with those that are imported only when they are used."""
    return sorted({*globals(), *__all__})


def __getattr__(name: str) -> object:
    """Import a name only when it is used: pandas is slow to import."""
    if name not in _PLACES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(_PLACES[name]), name)
