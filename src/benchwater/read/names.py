"""Finds what on the bench a maker's name stands for: where exactly one thing fits, and never by guessing."""

import re
from collections import defaultdict
from collections.abc import Iterable, Mapping
from functools import lru_cache
from typing import NamedTuple

from benchwater.plugin.bench import Bench
from benchwater.read.dates import MONTHS
from benchwater.read.vocabulary import is_misspelling, singular
from benchwater.text import MOST_COMPARED, near_names, quoted

MOST_NAMED = 8
_WORDS = re.compile(r"[0-9]+(?:[./][0-9]+)*|[^\W\d_]+")
_SIZE = re.compile(r"^(?:#|no\.?|number|size|sz)\s*(?=[0-9])", re.IGNORECASE)
_SIZE_WORDS = frozenset({"size", "number", "no", "sz"})
_ARTICLES = frozenset({"the", "my", "our"})
_OF_MOLD = frozenset({"mold", "mould", "jig", "head", "die", "cavity", "oz", "ounce", *_SIZE_WORDS})
_OF_BUILD = frozenset({"bait", "lure", "jig", *_SIZE_WORDS})
_OF_KIND: Mapping[str, frozenset[str]] = {
    "metal": _SIZE_WORDS | {"metal", "ingot"},
    "insert": _SIZE_WORDS,
    "coat": _SIZE_WORDS | {"powder", "paint", "coat", "coating", "color", "colour"},
    "plastic": _SIZE_WORDS | {"plastic", "plastisol"},
    "fitting": _SIZE_WORDS,
}
_LIKE_A_DATE = re.compile(
    rf"(?:[0-9]{{1,2}}[-. ])?(?:{'|'.join(MONTHS)})[a-z]*(?:[-. ][0-9]{{1,4}})?"
    r"|[0-9]{4}-[0-9]{2}-[0-9]{2}.*|[0-9]{1,2}-[0-9]{1,2}(?:-[0-9]{2,4})?",
    re.IGNORECASE,
)


class Place(NamedTuple):
    """A cavity of a mold."""

    mold: str
    cavity: str


class _Known:
    """Names by spelling, words and letters; `optional` are the words that makers leave out or put to each."""

    def __init__(self, names: tuple[str, ...], optional: tuple[frozenset[str], ...]) -> None:
        self._by_spelling: dict[str, str] = {}
        self._by_words, self._by_letters, self._by_needed = (
            defaultdict[object, list[str]](list) for _ in range(3)
        )
        self._places_of_word: defaultdict[object, set[int]] = defaultdict(set)
        for place, (name, left_out) in enumerate(zip(names, optional, strict=True)):
            words = words_of_name(name)
            self._by_spelling.setdefault(same_spelling(name), name)
            self._by_words[words].append(name)
            self._by_letters[_letters(name)].append(name)
            self._by_needed[left_out, _needed(words, left_out)].append(name)
            for word in {words[0], *words[1]}:
                self._places_of_word[left_out, word].add(place)
        self._names, self._optional = names, dict.fromkeys(optional)

    def same_name(self, text: str, slips: int = 1) -> str | None:
        """The name that a text spells; else the only one of the same words, or a few slips away.

        Slips are looked for among `MOST_COMPARED` names at most.
        """
        exact = self._by_spelling.get(same_spelling(text))
        words = words_of_name(text)
        if exact is not None or not any(words):
            return exact
        found = self._by_words.get(words) or self._by_letters.get(_letters(text)) or []
        for left_out in self._optional if not found else ():
            needed = _needed(words, left_out)
            found = [*found, *(self._by_needed.get((left_out, needed), ()) if any(needed) else ())]
        if not found and slips and len(self._names) <= MOST_COMPARED:
            letters, joined = _letters(text), "".join(words[1])
            found = [
                name
                for name in self._names
                if is_misspelling(letters, _letters(name), slips)
                or is_misspelling(joined, "".join(words_of_name(name)[1]), slips)
            ]
        return found[0] if len(found) == 1 else None

    def only_with_these_words(self, text: str) -> str | None:
        """The only name that holds all the words of a text."""
        found: set[int] = set()
        for left_out in self._optional:
            in_front, others = _needed(words_of_name(text), left_out)
            if words := {in_front, *others} - {""}:
                found |= set.intersection(
                    *(self._places_of_word.get((left_out, each), set()) for each in words)
                )
        return self._names[found.pop()] if len(found) == 1 else None


_known = lru_cache(maxsize=16)(_Known)


def find_name(text: str, refers_to: str, bench: Bench) -> str | None:
    """The mold, item or build of the bench that a cell names, if exactly one fits."""
    names = _names(refers_to, bench)
    meant = bench.names.get(same_spelling(text))
    if meant is not None or text in names:
        name = text if meant is None else meant
        return name if name in names else None
    if refers_to == "item":
        kinds = tuple(_OF_KIND[item.kind] for item in bench.items.values())
        return _known(tuple(names), kinds).same_name(text)
    known = _all_with(_OF_MOLD if refers_to == "mold" else _OF_BUILD, names)
    return known.same_name(text) or known.only_with_these_words(text)


def same_name(text: str, known: Iterable[str]) -> str | None:
    """The known name that a text spells, in whatever case and order of words, if exactly one fits."""
    return _all_with(frozenset(), known).same_name(text, slips=0)


def find_cavity(text: str, mold: str, bench: Bench) -> str | None:
    """The cavity of a known mold that a cell names, if exactly one fits."""
    meant = bench.names.get(same_spelling(text), text)
    cavities = bench.molds[mold].cavities
    known = _all_with(_OF_MOLD, cavities)
    found = known.same_name(meant) or known.only_with_these_words(meant)
    if found is None and (place := find_place(meant, bench)) is not None and place.mold == mold:
        found = place.cavity
    return found or _from_a_date(text, cavities)


def find_place(text: str, bench: Bench) -> Place | None:
    """The mold and cavity that one cell names together, or by the name of the only cavity of its kind."""
    meant = bench.names.get(same_spelling(text), text)
    pairs = [Place(mold.name, cavity) for mold in bench.molds.values() for cavity in mold.cavities]
    by_name = {f"{pair.mold} {pair.cavity}": pair for pair in pairs}
    known = _all_with(_OF_MOLD, (f"{pair.mold} {pair.cavity}" for pair in pairs))
    found = known.same_name(meant)
    if found is not None:
        return by_name[found]
    mold = find_name(meant, "mold", bench)
    if mold is not None:
        cavities = list(bench.molds[mold].cavities)
        return Place(mold, cavities[0]) if len(cavities) == 1 else None
    found = known.only_with_these_words(meant)
    if found is not None:
        return by_name[found]
    cavities_named = [pair for pair in pairs if same_spelling(pair.cavity) == same_spelling(meant)]
    return cavities_named[0] if len(cavities_named) == 1 else None


def why_no_cavity(text: str, mold: str, bench: Bench) -> str:
    """The sentence for a cavity that the mold does not have."""
    cavities = bench.molds[mold].cavities
    if is_like_a_date(text):
        return (
            f"looks like a date that a spreadsheet made of a fraction such as `1/8` "
            f"(cavities of `{mold}`: {quoted(cavities, MOST_NAMED)}): format the column as text"
        )
    return f"is not a cavity of `{mold}` (it has {quoted(cavities, MOST_NAMED)})"


def why_unknown(text: str, refers_to: str, bench: Bench) -> str:
    """The sentence for a name that is not on the bench, with the nearest known ones."""
    names = _names(refers_to, bench)
    what = f"{'an' if refers_to == 'item' else 'a'} {refers_to}"
    near = near_names(text, names, most=3)
    if near:
        return f"is not {what} in bench.toml; nearest: {quoted(near, MOST_NAMED)}"
    if not names:
        return f"is not {what} in bench.toml, which has none yet"
    return f"is not {what} in bench.toml (it has {quoted(names, MOST_NAMED)})"


def is_like_a_date(text: str) -> bool:
    """Whether a cavity looks like what spreadsheets make of a fraction."""
    return _LIKE_A_DATE.fullmatch(text.strip()) is not None


def same_spelling(name: str) -> str:
    """A name as two spellings are compared: case and white space ignored."""
    return " ".join(name.split()).casefold()


def _names(refers_to: str, bench: Bench) -> Mapping[str, object]:
    return {"item": bench.items, "mold": bench.molds}.get(refers_to, bench.builds)


def _all_with(optional: frozenset[str], names: Iterable[str]) -> _Known:
    found = tuple(names)
    return _known(found, (optional,) * len(found))


@lru_cache(maxsize=20_000)
def words_of_name(name: str) -> tuple[str, tuple[str, ...]]:
    """The whole number in front of a name, and its words and sizes, sorted.

    Hyphens, spaces, case and plural do not count. The number in front does: `2 hooks` counts hooks, and
    `hook-2` is a size.
    """
    is_size = _SIZE.match(name.strip())
    words = [singular(word) for word in _WORDS.findall(name.casefold()) if word not in _ARTICLES]
    in_front = words.pop(0) if words and words[0].isdigit() and not is_size else ""
    return in_front, tuple(sorted(words))


def _needed(words: tuple[str, tuple[str, ...]], optional: frozenset[str]) -> tuple[str, tuple[str, ...]]:
    return words[0], tuple(word for word in words[1] if word not in optional)


@lru_cache(maxsize=20_000)
def _letters(name: str) -> str:
    """A name without what stands between its letters and digits; digits apart."""
    return re.sub(r"(?<=[^\W\d_])[\s_-]+(?=[^\W\d_])", "", same_spelling(name))


def _from_a_date(text: str, cavities: Iterable[str]) -> str | None:
    """The only fraction among the cavities that a spreadsheet may have made this date of."""
    month_at = next((at for at, month in enumerate(MONTHS, 1) if month in text.casefold()), None)
    numbers = [int(number) for number in re.findall(r"[0-9]+", text)]
    if not is_like_a_date(text):
        return None
    if month_at is not None and len(numbers) == 1:
        numbers = [month_at, numbers[0]]
    elif month_at is None and len(numbers) >= 3 and numbers[0] > 999:
        numbers = numbers[1:3]
    elif month_at is not None or len(numbers) < 2:
        return None
    one, other = numbers[:2]
    found = [name for name in cavities if name in {f"{one}/{other}", f"{other}/{one}"}]
    return found[0] if len(found) == 1 else None
