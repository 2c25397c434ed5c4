"""The plugins of a run, and the problems of those that could not be used."""

import traceback
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from benchwater.plugin.hooks import Analysis, Option, ReportWritten
from benchwater.plugin.logs import LogKind
from benchwater.plugin_host.places import Origin
from benchwater.read.outcome import CheckProblem
from benchwater.supervisor import plugin_call
from benchwater.text import error_text


@dataclass(frozen=True, slots=True, kw_only=True)
class PluginProblem:
    """A plugin that could not be loaded or was refused: where it is from, why, and the traceback if any."""

    origin: str
    name: str
    why: str
    detail: str = ""

    @property
    def sentence(self) -> str:
        """What is wrong, with the plugin's name, for the maker."""
        return f"Plugin {self.name} ({self.origin}) {self.why}"


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadedPlugin:
    """One plugin and what it brings. `where` is its file or folder, or the entry point
    that names it.

    `report_written` is what it wants done with a report that was written, if anything, and `report_options`
    what the maker may set for that.
    """

    name: str
    origin: Origin
    where: str
    log_kinds: tuple[LogKind, ...]
    analyses: tuple[Analysis, ...]
    path: Path | None = None
    report_written: Callable[[ReportWritten], object] | None = None
    report_options: tuple[Option, ...] = ()

    @property
    def id(self) -> str:
        """The name under which bench.toml configures it: its file's without ending, or its entry point's."""
        return self.name.rpartition(".")[2]

    @property
    def options(self) -> Mapping[str, tuple[Option, ...]]:
        """The options that each table `[plugins.ID]` may hold, by ID; empty where it takes none."""
        found = {analysis.id: analysis.options for analysis in self.analyses}
        if self.report_written is not None:
            found[self.id] = (*found.get(self.id, ()), *self.report_options)
        return found


def line_of(error: BaseException, path: Path | None) -> tuple[str, int] | None:
    """Module and line of a plugin that an error came from last; a plugin of one file has no module.

    `path` is the plugin's file or folder, None where it has none. None where the error did not touch it.
    """
    if path is None:
        return None
    frames = [(frame.filename, frame.lineno) for frame in traceback.extract_tb(error.__traceback__)]
    place = path.absolute()
    absolute = [(Path(name).absolute(), line) for name, line in frames]
    inside = [(file, line) for file, line in absolute if line and file.is_relative_to(place)]
    if not inside:
        return None
    file, line = inside[-1]
    return "" if file == place else file.relative_to(place).as_posix(), line


@dataclass(frozen=True, slots=True, kw_only=True)
class Plugins:
    """All plugins of a run, in the order they were loaded.

    `off` is what bench.toml switches off, `left_out` those of the names there that are a plugin's or an
    analysis'.
    """

    loaded: tuple[LoadedPlugin, ...]
    problems: tuple[PluginProblem, ...]
    off: tuple[str, ...] = ()
    left_out: frozenset[str] = frozenset()

    @property
    def log_kinds(self) -> tuple[LogKind, ...]:
        return tuple(
            sorted((kind for plugin in self.loaded for kind in plugin.log_kinds), key=lambda kind: kind.name)
        )

    @property
    def analyses(self) -> tuple[tuple[Analysis, LoadedPlugin], ...]:
        """Every analysis with the plugin that brings it, in the order of the report."""
        pairs = [(analysis, plugin) for plugin in self.loaded for analysis in plugin.analyses]
        return tuple(sorted(pairs, key=lambda pair: (pair[0].order, pair[0].id)))

    def with_check_problems(self, problems: Sequence[CheckProblem]) -> "Plugins":
        """Add the first failure of each log's check to the problems, under the plugin that brings the log."""
        found: list[PluginProblem] = []
        for plugin in self.loaded:
            for kind in plugin.log_kinds:
                first = next((problem for problem in problems if problem.log == kind.name), None)
                if first is not None:
                    why = (
                        f"has a check of the log `{kind.name}` that failed on {first.file}, "
                        f"line {first.line}: {first.why} (such rows are used unchecked)"
                    )
                    found.append(
                        PluginProblem(origin=plugin.origin, name=plugin.where, why=why, detail=first.detail)
                    )
        return replace(self, problems=(*self.problems, *found))

    def hand_on(
        self, report: ReportWritten, options: Mapping[str, Mapping[str, object]]
    ) -> tuple[PluginProblem, ...]:
        """Call `report_written` of every plugin that has it; return what went wrong, for each.

        `options` holds every plugin's options by its id. Nothing a plugin raises leaves this method.
        """
        problems: list[PluginProblem] = []
        for plugin in self.loaded:
            if plugin.report_written is None:
                continue
            try:
                with plugin_call(f"`report_written` of {plugin.where} ({plugin.origin})"):
                    plugin.report_written(replace(report, options=dict(options.get(plugin.id, {}))))
            except KeyboardInterrupt:
                raise
            except BaseException as error:
                problems.append(
                    PluginProblem(
                        origin=plugin.origin,
                        name=plugin.where,
                        why=f"could not do its part with the report of {report.label}: {error_text(error)}",
                        detail=traceback.format_exc(),
                    )
                )
        return tuple(problems)
