"""Splits cells that say two things: a mold with its cavity, or an outcome with its cause."""

from collections.abc import Mapping, Sequence

import numpy as np

from benchwater.plugin.bench import Bench
from benchwater.plugin.logs import Column, LogKind
from benchwater.read.cells import vocabulary
from benchwater.read.coded import Coded, constant_column
from benchwater.read.names import find_place
from benchwater.read.vocabulary import everyday_key


def split_places(
    texts: Mapping[str, Coded], kind: LogKind, bench: Bench
) -> tuple[dict[str, Coded], tuple[tuple[str, str], ...]]:
    """The texts with a mold and a cavity in each row that names both in one cell, and which cells do."""
    new, taken = dict(texts), dict[str, str]()
    names = [column.name for column in kind.columns if column.refers_to in {"mold", "cavity"}]
    if len(names) != 2 or not any(name in texts for name in names):
        return new, ()
    for name, other in (names, reversed(names)):
        both, place_at = new.get(name), names.index(name)
        alone = new.get(other)
        if both is None or (alone is not None and "" not in alone.values):
            continue
        empty = np.ones(len(both.codes), dtype=bool) if alone is None else alone.mask(lambda text: text == "")
        held = both.take(empty)
        places = [
            find_place(text, bench) if text and used else None
            for text, used in zip(both.values, held.used_mask(), strict=True)
        ]
        if alone is None:
            alone = constant_column(len(both.codes), "")
        found = np.array([place is not None for place in places], dtype=bool)[both.codes] & empty
        taken |= {text: " ".join(place) for text, place in zip(both.values, places, strict=True) if place}
        for each, at in ((name, place_at), (other, 1 - place_at)):
            old = both if each == name else alone
            codes = np.where(found, both.codes + len(old.values), old.codes).astype(np.int32)
            new[each] = Coded(codes, [*old.values, *("" if place is None else place[at] for place in places)])
    return new, tuple(taken.items())


def split_causes(
    texts: Mapping[str, Coded], kind: LogKind
) -> tuple[dict[str, Coded], tuple[tuple[str, str], ...]]:
    """The texts with word and cause in two columns where one cell says both, and which cells do."""
    new, said = dict(texts), dict[str, str]()
    for column in kind.columns:
        both = new.get(column.name)
        for word, (name, *words) in column.told_by:
            other = kind.column(name)
            if both is None or other is None:
                continue
            told = [
                _told(str(text), column, word, other, words) if text and used else None
                for text, used in zip(both.values, both.used_mask(), strict=True)
            ]
            if not any(told):
                continue
            own = new.get(name) or constant_column(len(both.codes), "")
            fills = np.array([each is not None for each in told])[both.codes]
            empty = fills & own.mask(lambda text: text == "")
            codes = np.where(empty, both.codes + len(own.values), own.codes).astype(np.int32)
            new[name] = Coded(codes, [*own.values, *(each or "" for each in told)])
            pairs = zip(both.values, told, strict=True)
            both = new[column.name] = Coded(
                both.codes, [text if each is None else word for text, each in pairs]
            )
            said |= {
                str(text): f"{word}, {each}"
                for text, each in zip(texts[column.name].values, told, strict=True)
                if each is not None
            }
    return new, tuple(said.items())


def _told(text: str, column: Column, word: str, other: Column, words: Sequence[str]) -> str | None:
    """What a cell of one column says of the other, if it says that and the word, or that alone."""
    own, others = vocabulary(column), vocabulary(other)
    if not own.is_asked_about(text):
        meant = others.meanings(text, whole=True)
        if len(meant) == 1 and meant <= set(words) and own.meanings(text, whole=True) <= {word}:
            return next(iter(meant))
        parts = everyday_key(text).split()
        for cut in range(len(parts) - 1, 0, -1):
            first, rest = " ".join(parts[:cut]), " ".join(parts[cut:])
            meant = others.meanings(rest, whole=True)
            if own.exact(first) == {word} and len(meant) == 1 and meant <= set(words):
                return next(iter(meant))
    return None
