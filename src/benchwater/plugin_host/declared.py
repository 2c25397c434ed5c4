"""Checks what a plugin declares against the contract, with a sentence for its author where it fails."""

from collections.abc import Iterator, Sequence

from benchwater.plugin.hooks import CONTRACT_VERSION
from benchwater.plugin.logs import LogKind
from benchwater.plugin.options import Option
from benchwater.plugin_host.loaded import LoadedPlugin
from benchwater.plugin_host.options import UnusableValueError, read_value


def other_version(needed: object) -> str | None:
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


def faults(plugin: LoadedPlugin) -> Iterator[str]:
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
