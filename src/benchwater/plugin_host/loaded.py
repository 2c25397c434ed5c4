"""What loading gives: the plugins that are in, and the problems of those that are not."""

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from benchwater.plugin.hooks import Analysis
from benchwater.plugin.logs import LogKind

Origin = Literal["shipped", "installed", "workspace"]


@dataclass(frozen=True, slots=True, kw_only=True)
class PluginProblem:
    """A plugin that could not be loaded or was refused: where it is from, why, and the traceback if any."""

    origin: str
    name: str
    why: str
    detail: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadedPlugin:
    """One plugin and what it brings. `where` is its file, or the entry point that names it."""

    name: str
    origin: Origin
    where: str
    log_kinds: tuple[LogKind, ...]
    analyses: tuple[Analysis, ...]
    path: Path | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Plugins:
    """All plugins of a run, in the order they were loaded."""

    loaded: tuple[LoadedPlugin, ...]
    problems: tuple[PluginProblem, ...]
    off: tuple[str, ...] = ()

    @property
    def log_kinds(self) -> tuple[LogKind, ...]:
        """Every log kind, by name."""
        return tuple(
            sorted((kind for plugin in self.loaded for kind in plugin.log_kinds), key=lambda kind: kind.name)
        )

    @property
    def analyses(self) -> tuple[tuple[Analysis, LoadedPlugin], ...]:
        """Every analysis with the plugin that brings it, in the order of the report."""
        pairs = [(analysis, plugin) for plugin in self.loaded for analysis in plugin.analyses]
        return tuple(sorted(pairs, key=lambda pair: (pair[0].order, pair[0].id)))
