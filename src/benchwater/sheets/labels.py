"""Names short enough for the head of a column of boxes, and still told apart."""

import unicodedata
from collections.abc import Callable, Mapping, Sequence

LETTERS = 22
_BREAKS = " -_/"
_NEAR_THE_MIDDLE = 4
_WIDTHS = {"W": 2.2, "F": 2.2}


def short_names(names: Sequence[str], most: int) -> Mapping[str, str]:
    """Each name in at most so many letters: cut in one way that keeps all of them apart, else numbered."""
    ways: tuple[Callable[[str, int], str], ...] = (cut, _start, _end)
    for way in ways:
        short = {name: way(name, most) for name in names}
        if len(set(short.values())) == len(short):
            return short
    return {
        name: name if len(name) <= most else cut(f"{number}: {name}", most)
        for number, name in enumerate(dict.fromkeys(names), 1)
    }


def lines(name: str) -> tuple[str, ...]:
    """A short name on one line, or on two that break between words where it can be helped."""
    if len(name) <= LETTERS:
        return (name,)
    middle = len(name) // 2
    near = [
        place + 1
        for place, letter in enumerate(name)
        if letter in _BREAKS and abs(place + 1 - middle) <= _NEAR_THE_MIDDLE
    ]
    place = min(near, key=lambda each: abs(each - middle), default=middle)
    return name[:place].rstrip(), name[place:].lstrip()


def two_line_letters() -> int:
    """The most letters of a name that `lines` brings on two lines."""
    return 2 * (LETTERS - _NEAR_THE_MIDDLE)


def letters(text: str) -> float:
    """The length of a text in letters of usual width: capitals are wider, ideographs twice as wide."""
    return sum(
        _WIDTHS.get(unicodedata.east_asian_width(each), 1.3 if each.isupper() else 1.0) for each in text
    )


def cut(text: str, most: int) -> str:
    """At most so many letters, those in the middle left out."""
    if len(text) <= most:
        return text
    end = (most - 1) // 2
    return f"{text[: most - 1 - end]}…{text[len(text) - end :]}"


def _start(text: str, most: int) -> str:
    return text if len(text) <= most else f"{text[: most - 1].rstrip()}…"


def _end(text: str, most: int) -> str:
    return text if len(text) <= most else f"…{text[len(text) - most + 1 :].lstrip()}"
