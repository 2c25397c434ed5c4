"""A maker's own words, from `[words]` of bench.toml, and what to ask about words that were not understood."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from benchwater.plugin.bench import Bench
from benchwater.plugin.logs import Column, LogKind
from benchwater.read.bench_table import FILE_NAME, BenchError, to_toml
from benchwater.read.outcome import Reading, Reason, SetAside
from benchwater.read.vocabulary import everyday_key
from benchwater.text import did_you_mean, near_names
from benchwater.words import counted, listed

if TYPE_CHECKING:
    from tomlkit import TOMLDocument

Pairs = Mapping[tuple[str, str], str]
_MOST_CHOICES = 12
_WHOLE_FILE = 1_000_000
"""Rows counted for a file that is not read at all, so that it is asked about first."""
_ORDERS = ("day first", "month first")


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


@dataclass(frozen=True, slots=True, kw_only=True)
class WordQuestion:
    """A word of the maker's, what it may stand for, and the rows that hang on it.

    `table` is where bench.toml says so; `guess` is the likeliest of the `choices`, if one is likely.
    """

    table: str
    written: str
    what: str
    choices: tuple[str, ...]
    guess: str | None
    rows: int

    @property
    def text(self) -> str:
        choices = listed([f"`{choice}`" for choice in self.choices], last="or")
        return f"{self.what} ({self._rows}): is it {choices}?"

    @property
    def _rows(self) -> str:
        return "a whole file" if self.rows >= _WHOLE_FILE else counted(self.rows, "row")

    @property
    def line(self) -> str:
        """The line to put into bench.toml, with what else it may be."""
        others = [to_toml(choice) for choice in self.choices if choice != self.guess]
        rest = f"{'or ' if self.guess else ''}{listed(others, last='or')}; " if others else ""
        meant = to_toml(self.guess or "?")
        return f"{to_toml(self.written, key=True)} = {meant}  # {rest}{self._rows}"


def word_questions(reading: Reading, kinds: Sequence[LogKind], bench: Bench) -> tuple[WordQuestion, ...]:
    """A question for each word or heading not understood, the one with most rows first."""
    rows_in = {source.file: source.rows for source in reading.sources}
    headings: Counter[str] = Counter()
    may_be: dict[str, dict[str, None]] = defaultdict(dict)
    for unread in reading.unread_columns:
        if unread.may_be:
            headings[unread.column] += rows_in.get(unread.file, 0)
            may_be[unread.column] |= dict.fromkeys(unread.may_be)
    for refused in reading.not_read:
        for written, names in refused.asks:
            headings[written] += _WHOLE_FILE
            may_be[written] |= dict.fromkeys(names)
    found = [
        WordQuestion(
            table="words.columns",
            written=text,
            what=f"the column `{text}`",
            choices=tuple(may_be[text]),
            guess=next(iter(may_be[text])) if len(may_be[text]) == 1 else None,
            rows=rows,
        )
        for text, rows in headings.items()
    ]
    by_log = {kind.name: kind for kind in kinds}
    entries = [*reading.set_aside, *reading.cells_set_aside]
    by_word = Counter((each.log, each.column, each.value) for each in entries if each.value)
    first = {(each.log, each.column, each.value): each for each in reversed(entries)}
    for key, rows in by_word.items():
        question = _about(first[key], by_log.get(key[0]), bench, rows)
        if question is not None:
            found.append(question)
    undated = sum(each.reason == Reason.DATE_ORDER.name.lower() for each in entries)
    if undated:
        what = "the order of day and month in dates such as 03/04/2026"
        found.append(
            WordQuestion(table="bench", written="dates", what=what, choices=_ORDERS, guess=None, rows=undated)
        )
    merged: dict[tuple[str, str], WordQuestion] = {}
    for question in sorted(found, key=lambda each: (-each.rows, each.table, each.written)):
        merged.setdefault((question.table, question.written), question)
    return tuple(merged.values())


def lines_to_paste(questions: Iterable[WordQuestion]) -> tuple[str, ...]:
    """The lines for bench.toml, under the names of their tables."""
    by_table: dict[str, list[str]] = defaultdict(list)
    for question in questions:
        by_table[question.table].append(question.line)
    return tuple(line for table, lines in by_table.items() for line in (f"[{table}]", *lines))


def write_answer(document: "TOMLDocument", question: WordQuestion, answer: str) -> None:
    """Put the answer into bench.toml, whose comments and layout stay."""
    import tomlkit

    table = document
    for name in question.table.split("."):
        if name not in table:
            is_above = name == "words"
            table[name] = tomlkit.table(is_super_table=is_above)
        table = table[name]
    table[question.written] = answer


def _about(entry: SetAside, kind: LogKind | None, bench: Bench, rows: int) -> WordQuestion | None:
    column = kind.column(entry.column) if kind is not None else None
    if column is None:
        return None
    if entry.reason == Reason.WORD.name.lower() and column.kind == "word":
        guess = _likeliest(entry.value, column)
        table, choices = "words.values", column.words
    elif entry.reason == Reason.NAME.name.lower() and column.refers_to is not None:
        table, choices = "words.names", _names(entry.value, column, bench)
        near = near_names(entry.value, choices)
        guess = near[0] if near else None
    else:
        return None
    what = f"`{entry.value}` under `{column.name}`"
    if not choices:
        return None
    return WordQuestion(
        table=table, written=entry.value, what=what, choices=tuple(choices), guess=guess, rows=rows
    )


def _likeliest(text: str, column: Column) -> str | None:
    phrases = {phrase: word for word, others in column.word_phrases for phrase in (word, *others)}
    near = near_names(text, phrases)
    return phrases[near[0]] if near else None


def _names(text: str, column: Column, bench: Bench) -> tuple[str, ...]:
    if column.refers_to == "cavity":
        names = [f"{mold.name} {cavity}" for mold in bench.molds.values() for cavity in mold.cavities]
    else:
        names = list({"mold": bench.molds, "item": bench.items, "build": bench.builds}[str(column.refers_to)])
    near = near_names(text, names, most=len(names) or 1, least=0.3)
    return tuple(dict.fromkeys([*near, *names]))[:_MOST_CHOICES]
