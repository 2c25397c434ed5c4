"""Which boxes to tick a column has: its words, yes and no, or the names that stand on the bench."""

from collections.abc import Iterable, Sequence

from benchwater.plugin.bench import Bench
from benchwater.plugin.logs import Column, LogKind, Value
from benchwater.sheets.labels import LETTERS, lines, short_names, two_line_letters
from benchwater.sheets.sheet import Box

MOST_WORDS = 9


def word_boxes(column: Column) -> tuple[Box, ...]:
    """A box for each word, as long as they are few enough to be found at a glance."""
    words: Sequence[str] = ()
    if column.kind == "yes_no":
        words = ("yes", "no")
    elif column.kind == "word" and len(column.words) <= MOST_WORDS:
        words = column.words
    return _boxes(words)


def cavity_boxes(bench: Bench) -> tuple[Box, ...]:
    """A box for each cavity of each mold: one tick says both."""
    molds = short_names(tuple(bench.molds), LETTERS)
    return tuple(
        Box(lines=(molds[name], shown), cells=(name, cavity), bold=True)
        for name, mold in bench.molds.items()
        for cavity, shown in short_names(tuple(mold.cavities), LETTERS).items()
    )


def name_boxes(column: Column, kind: LogKind, bench: Bench) -> tuple[Box, ...]:
    """A box for each name on the bench that this column of this log may hold."""
    if column.refers_to == "item":
        names = _accepted(bench.items, column, kind, bench)
        if any(each.kind == "amount" for each in kind.columns):
            return tuple(
                Box(lines=(shown, bench.items[name].print_unit), cells=(name,), bold=True)
                for name, shown in short_names(names, LETTERS).items()
            )
        return _boxes(names)
    if column.refers_to == "cavity":
        return _boxes(dict.fromkeys(name for mold in bench.molds.values() for name in mold.cavities))
    return _boxes({"mold": bench.molds, "build": bench.builds}.get(column.refers_to or "", ()))


def _boxes(names: Iterable[str]) -> tuple[Box, ...]:
    short = short_names(tuple(names), two_line_letters())
    return tuple(Box(lines=lines(shown), cells=(name,)) for name, shown in short.items())


def _accepted(names: Iterable[str], column: Column, kind: LogKind, bench: Bench) -> list[str]:
    """The names that the log's own check lets pass in a row that says nothing else; all if it lets none."""
    known = list(names)
    return [name for name in known if not _refused(name, column, kind, bench)] or known


def _refused(name: str, column: Column, kind: LogKind, bench: Bench) -> bool:
    if kind.check is None:
        return False
    row: dict[str, Value] = dict.fromkeys(kind.frame_columns)
    row[column.frame_name] = name
    try:
        return any(problem.column == column.name for problem in kind.check(row, bench))
    except Exception:
        return False
