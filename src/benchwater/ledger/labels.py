"""What labels say: the tags of baits, and the names of trials and their arms, however they are written."""

from functools import cache

KNOWN_TRIALS = ("leader", "mold_temp", "build", "coat", "guard")
_ALSO = {"temperature": "mold_temp", "mold_temperature": "mold_temp", "bait": "build", "powder": "coat"}
_YES_NO = {"y": "yes", "with": "yes", "n": "no", "without": "no", "none": "no"}
# Without those that look alike: 0 O Q, 1 I L, 2 Z, 5 S, 8 B, 6 G, V U.
SYMBOLS = "234679ACDEFHJKMNPRTVWXY"
_BASE = len(SYMBOLS)
_SHORT = _BASE**2
MOST_TAGS = 10_000


def tags(first: int, last: int) -> tuple[str, ...]:
    """Return the tags from the `first` (1 or more) to the `last` (`MOST_TAGS` or less), both included.

    The check symbol makes the sum of symbols times their place, counted from the right, a multiple of 23,
    a prime: one wrong symbol and two neighbours swapped are always noticed (the weighted modulus of ISBN-10,
    ISO 2108:1992).
    """
    return tuple(_tag(number) for number in range(first - 1, last))


def _tag(number: int) -> str:
    """Two symbols and the check symbol; from the 530th tag on, three and the check symbol."""
    places, left = (2, number) if number < _SHORT else (3, number - _SHORT)
    values = [left // _BASE**place % _BASE for place in reversed(range(places))]
    weighted = sum(weight * value for weight, value in enumerate(reversed(values), start=2))
    return "".join(SYMBOLS[value] for value in (*values, -weighted % _BASE))


def unprinted_tag(written: str, printed: int) -> tuple[str, ...] | None:
    """Return the printed tags that a cell may mean, where it looks like one of `printed` tags but is none.

    None where it is printed, or has another form and so is a tag of the maker's own.
    """
    tag = written.strip().upper()
    known = _printed(printed)
    if tag in known or not (tag.isalnum() and tag.isascii() and len(tag) in {len(each) for each in known}):
        return None
    return tuple(each for each in known if _is_near(tag, each))


@cache
def _printed(count: int) -> dict[str, None]:
    return dict.fromkeys(tags(1, count))


def _is_near(tag: str, other: str) -> bool:
    if len(tag) != len(other):
        return False
    places = [place for place in range(len(tag)) if tag[place] != other[place]]
    swapped = len(places) == 2 and places[1] == places[0] + 1 and sorted(tag) == sorted(other)
    return len(places) == 1 or swapped


def trial_name(text: str) -> str:
    """Return the name of a trial: small letters, words joined by `_`.

    `Leaders` is `leader`, but `leader 2` is a trial of its own, and so is a name with a slip in it.
    """
    name = "_".join(text.casefold().replace("-", " ").replace("_", " ").split())
    name = _ALSO.get(name, name)
    return name.removesuffix("s") if name.removesuffix("s") in KNOWN_TRIALS else name


def arm_name(text: str) -> str:
    """Return an arm in small letters without spaces, so that `300 F` and `300f` are one; `y` is yes."""
    name = "".join(text.casefold().replace("°", "").split())
    return _YES_NO.get(name, name)
