"""benchwater: the season report for people who make their own fishing lures."""

from importlib.metadata import PackageNotFoundError, version

try:
    __version__ = version("benchwater")
except PackageNotFoundError:
    __version__ = "0"
