"""Read an item of bench.toml: its kind, what it is counted in, its pack and price, how it cures.

What kind of thing an item is its name may say; what a bench leaves open has a stand-in.
"""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any, Literal, cast

from benchwater.plugin.bench import CureWindow, Item, ItemKind, Mold
from benchwater.read.bench_table import BenchTable, to_toml
from benchwater.read.names import words_of_name
from benchwater.text import near_names, quoted
from benchwater.units import Dimension
from benchwater.units.quantities import is_unit

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
DIMENSIONS: Mapping[str, Dimension] = {"g": "mass", "mL": "volume", "pieces": "pieces"}
"""The dimension of each unit that an item may be kept in."""
COLDEST_MELT_C = 20.0
_COUNTED = ("insert", "fitting")
_TAKES_ANY_UNIT: ItemKind = "coat"


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


def read_item(table: BenchTable, name: str) -> Item:
    """The item of a table `[items.NAME]`."""
    kind = _kind(table, name)
    stated_unit = table.text("unit")
    density = table.density("density")
    unit, print_unit = _unit(table, kind, stated_unit, density)
    dimension = DIMENSIONS[unit]
    if isinstance(table.value("scale"), str):
        resolution = table.quantity("scale", dimension, print_unit)
    else:
        scale = table.table("scale")
        resolution = scale.quantity("resolution", dimension, print_unit)
    cure = _cure(table)
    pack = table.quantity("pack", dimension, print_unit, density=density)
    item = Item(
        name=name,
        kind=kind,
        unit=cast(Any, unit),
        print_unit=print_unit,
        pack=pack,
        price=table.number("price"),
        resolution=0.0 if unit == "pieces" else resolution,
        mass_g=table.quantity("mass", "mass", "g"),
        density_g_per_ml=density,
        melts_c=table.quantity("melts", "temperature", None),
        lead_time_d=_days(table.quantity("lead_time", "duration", "d")),
        cure=cure,
        lead=table.yes_or_no("lead"),
    )
    if item.melts_c is not None and item.melts_c < COLDEST_MELT_C:
        table.fault(
            "melts", f"is {table.value('melts')}, and metal is solid on the bench", to_toml("247 degC")
        )
    if item.price is not None and not table.has("pack"):
        table.fault("price", "is the price of a pack, and the item has no `pack`: say how much one holds")
    return item


def _kind(table: BenchTable, name: str) -> ItemKind:
    text = table.text("kind")
    if text is None:
        if not table.has("kind"):
            guess = kind_of_item(name)
            example = f"kind = {to_toml(guess)}" if guess else f"kind = one of {quoted(KINDS)}"
            table.needs("kind", f": write a line `{example}`")
        return kind_of_item(name) or _TAKES_ANY_UNIT
    kind = kind_of_item(text)
    if kind is None:
        near = near_names(text, [word for words in KINDS.values() for word in words])
        guess = kind_of_item(near[0]) if near else kind_of_item(name)
        better = to_toml(guess) if guess else None
        table.fault("kind", f"`{text}` is not one of {quoted(KINDS)}", better)
        return guess or _TAKES_ANY_UNIT
    return kind


def _unit(table: BenchTable, kind: str, stated: str | None, density: float | None) -> tuple[str, str]:
    if kind in _COUNTED and (stated is None or is_unit(stated, "pieces")):
        return "pieces", "pieces"
    if kind == "insert":
        table.fault("unit", f"`{stated}`: an insert is counted in pieces", to_toml("pieces"))
        return "pieces", "pieces"
    if stated is None:
        return "g", "g"
    if is_unit(stated, "mass"):
        return "g", stated
    if not is_unit(stated, "volume"):
        why = f"`{stated}` is no unit of mass or volume (accepted: `g`, `oz`, `lb`, `mL`)"
        table.fault("unit", why, to_toml("g"))
        return "g", "g"
    return ("g", "g") if density is not None else ("mL", stated)


def _cure(item: BenchTable) -> CureWindow | None:
    if not item.has("cure"):
        return None
    table = item.table("cure")
    return CureWindow(
        min_temp_c=table.quantity("min_temp", "temperature", None),
        max_temp_c=table.quantity("max_temp", "temperature", None),
        min_time_h=table.quantity("min_time", "duration", None),
        max_time_h=table.quantity("max_time", "duration", None),
    )


def _days(hours: float | None) -> float | None:
    return None if hours is None else hours / 24
