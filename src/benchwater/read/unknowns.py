"""What stands in for what a bench does not say: the material of a mold, its hooks, the mass of a casting."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Literal

from benchwater.plugin.bench import Item, Mold
from benchwater.read.names import words_of_name

NOT_KNOWN = "?"
"""What bench.toml says where the maker does not know yet."""
STAND_INS: Mapping[Literal["metal", "plastic"], str] = {
    "metal": "metal not named",
    "plastic": "plastic not named",
}
MASS_G, TOLERANCE = 3.5, 1.0
"""A casting whose mass is not known: anything from nothing to twice this."""
_SOFT = frozenset(
    "grub worm craw minnow swimbait tail trailer plastic paddle tube shad frog lizard stickbait".split()
)


def material_kind(mold: str, cavities: Mapping[str, object]) -> Literal["metal", "plastic"]:
    """What is poured into a mold, by the words of its name and its cavities."""
    return "plastic" if _SOFT & set(words_of_name(" ".join([mold, *cavities]))[1]) else "metal"


def stand_in(kind: Literal["metal", "plastic"]) -> Item:
    """The item that stands in for a material that is not known."""
    return Item(name=STAND_INS[kind], kind=kind, unit="g", print_unit="g")


def with_unknown_uses(
    items: Mapping[str, Item], molds: Mapping[str, Mold], *, hooks: bool
) -> dict[str, Item]:
    """The items; those that may have gone into castings unseen have no balance, inserts too where `hooks`."""
    materials = {mold.material for mold in molds.values()}
    unclear = {kind for kind, name in STAND_INS.items() if name in materials} | (
        {"insert"} if hooks else set()
    )
    return {
        name: replace(item, use_known=False) if item.kind in unclear else item for name, item in items.items()
    }
