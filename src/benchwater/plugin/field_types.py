"""Hold the fields of the contract's dataclasses to their declared types."""

import types
from collections.abc import Callable, Mapping
from functools import cache
from typing import Any, Literal, Union, get_args, get_origin, get_type_hints


class Checked:
    """Base of the contract's dataclasses: making one with a field of another type raises TypeError."""

    __slots__ = ()

    def __post_init__(self) -> None:
        """Check the fields."""
        refuse_wrong_types(self)


def refuse_wrong_types(part: Any) -> None:
    """Raise TypeError if a field of this dataclass holds another type than declared.

    A list may stand for a tuple. Cells of a table's rows are left to `section_faults`.
    """
    kind: Any = type(part)
    for name, hint in _hints(kind).items():
        value = getattr(part, name)
        if not _fits(value, hint):
            is_plain = value is None or isinstance(value, str | int | float | tuple | list | Mapping)
            held = repr(value) if is_plain else type(value).__name__
            held = held if len(held) <= 60 else f"{held[:60]}…"
            comma = ""
            if get_origin(hint) is tuple and not isinstance(value, tuple | list) and value is not None:
                comma = " (a tuple of one ends with a comma: `(x,)`)"
            raise TypeError(f"`{type(part).__name__}.{name}` must be {_spelled(hint)}, not {held}{comma}")


@cache
def _hints(kind: Any) -> Mapping[str, Any]:
    return get_type_hints(kind)


def _fits(value: object, hint: Any) -> bool:
    origin, inner = get_origin(hint), get_args(hint)
    if origin in (Union, types.UnionType):
        return any(_fits(value, each) for each in inner)
    if origin is Literal:
        return isinstance(value, str) and value in inner
    if origin is tuple:
        each = get_origin(inner[0]) if get_origin(inner[0]) is tuple else inner[0]
        return isinstance(value, tuple | list) and all(
            isinstance(entry, tuple | list) if each is tuple else _fits(entry, each) for entry in value
        )
    if origin is Mapping:
        return isinstance(value, Mapping) and all(
            _fits(key, inner[0]) and _fits(entry, inner[1]) for key, entry in value.items()
        )
    if origin is Callable:
        return callable(value)
    return isinstance(value, int | float if hint is float else hint)


def _spelled(hint: Any) -> str:
    origin, inner = get_origin(hint), get_args(hint)
    if origin in (Union, types.UnionType, Literal):
        words = [each if isinstance(each, str) else _spelled(each) for each in inner]
        return " or ".join(filter(None, (", ".join(words[:-1]), words[-1])))
    if origin is tuple:
        return f"a tuple of {_spelled(inner[0])}"
    if origin is Callable:
        return "a function"
    if hint is types.NoneType:
        return "None"
    return str((origin or hint).__name__)
