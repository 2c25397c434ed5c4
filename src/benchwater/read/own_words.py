"""A maker's own words, from `[words]` of bench.toml: they come before those that all makers use."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from benchwater.plugin.logs import Column, LogKind
from benchwater.read.bench_table import FILE_NAME, BenchError
from benchwater.read.vocabulary import everyday_key
from benchwater.text import did_you_mean

Pairs = Mapping[tuple[str, str], str]


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnWords:
    """By log (or `""` for every log) and heading the column meant, and by log and phrase the word meant.

    `lines` holds the line of each key below `[words]` in bench.toml, by path.
    """

    columns: Pairs = field(default_factory=dict)
    values: Pairs = field(default_factory=dict)
    lines: Mapping[tuple[str | int, ...], int] = field(default_factory=dict)


def with_own_words(kinds: Sequence[LogKind], words: OwnWords) -> tuple[LogKind, ...]:
    """The logs with a maker's own words. BenchError where one stands for what no log has."""
    _refuse_unknown(kinds, words)
    return tuple(
        replace(kind, columns=tuple(_column(column, kind, words) for column in kind.columns))
        for kind in kinds
    )


def _of(pairs: Pairs, log: str) -> dict[str, str]:
    return {
        **{text: meant for (name, text), meant in pairs.items() if not name},
        **{text: meant for (name, text), meant in pairs.items() if name == log},
    }


def _column(column: Column, kind: LogKind, words: OwnWords) -> Column:
    headings = _of(words.columns, kind.name)
    own = tuple(text for text, name in headings.items() if name == column.name)
    taken = {everyday_key(text) for text in headings}
    column = replace(
        column,
        also=(*own, *_without(column.also, taken)),
        everyday=_without(column.everyday, taken),
    )
    known = _words_of(column)
    phrases = {text: word for text, word in _of(words.values, kind.name).items() if word in known}
    if not phrases:
        return column
    taken = {everyday_key(text) for text in phrases}
    old = {word: _without(others, taken) for word, others in column.word_phrases}
    for text, word in phrases.items():
        old[word] = (*old.get(word, ()), text)
    return replace(column, word_phrases=tuple(old.items()), ordinary=_without(column.ordinary, taken))


def _without(phrases: Iterable[str], keys: set[str]) -> tuple[str, ...]:
    return tuple(phrase for phrase in phrases if everyday_key(phrase.partition("[")[0]) not in keys)


def _words_of(column: Column) -> set[str]:
    return {*column.words, *(word for word, _ in column.word_phrases)} - {"*"}


def _refuse_unknown(kinds: Sequence[LogKind], words: OwnWords) -> None:
    faults = []
    for table, pairs in (("columns", words.columns), ("values", words.values)):
        for (log, text), meant in pairs.items():
            of = [kind for kind in kinds if log in ("", kind.name)]
            known = {
                name
                for kind in of
                for column in kind.columns
                for name in ([column.name] if table == "columns" else _words_of(column))
            }
            path = tuple(filter(None, (log, table)))
            where, line = ".".join(("words", *path)), words.lines.get((*path, text))
            at = f"{FILE_NAME}{'' if line is None else f', line {line}'}: `{where}.{text}`"
            if not of:
                faults.append(f"{at} is of a log `{log}`, which there is not")
            elif meant == "?":
                faults.append(f"{at}: write what it stands for in place of `?`")
            elif meant not in known:
                what = "a column" if table == "columns" else "a word"
                hint = did_you_mean(meant, sorted(known), "`benchwater check` lists what it may be")
                faults.append(f"{at}: `{meant}` is not {what} of a log{hint}")
    if faults:
        raise BenchError("\n".join(faults))
