"""The tables `[plugins.ID]` of bench.toml, checked against what each analysis declares."""

import math
from collections.abc import Iterable, Mapping, Sequence
from types import MappingProxyType

from benchwater.plugin.hooks import Option, OptionValue
from benchwater.plugin_host.loaded import LoadedPlugin, Plugins
from benchwater.read.bench_file import FILE_NAME, BenchError
from benchwater.text import did_you_mean, quoted
from benchwater.units import QuantityError, is_quantity, read_quantity

Written = Mapping[str, Mapping[str, object]]
Lines = Mapping[tuple[str | int, ...], int]


class OptionError(BenchError):
    """bench.toml sets an option that does not exist, or to what it cannot be."""


class UnusableValueError(ValueError):
    """A value that an option cannot have; the message continues 'this value ...'."""


def read_options(plugins: Plugins, written: Written, lines: Lines, *, complete: bool = True) -> Written:
    """The options of every analysis and `report_written` hook by ID, defaults filled in.

    What belongs to a plugin that is off or left out stays as it was written.
    `lines` holds the line of each key below `[plugins]`. An ID that nothing loaded has is refused, and so is
    a name under `off`, unless some plugin could not be loaded or (`complete` False) was left out, as it may
    be that one's. OptionError with one sentence for whatever is wrong.
    """
    declared: dict[str, tuple[Option, ...]] = {}
    for plugin in plugins.loaded:
        for identity, options in plugin.options.items():
            declared[identity] = (*declared.get(identity, ()), *options)
    certain = complete and not plugins.problems
    for name in plugins.off:
        if certain and name not in plugins.left_out:
            near = _nearest(name, {plugin.name for plugin in plugins.loaded} | {*declared})
            raise _error(("off",), f"names `{name}`, and there is no such plugin or analysis{near}", lines)
    given: dict[str, dict[str, object]] = {
        identity: {option.name: option.default for option in options}
        for identity, options in declared.items()
        if options
    }
    for identity, table in written.items():
        if identity in declared:
            given[identity] = given.get(identity, {}) | _checked(identity, declared[identity], table, lines)
            continue
        owner = next((plugin for plugin in plugins.loaded if plugin.id == identity), None)
        if owner is None and certain and not _is_off(identity, plugins.off):
            why = f"sets options of a plugin that is not there{_nearest(identity, {*declared})}"
            raise _error((identity,), why, lines)
        if owner is not None and table and not _is_off(identity, plugins.off):
            raise _error((identity,), _no_options(identity, owner), lines)
        given[identity] = dict(table)
    return MappingProxyType({identity: MappingProxyType(dict(table)) for identity, table in given.items()})


def read_value(option: Option, value: object, *, canonical: bool = False) -> OptionValue:
    """The value of an option as the analysis gets it. UnusableValueError says what it is, and what is needed.

    A quantity is text with its unit, or (`canonical`) a number in the canonical unit.
    """
    if option.kind == "text" and isinstance(value, str):
        return value
    if option.kind == "texts":
        listed = [value] if isinstance(value, str) else value
        if isinstance(listed, list | tuple) and all(isinstance(entry, str) for entry in listed):
            return tuple(listed)
    if option.kind == "word" and value in option.words:
        return value
    if option.kind == "yes_no" and value in ("yes", "no"):
        return value == "yes"
    if option.kind == "yes_no" and isinstance(value, bool):
        return value
    if is_quantity(option.kind) and isinstance(value, str) and not canonical:
        try:
            return read_quantity(value, option.kind)
        except QuantityError as error:
            raise UnusableValueError(f"is `{value}`, which {error}") from None
    if isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value):
        if is_quantity(option.kind) and canonical:
            return float(value)
        if option.kind in {"number", "whole"} and _fits(option, value):
            return int(value) if option.kind == "whole" else float(value)
    raise UnusableValueError(f"is {value!r}, and {_needed(option)} is needed")


def _checked(
    identity: str, options: Sequence[Option], table: Mapping[str, object], lines: Lines
) -> dict[str, object]:
    known = {option.name: option for option in options}
    values: dict[str, object] = {}
    for name, value in table.items():
        option = known.get(name)
        if option is None:
            raise _error((identity, name), _unknown(name, identity, known), lines)
        try:
            values[name] = read_value(option, value)
        except UnusableValueError as error:
            raise _error((identity, name), f"{error} ({option.meaning})", lines) from None
    return values


def _fits(option: Option, value: float) -> bool:
    return (
        (option.kind == "number" or value == int(value))
        and (option.least is None or value >= option.least)
        and (option.most is None or value <= option.most)
    )


def _needed(option: Option) -> str:
    if option.kind == "word":
        return f"one of {quoted(option.words)}"
    if option.kind in {"number", "whole"}:
        bounds = ""
        if option.least is not None and option.most is not None:
            bounds = f" from {option.least:g} to {option.most:g}"
        elif option.least is not None:
            bounds = f" of {option.least:g} or more"
        elif option.most is not None:
            bounds = f" of {option.most:g} or less"
        return f"a {'whole ' if option.kind == 'whole' else ''}number{bounds}"
    return {
        "text": "a text in quotation marks",
        "texts": "a list of texts",
        "yes_no": "true or false",
    }.get(option.kind, f"a {option.kind} with its unit, in quotation marks,")


def _unknown(name: str, identity: str, known: Iterable[str]) -> str:
    names = sorted(known)
    if not names:
        return f"is set, and `{identity}` takes no options"
    return f"is not an option of `{identity}`{did_you_mean(name, names, f'it has {quoted(names)}')}"


def _no_options(identity: str, owner: LoadedPlugin) -> str:
    ids = [analysis.id for analysis in owner.analyses]
    if not ids:
        return f"is set, and `{identity}` takes no options"
    return f"names a file with analyses of other names: write [plugins.{ids[0]}] (it brings {quoted(ids)})"


def _nearest(name: str, there: set[str]) -> str:
    """What may have been meant: a name that ends in it after a dot, else the one most like it."""
    inside = sorted(full for full in there if full.rpartition(".")[2] == name)
    return did_you_mean(inside[0] if inside else name, sorted(there), "`benchwater plugins` lists them")


def _is_off(identity: str, off: Sequence[str]) -> bool:
    return any(name == identity or name.rpartition(".")[2] == identity for name in off)


def _error(path: tuple[str, ...], why: str, lines: Lines) -> OptionError:
    line = lines.get(path) or lines.get(path[:1])
    where = f", line {line}" if line else ""
    return OptionError(f"{FILE_NAME}{where}: `{'.'.join(('plugins', *path))}` {why}")
