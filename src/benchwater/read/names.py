"""Finds what on the bench a maker's name stands for: where exactly one thing fits, and never by guessing."""

import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from functools import lru_cache
from typing import NamedTuple

from benchwater.plugin.bench import Bench
from benchwater.read.dates import MONTHS
from benchwater.read.vocabulary import is_misspelling, singular
from benchwater.text import near_names, quoted

_MOST_NAMES = 8
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


class _Known(NamedTuple):
    """A name of the bench, and the words that makers leave out of it or put to it."""

    name: str
    optional: frozenset[str]


def find_name(text: str, refers_to: str, bench: Bench) -> str | None:
    """The mold, item or build of the bench that a cell names, if exactly one fits."""
    known = tuple(_known(refers_to, bench))
    meant = bench.names.get(same_spelling(text))
    if meant is not None:
        return next((each.name for each in known if each.name == meant), None)
    found = _same_name(text, known)
    if found is None and refers_to != "item":
        found = _only_with_these_words(text, known)
    return found


def same_name(text: str, known: Iterable[str]) -> str | None:
    """The known name that a text spells, in whatever case and order of words, if exactly one fits."""
    return _same_name(text, tuple(_Known(name, frozenset()) for name in known), slips=0)


def find_cavity(text: str, mold: str, bench: Bench) -> str | None:
    """The cavity of a known mold that a cell names, if exactly one fits."""
    meant = bench.names.get(same_spelling(text), text)
    known = tuple(_Known(name, _OF_MOLD) for name in bench.molds[mold].cavities)
    found = _same_name(meant, known) or _only_with_these_words(meant, known)
    if found is None and (place := find_place(meant, bench)) is not None and place.mold == mold:
        found = place.cavity
    return found or _from_a_date(text, [each.name for each in known])


def find_place(text: str, bench: Bench) -> Place | None:
    """The mold and cavity that one cell names together, or by the name of the only cavity of its kind."""
    meant = bench.names.get(same_spelling(text), text)
    pairs = [Place(mold.name, cavity) for mold in bench.molds.values() for cavity in mold.cavities]
    names = tuple(_Known(f"{pair.mold} {pair.cavity}", _OF_MOLD) for pair in pairs)
    by_name = dict(zip((each.name for each in names), pairs, strict=True))
    found = _same_name(meant, names)
    if found is not None:
        return by_name[found]
    mold = find_name(meant, "mold", bench)
    if mold is not None:
        cavities = list(bench.molds[mold].cavities)
        return Place(mold, cavities[0]) if len(cavities) == 1 else None
    found = _only_with_these_words(meant, names)
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
            f"(cavities of `{mold}`: {quoted(cavities, _MOST_NAMES)}): format the column as text"
        )
    return f"is not a cavity of `{mold}` (it has {quoted(cavities, _MOST_NAMES)})"


def why_unknown(text: str, refers_to: str, bench: Bench) -> str:
    """The sentence for a name that is not on the bench, with the nearest known ones."""
    names = [each.name for each in _known(refers_to, bench)]
    what = f"{'an' if refers_to == 'item' else 'a'} {refers_to}"
    near = near_names(text, names, most=3)
    if near:
        return f"is not {what} in bench.toml; nearest: {quoted(near, _MOST_NAMES)}"
    if not names:
        return f"is not {what} in bench.toml, which has none yet"
    return f"is not {what} in bench.toml (it has {quoted(names, _MOST_NAMES)})"


def is_like_a_date(text: str) -> bool:
    """Whether a cavity looks like what spreadsheets make of a fraction."""
    return _LIKE_A_DATE.fullmatch(text.strip()) is not None


def same_spelling(name: str) -> str:
    """A name as two spellings are compared: case and white space ignored."""
    return " ".join(name.split()).casefold()


def _known(refers_to: str, bench: Bench) -> Iterator[_Known]:
    if refers_to == "item":
        yield from (_Known(item.name, _OF_KIND[item.kind]) for item in bench.items.values())
    elif refers_to == "mold":
        yield from (_Known(name, _OF_MOLD) for name in bench.molds)
    else:
        yield from (_Known(name, _OF_BUILD) for name in bench.builds)


def _same_name(text: str, known: tuple[_Known, ...], slips: int = 1) -> str | None:
    """The known name that a text spells; else the only one of the same words, or a few slips away."""
    plain = same_spelling(text)
    for each in known:
        if same_spelling(each.name) == plain:
            return each.name
    words = words_of_name(text)
    if not any(words):
        return None
    ways: tuple[Callable[[_Known], bool], ...] = (
        lambda each: words_of_name(each.name) == words,
        lambda each: _letters(each.name) == _letters(text),
        lambda each: _needed(words, each) == _needed(words_of_name(each.name), each) != ("", ()),
        lambda each: (
            is_misspelling(_letters(text), _letters(each.name), slips)
            or is_misspelling("".join(words[1]), "".join(words_of_name(each.name)[1]), slips)
        ),
    )
    for fits in ways:
        found = [each.name for each in known if fits(each)]
        if found:
            return found[0] if len(found) == 1 else None
    return None


def _only_with_these_words(text: str, known: tuple[_Known, ...]) -> str | None:
    """The only known name that holds all the words of a text."""
    found = []
    for each in known:
        in_front, others = _needed(words_of_name(text), each)
        words = {in_front, *others} - {""}
        if words and words.issubset({words_of_name(each.name)[0], *words_of_name(each.name)[1]}):
            found.append(each.name)
    return found[0] if len(found) == 1 else None


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


def _needed(words: tuple[str, tuple[str, ...]], known: _Known) -> tuple[str, tuple[str, ...]]:
    return words[0], tuple(word for word in words[1] if word not in known.optional)


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
