"""Loads every plugin in its own guard, checks what it brings, and lists what is wrong with the rest."""

import traceback
from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path
from typing import TypeVar

import pluggy

from benchwater.plugin.hooks import CONTRACT_VERSION, PROJECT, Analysis, Hooks, Option, ReportWritten
from benchwater.plugin.logs import LogKind
from benchwater.plugin_host import trust
from benchwater.plugin_host.loaded import LoadedPlugin, PluginProblem, Plugins, line_of
from benchwater.plugin_host.options import UnusableValueError, read_value
from benchwater.plugin_host.places import Candidate, candidates
from benchwater.supervisor import plugin_call
from benchwater.text import did_you_mean, error_text

NOT_TRUSTED = (
    "was not run: it is Python code that would run as you, and you have not said yes to it on this computer "
    "as it is now. Look at the files in plugins/, then say yes with `benchwater plugins FOLDER --trust`"
)
_Brought = TypeVar("_Brought", LogKind, Analysis, Option)


class _RefusedError(Exception):
    """A plugin that was imported but cannot be taken; the message says what to change."""


def load_plugins(workspace: Path | None, off: Sequence[str] = (), *, files: Sequence[Path] = ()) -> Plugins:
    """Load plugins from all three places (see `places`). One that fails is a problem in the result.

    `off` names plugins, or the ids of analyses, that bench.toml switches off: the first of that name, so that
    a later one, such as the workspace's own, takes its place. `files` are further plugin files, taken as if
    they lay in the workspace's `plugins/`. Of those nothing runs until the user trusts them (see `trust`).
    """
    manager = pluggy.PluginManager(PROJECT)
    manager.add_hookspecs(Hooks)
    loaded: list[LoadedPlugin] = []
    problems: list[PluginProblem] = []
    left_out: set[str] = set()
    held_back = bool(trust.untrusted(workspace))
    for candidate in candidates(workspace, files):
        still_off = [name for name in off if name not in left_out]
        if candidate.name in still_off:
            left_out.add(candidate.name)
            continue
        if held_back and candidate.origin == "workspace" and candidate.path not in files:
            problems.append(_problem(candidate, NOT_TRUSTED))
            continue
        try:
            with plugin_call(f"Loading {candidate.where} ({candidate.origin})"):
                loaded.append(_load(candidate, manager, loaded, still_off, left_out))
        except _RefusedError as refusal:
            problems.append(_problem(candidate, str(refusal)))
        except KeyboardInterrupt:
            raise
        except BaseException as error:
            why = f"could not be loaded: {error_text(error)}{_at(error, candidate)}"
            problems.append(_problem(candidate, why, traceback.format_exc()))
    return Plugins(
        loaded=tuple(loaded), problems=tuple(problems), off=tuple(off), left_out=frozenset(left_out)
    )


def _problem(candidate: Candidate, why: str, detail: str = "") -> PluginProblem:
    return PluginProblem(origin=candidate.origin, name=candidate.where, why=why, detail=detail)


def _load(
    candidate: Candidate,
    manager: pluggy.PluginManager,
    earlier: Sequence[LoadedPlugin],
    off: Sequence[str],
    left_out: set[str],
) -> LoadedPlugin:
    plugin = candidate.load()
    refusal = _other_version(getattr(plugin, "CONTRACT_VERSION_NEEDED", CONTRACT_VERSION))
    if refusal is not None:
        raise _RefusedError(refusal)
    _refuse_unusable_hooks(plugin, manager)
    manager.register(plugin, name=f"{candidate.origin}:{candidate.name}")
    try:
        analyses = tuple(_answers(manager.hook.analyses, plugin, Analysis))
        report_written = _report_written(manager.hook.report_written, plugin)
        report_options = tuple(_answers(manager.hook.report_options, plugin, Option))
        if report_options and report_written is None:
            raise _RefusedError(
                "implements `report_options`, and not `report_written`, whose options they are"
            )
        brought = LoadedPlugin(
            name=candidate.name,
            origin=candidate.origin,
            where=candidate.where,
            path=candidate.path,
            log_kinds=tuple(_answers(manager.hook.log_kinds, plugin, LogKind)),
            analyses=tuple(analysis for analysis in analyses if analysis.id not in off),
            report_written=None if candidate.short_name in off else report_written,
            report_options=report_options,
        )
        _refuse_taken_names(brought, earlier)
        for fault in _faults(brought):
            raise _RefusedError(fault)
    except BaseException:
        manager.unregister(plugin)
        raise
    left_out.update(analysis.id for analysis in analyses if analysis.id in off)
    if report_written is not None and candidate.short_name in off:
        left_out.add(candidate.short_name)
    return brought


def _refuse_unusable_hooks(plugin: object, manager: pluggy.PluginManager) -> None:
    known = [name for name in vars(Hooks) if not name.startswith("_")]
    offered = {
        name: options
        for name in dir(plugin)
        if (options := manager.parse_hookimpl_opts(plugin, name)) is not None
    }
    for name, options in offered.items():
        if name not in known:
            hint = did_you_mean(name, known, f"hooks: {', '.join(known)}")
            raise _RefusedError(f"implements a hook `{name}` that does not exist{hint}")
        if options.get("wrapper") or options.get("hookwrapper"):
            raise _RefusedError(
                f"wraps the hook `{name}`, which benchwater never calls together with others': write a plain "
                "`@hookimpl` without `wrapper=True`"
            )
    if not offered:
        raise _RefusedError(
            f"implements no hook (hooks: {', '.join(known)}): is the `@hookimpl` decorator missing?"
        )


def _answers(caller: pluggy.HookCaller, plugin: object, kind: type[_Brought]) -> Iterable[_Brought]:
    for implementation in caller.get_hookimpls():
        if implementation.plugin is not plugin:
            continue
        answer = implementation.function()
        if not isinstance(answer, Iterable) or isinstance(answer, str):
            raise _RefusedError(f"`{caller.name}` must return a list of {kind.__name__}, not {answer!r}")
        for entry in answer:
            if not isinstance(entry, kind):
                raise _RefusedError(
                    f"`{caller.name}` must return a list of {kind.__name__}; one of them is {entry!r}"
                )
            yield entry


def _report_written(caller: pluggy.HookCaller, plugin: object) -> Callable[[ReportWritten], object] | None:
    found = next((each for each in caller.get_hookimpls() if each.plugin is plugin), None)
    if found is None:
        return None
    return found.function if found.argnames else lambda report: found.function()


def _refuse_taken_names(brought: LoadedPlugin, earlier: Sequence[LoadedPlugin]) -> None:
    for analysis in brought.analyses:
        if not analysis.id.isidentifier():
            raise _RefusedError(f"the analysis id {analysis.id!r} must be a plain name such as `rainy_days`")
    for other in earlier:
        for analysis in brought.analyses:
            if analysis.id in {taken.id for taken in other.analyses}:
                raise _RefusedError(_taken("analysis", analysis.id, other, analysis.id))
        for kind in brought.log_kinds:
            if kind.name in {taken.name for taken in other.log_kinds}:
                raise _RefusedError(_taken("log", kind.name, other, other.name))


def _taken(what: str, name: str, other: LoadedPlugin, switch: str) -> str:
    return (
        f"brings the {what} `{name}`, which {other.where} ({other.origin}) already brings: choose another "
        f"name, or switch that one off in bench.toml with `off = [{switch!r}]` under [plugins]"
    )


def _at(error: BaseException, candidate: Candidate) -> str:
    found = line_of(error, candidate.path)
    if found is None or isinstance(error, SyntaxError):  # its message says where
        return ""
    module, line = found
    return f" ({module}, line {line})" if module else f" (line {line})"


def _other_version(needed: object) -> str | None:
    """Why a plugin that needs this version of the contract is refused, and what to change."""
    if needed == CONTRACT_VERSION:
        return None
    if not isinstance(needed, int):
        return f"says CONTRACT_VERSION_NEEDED = {needed!r}: write a whole number, here {CONTRACT_VERSION}"
    if needed > CONTRACT_VERSION:
        advice = "install a newer benchwater, or write it for this version (see DEVELOPERS.md) and say"
    else:
        advice = "change what DEVELOPERS.md names since then, and say"
    return (
        f"was written for version {needed} of the plugin contract, and this is version {CONTRACT_VERSION}: "
        f"{advice} CONTRACT_VERSION_NEEDED = {CONTRACT_VERSION}"
    )


def _faults(plugin: LoadedPlugin) -> Iterator[str]:
    """What is wrong with the declarations of a plugin, apart from names that another one has taken."""
    for identity, options in plugin.options.items():
        yield from _option_faults(identity, options)
    for kind in plugin.log_kinds:
        yield from _log_faults(kind)


def _option_faults(identity: str, options: Sequence[Option]) -> Iterator[str]:
    names = [option.name for option in options]
    for option in options:
        of = f"the option {option.name!r} of `{identity}`"
        if not option.name.isidentifier():
            yield f"{of} must be a plain name such as `least_trips`"
        if names.count(option.name) > 1:
            yield f"{of} is declared twice"
        if option.kind == "word" and not option.words:
            yield f"{of} is a `word`, and names no `words` to choose from"
        elif option.default is not None:
            try:
                read_value(option, option.default, canonical=True)
            except UnusableValueError as error:
                yield f"{of} has a default that {error}"


def _log_faults(kind: LogKind) -> Iterator[str]:
    of = f"the log `{kind.name}`"
    date = kind.column("date")
    if date is None or date.kind != "date" or not date.needed:
        yield (
            f"{of} must declare `Column(name='date', kind='date', needed=True, ...)`, as every row stands "
            "for a day (other headings for it go into `also`)"
        )
    for column in kind.columns:
        other = "item" if column.kind in {"amount", "spread"} else "mold"
        if other == "mold" and column.refers_to != "cavity":
            continue
        decides = kind.column(other)
        if decides is None or (decides.kind, decides.refers_to, decides.needed) != ("name", other, True):
            yield (
                f"{of} has a column `{column.name}` that is read by the {other} of its row: declare "
                f"`Column(name='{other}', kind='name', refers_to='{other}', needed=True, ...)`"
            )
    names = [*kind.frame_columns]
    for name in dict.fromkeys(name for name in names if names.count(name) > 1):
        yield f"{of} has two columns named `{name}`"
    for name in kind.signature:
        if kind.column(name) is None:
            yield f"{of} is known by a column `{name}` that it does not declare"
