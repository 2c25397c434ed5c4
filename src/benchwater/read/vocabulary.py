"""Find what everyday phrases stand for: words of a column, and headings of a log.

The same words count, their usual misspellings, and little words around them.
"""

import re
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping
from functools import lru_cache, wraps
from typing import ParamSpec, TypeVar

from benchwater.plugin.logs import Column, LogKind
from benchwater.text import near_names
from benchwater.units import is_quantity
from benchwater.units.quantities import is_unit

_SPELT = {
    "mould": "mold", "colour": "color", "coloured": "colored", "grey": "gray", "#": "number", "nr": "number",
    "centre": "center", "aluminium": "aluminum", "metre": "meter", "fibre": "fiber",
    "didnt": "did not", "wasnt": "was not", "isnt": "is not", "wont": "will not", "cant": "can not",
    "doesnt": "does not", "hasnt": "has not", "wouldnt": "would not", "couldnt": "could not",
    "temps": "temp", "&": "and",
}  # fmt: skip
_ARTICLES = frozenset({"the", "a", "an", "my", "our"})
_LITTLE_WORDS = _ARTICLES | frozenset(
    "i it its is was were are be been got get had has have very really just bit little slightly badly "
    "totally completely all again still too so on in of to by at from with for them they this that one "
    "ones up out way again some lot lots pretty quite".split()
)
_LITTLE_IN_HEADINGS = _LITTLE_WORDS | {"did", "do", "doe"}
_DOUBTS = frozenset(
    "not no never almost nearly but and or maybe perhaps probably mostly partly except only half if until "
    "then than think guess might could unless without other un non near less more before instead".split()
)
_DEGREES = frozenset("very really just bit little slightly totally completely so too pretty quite".split())
_QUESTIONS = frozenset("or and how what which when why who where did do doe not no".split())
_LONGEST = 60
_MOST_WORDS = 12
_LONGEST_PHRASE = 6
_MOST_KEPT = 2_000
_Arguments = ParamSpec("_Arguments")
_Result = TypeVar("_Result")
_CLOSE = 0.8
_ORDINARY = frozenset(
    "boat coast host most state later date data rate water weather wind cloud costs shots sight light height "
    "width depth months month year years start finish time".split()
)
_DEGREE_WORDS = frozenset({"deg", "deg.", "degrees", "degree", "in"})
_UNIT = re.compile(r"(?P<name>[^\[(]+)[\[(](?P<unit>[^\])]{1,20})[\])]\s*")
Guess = dict[str, str | None]
"""The columns that a heading may name, each with the unit of its bare numbers."""


def cached_by_identity(function: Callable[_Arguments, _Result]) -> Callable[_Arguments, _Result]:
    """Cache results by the identity of the arguments: hashing a log with all its phrases costs too much."""
    kept: dict[tuple[int, ...], tuple[object, _Result]] = {}

    @wraps(function)
    def cached(*args: _Arguments.args, **kwargs: _Arguments.kwargs) -> _Result:
        key = tuple(map(id, args))
        if key not in kept:
            if len(kept) >= _MOST_KEPT:
                kept.clear()
            kept[key] = args, function(*args, **kwargs)
        return kept[key][1]

    return cached


@lru_cache(maxsize=20_000)
def everyday_key(text: str) -> str:
    """A phrase as everyday phrases are compared: case, punctuation, plural and British spelling ignored."""
    text = text.casefold().replace("'", "").replace("’", "").replace("+/-", "plus minus")
    words = re.findall(r"[^\W_]+|[#✓✔&]", text.replace("±", "plus minus"))
    spelt = (_SPELT.get(word) or _SPELT.get(singular(word)) or singular(word) for word in words)
    return " ".join(word for word in spelt if word not in _ARTICLES)


def singular(word: str) -> str:
    """A word without its plural ending, by rule."""
    if len(word) > 4 and word.endswith("ies"):
        return f"{word[:-3]}y"
    if len(word) > 4 and word.endswith(("ses", "xes", "ches", "shes")):
        return word[:-2]
    return word[:-1] if len(word) > 2 and word.endswith("s") and not word.endswith("ss") else word


@lru_cache(maxsize=20_000)
def unordered_key(text: str) -> str:
    """The words of a heading without little ones, sorted: `temp of the mold` is `mold temp`."""
    words = [word for word in everyday_key(text).split() if word not in _LITTLE_IN_HEADINGS]
    return "" if _QUESTIONS.issuperset(words) else " ".join(sorted(words))


class Spellings:
    """Phrases by first letter and length, to find those that a text may be a misspelling of."""

    def __init__(self, phrases: Iterable[str]) -> None:
        self._phrases: dict[tuple[str, int], list[tuple[int, str]]] = defaultdict(list)
        for at, phrase in enumerate(phrases):
            self._phrases[phrase[:1], len(phrase)].append((at, phrase))
        self.near = lru_cache(maxsize=20_000)(self._near)

    def _near(self, text: str) -> tuple[str, ...]:
        """The phrases that the text may be a misspelling of, in their order."""
        if not 4 <= len(text) <= _LONGEST:
            return ()
        found = {
            each
            for letter in {text[0], text[1]}
            for length in range(len(text) - 2, len(text) + 3)
            for each in self._phrases.get((letter, length), ())
            if is_misspelling(text, each[1])
        }
        return tuple(phrase for _, phrase in sorted(found))


class Vocabulary:
    """Phrases, and what each may stand for."""

    def __init__(self, phrases: Iterable[tuple[str, str]], ask: Iterable[str] = ()) -> None:
        """`phrases` pairs phrases with meanings. `ask` are ordinary words that are no misspelling of one."""
        self.by_key: dict[str, frozenset[str]] = {}
        for phrase, meaning in phrases:
            key = everyday_key(phrase)
            if key:
                self.by_key[key] = self.by_key.get(key, frozenset()) | {meaning}
        self._by_content: dict[str, list[str]] = {}
        for key in self.by_key:
            self._by_content.setdefault(_content(key), []).append(key)
        self._spellings = Spellings(self.by_key)
        self._ask = frozenset(map(everyday_key, ask))

    def exact(self, text: str) -> frozenset[str]:
        """What the phrase itself stands for."""
        return self.by_key.get(everyday_key(text), frozenset())

    def is_asked_about(self, text: str) -> bool:
        """Whether it is an ordinary word that nothing is taken for, or a question."""
        return "?" in text or everyday_key(text) in self._ask

    def near(self, text: str) -> frozenset[str]:
        """What the phrases stand for that the text may be a misspelling of."""
        key = everyday_key(text)
        near = () if key in self._ask else self._spellings.near(key)
        return frozenset().union(*(self.by_key[phrase] for phrase in near))

    def meanings(self, text: str, *, whole: bool) -> frozenset[str]:
        """What a cell may stand for: of several, the first way of reading that finds anything counts.

        A phrase among little words that is a slip away from another stands for both (`in on piece`).
        `whole` cells hold a phrase and nothing else but little words; others may say more beside it.
        """
        if "?" in text or len(text) > _LONGEST:
            return frozenset()
        if found := self.exact(text):
            return found
        key = everyday_key(text)
        if key in self._ask:
            return frozenset()
        if found := self._among_little_words(key):
            return found | self.near(text)
        if found := self.near(text):
            return found
        return frozenset() if whole else self._within(key)

    def _among_little_words(self, key: str) -> frozenset[str]:
        """What the phrases stand for that a text holds with nothing but little words besides."""
        words = set(key.split())
        if words & _DOUBTS and words & _DEGREES:
            return frozenset()
        found: frozenset[str] = frozenset()
        for phrase in self._by_content.get(_content(key), ()) if _content(key) else ():
            if words.issuperset(phrase.split()):
                found |= self.by_key[phrase]
        return found

    def _within(self, key: str) -> frozenset[str]:
        """What the longest phrases in a text stand for, unless another word casts doubt on them."""
        words = key.split()[:_MOST_WORDS]
        found: frozenset[str] = frozenset()
        taken = [False] * len(words)
        for length in range(min(_LONGEST_PHRASE, len(words)), 0, -1):
            for start in range(len(words) - length + 1):
                inside = range(start, start + length)
                meanings = self.by_key.get(" ".join(words[start : start + length]))
                if meanings and not all(taken[at] for at in inside):
                    found |= meanings
                    for at in inside:
                        taken[at] = True
        doubtful = any(word in _DOUBTS for word, is_taken in zip(words, taken, strict=True) if not is_taken)
        return frozenset() if doubtful else found


def _content(key: str) -> str:
    return " ".join(word for word in key.split() if word not in _LITTLE_WORDS)


def is_misspelling(text: str, word: str, most: int = 2) -> bool:
    """Whether a text is one slip away from a word of five letters or more, two from one of nine.

    A slip is a letter too many, too few, another, or two swapped; in a word of four letters two swapped or
    one doubled. `most` is how many there may be. Digits and the first letter are as they should be, unless
    the first two are swapped.
    """
    longest = max(len(text), len(word))
    shortest = min(len(text), len(word))
    if most == 0 or text == word or shortest < 4 or longest - shortest > 2 or not text or not word:
        return False
    if text[0] != word[0] and text[:2] != word[1::-1]:
        return False
    if re.findall(r"[0-9]+", text) != re.findall(r"[0-9]+", word):
        return False
    if shortest == 4:
        is_swapped = sorted(text) == sorted(word) and _slips(text, word) == 1
        return is_swapped or _doubled(text, word) or _doubled(word, text)
    return _slips(text, word) <= (min(most, 2) if shortest >= 9 else 1)


def _doubled(longer: str, shorter: str) -> bool:
    return len(longer) == len(shorter) + 1 and any(
        longer[at] == longer[at + 1] and longer[:at] + longer[at + 1 :] == shorter
        for at in range(len(longer) - 1)
    )


def _slips(text: str, word: str) -> int:
    """The optimal string alignment distance (Damerau 1964, Commun. ACM 7:171)."""
    before, last = [0] * (len(word) + 1), list(range(len(word) + 1))
    for row, letter in enumerate(text, start=1):
        now = [row] + [0] * len(word)
        for at, other in enumerate(word, start=1):
            now[at] = min(last[at] + 1, now[at - 1] + 1, last[at - 1] + (letter != other))
            if row > 1 and at > 1 and letter == word[at - 2] and text[row - 2] == other:
                now[at] = min(now[at], before[at - 2] + 1)
        before, last = last, now
    return last[-1]


@lru_cache(maxsize=2_000)
def plain_heading(text: str) -> str:
    """A heading as it is compared: lower case, words joined by underscores."""
    return "_".join(re.sub(r"[\s_\-]+", " ", text).strip().casefold().split())


@lru_cache(maxsize=2_000)
def split_unit(text: str) -> tuple[str, str | None]:
    """`mold_temp [F]` is `mold_temp` in `F`."""
    match = _UNIT.fullmatch(text.strip())
    return (match["name"].strip(), match["unit"].strip()) if match else (text.strip(), None)


class ColumnNames:
    """The names of one log's columns."""

    def __init__(self, kind: LogKind) -> None:
        self.exact: dict[str, Column] = {}
        self._everyday: dict[str, dict[str, tuple[Column, str | None]]] = {}
        self._unordered: dict[str, dict[str, tuple[Column, str | None]]] = {}
        for column in kind.columns:
            for name in (column.name, *column.also):
                self.exact.setdefault(plain_heading(name), column)
            for phrase in (column.name, *column.also, *column.everyday):
                name, unit = split_unit(phrase)
                self._everyday.setdefault(everyday_key(name), {})[column.name] = column, unit
                self._unordered.setdefault(unordered_key(name), {})[column.name] = column, unit
        self._everyday.pop("", None)
        self._unordered.pop("", None)
        self._spellings = Spellings(self._everyday)
        self._signature = set(kind.signature)
        self._implied = {everyday_key(each) for c in kind.columns for _, says in c.implied for each in says}
        self.near_columns = lru_cache(maxsize=5_000)(self._near_columns)
        self.may_name = lru_cache(maxsize=20_000)(self._may_name)

    def are_all_in(self, headings: set[str]) -> bool:
        """Whether plain headings name outright each column by which the log is known."""
        return self._signature <= {self.exact[each].name for each in headings if each in self.exact}

    def has_phrase(self, name: str) -> bool:
        """Whether a heading without its unit is an everyday heading, in whatever order of words."""
        return everyday_key(name) in self._everyday or unordered_key(name) in self._unordered

    def of_phrase(self, name: str) -> Mapping[str, tuple[Column, str | None]]:
        """The columns of an everyday heading, in whatever order of words, each with the unit it implies."""
        return self._everyday.get(everyday_key(name)) or self._unordered.get(unordered_key(name), {})

    def only_column(self, heading: str) -> Column | None:
        """The column that a heading names outright, or as its only everyday meaning."""
        name, _ = split_unit(heading)
        if (exact := self.exact.get(plain_heading(name))) is not None:
            return exact
        found = self._everyday.get(everyday_key(name), {})
        return next(iter(found.values()))[0] if len(found) == 1 else None

    def guesses(self, heading: str) -> Guess:
        """The columns that an everyday heading fits; the unit may be its last word."""
        name, unit = split_unit(heading)
        whole = self.of_phrase(name)
        words = name.replace("°", " ").replace(",", " ").split()
        if not whole and unit is None and len(words) > 1:
            before = words[:-2] if words[-2].casefold() in _DEGREE_WORDS else words[:-1]
            whole = self.of_phrase(" ".join(before))
            return {found: words[-1] for found, (column, _) in whole.items() if _fits(column, words[-1])}
        return {
            found: unit or own
            for found, (column, own) in whole.items()
            if unit is None or not is_quantity(column.kind) or _fits(column, unit)
        }

    def misspelt(self, heading: str) -> Guess:
        """The columns that the heading may be a misspelling for."""
        name, unit = split_unit(heading)
        key = everyday_key(name)
        near = () if key in _ORDINARY else self._spellings.near(key)
        return {found: unit or own for each in near for found, (_, own) in self._everyday[each].items()}

    def _near_columns(self, heading: str, absent: frozenset[str]) -> tuple[str, ...]:
        """The columns among those absent whose everyday headings are most like a heading."""
        near_to = {key: columns for key, columns in self._everyday.items() if columns.keys() & absent}
        keys = near_names(everyday_key(split_unit(heading)[0]), near_to, most=2, least=_CLOSE)
        return tuple(column for key in keys for column in near_to[key] if column in absent)

    def _may_name(self, heading: str) -> bool:
        """Whether a heading may name any column, or say what stands in every row."""
        return bool(
            plain_heading(split_unit(heading)[0]) in self.exact
            or self.guesses(heading)
            or self.misspelt(heading)
            or everyday_key(heading) in self._implied
        )


@cached_by_identity
def column_names(kind: LogKind) -> ColumnNames:
    """The names of a log's columns."""
    return ColumnNames(kind)


def _fits(column: Column, unit: str) -> bool:
    return is_quantity(column.kind) and is_unit(unit, column.kind)
