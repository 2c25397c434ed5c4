"""What kind of thing an item is, by the everyday words for it."""

from collections.abc import Mapping

from benchwater.plugin.bench import ItemKind
from benchwater.read.names import words_of_name


def _phrases(text: str) -> tuple[str, ...]:
    return tuple(text.split(", "))


KINDS: Mapping[ItemKind, tuple[str, ...]] = {
    "metal": _phrases(
        "metal, alloy, lead, tin, bismuth, pewter, zinc, antimony, solder, linotype, ingot, babbitt, "
        "fusible, soft lead, hard lead, lead free, scrap lead"
    ),
    "insert": _phrases("insert, hook, jig hook, treble, wire form, wireform, eyelet, screw lock, shank"),
    "coat": _phrases(
        "coat, coating, powder, powder coat, powder paint, paint, lacquer, varnish, clear coat, "
        "topcoat, epoxy, enamel, primer"
    ),
    "plastic": _phrases("plastic, plastisol, soft plastic, silicone, rubber, worm oil, softener, hardener"),
    "fitting": _phrases(
        "fitting, skirt, eye, guard, weed guard, weedguard, rattle, bead, blade, swivel, ring, split ring, "
        "glue, feather, hair, bucktail, marabou, thread, wire, keeper, collar, tube, shrink tube"
    ),
}
"""Everyday words for each kind of item; the kind itself is the first."""

_BY_WORDS: Mapping[tuple[str, ...], ItemKind] = {
    tuple(words_of_name(phrase)[1]): kind for kind, known in KINDS.items() for phrase in known
}


def kind_of_item(name: str) -> ItemKind | None:
    """The kind that the words of a name speak of, where they speak of one alone: `hook-2` is an insert.

    What a thing is comes last in English (`hook paint` is a coat), so a last word decides between two kinds.
    """
    in_order = name.casefold().replace("-", " ").replace("_", " ").split()
    known = [kind for word in in_order if (kind := _BY_WORDS.get(tuple(words_of_name(word)[1])))]
    whole = _BY_WORDS.get(tuple(words_of_name(name)[1]))
    return whole or (known[-1] if known else None)
