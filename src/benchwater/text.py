"""Text: lists of names, the nearest one to a name that is not known, what an error says, CSV."""

import csv
import io
from collections.abc import Iterable

MOST_COMPARED = 500
"""Among more names than this, none is looked for that is only like another: it would take minutes."""
_LONGEST_COMPARED = 60
_LEAST_LIKE = 0.6


def error_text(error: BaseException) -> str:
    """Return an error's message, with its type unless it is the program's own; also where it has none."""
    try:
        message = str(error)
    except Exception as other:
        message = f"(its message raises {type(other).__name__})"
    if type(error).__module__.startswith("benchwater."):
        return message
    return f"{type(error).__name__}: {message}" if message else type(error).__name__


def first_few(names: Iterable[str], most: int | None) -> str:
    """Return names with commas between: the first `most`, and how many more."""
    every = list(names)
    more = f" and {len(every) - most} more" if most is not None and len(every) > most else ""
    return ", ".join(every[:most]) + more


def quoted(names: Iterable[str], most: int | None = None) -> str:
    """Return the same of names in backquotes."""
    return first_few((f"`{name}`" for name in names), most)


def near_names(name: str, known: Iterable[str], most: int = 1, least: float = _LEAST_LIKE) -> list[str]:
    """Return the known names most like a name, nearest first; case does not matter.

    `least` is how like it a name must be, from 0 to 1. None is near among more than `MOST_COMPARED`.
    """
    from difflib import get_close_matches

    names = list(known)
    if len(names) > MOST_COMPARED:
        return []
    by_folded: dict[str, list[str]] = {}
    for each in names:
        by_folded.setdefault(each.casefold(), []).append(each)
    near = get_close_matches(name.casefold()[:_LONGEST_COMPARED], list(by_folded), most, least)
    return [each for folded in near for each in by_folded[folded]]


def did_you_mean(name: str, known: Iterable[str], otherwise: str) -> str:
    """Return the end of a message about an unknown name: the nearest known one, else `otherwise`."""
    near = near_names(name, known)
    return f"; did you mean `{near[0]}`?" if near else f" ({otherwise})"


def csv_lines(rows: Iterable[Iterable[object]], *, separator: str = ",", end: str = "\n") -> str:
    """Return rows of cells as CSV, cells quoted where they must be."""
    text = io.StringIO()
    csv.writer(text, delimiter=separator, lineterminator=end).writerows(rows)
    return text.getvalue()
