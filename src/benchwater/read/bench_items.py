"""Reads an item of bench.toml: its kind, what it is counted in, its pack and price, how it cures."""

from collections.abc import Mapping
from typing import Any, cast

from benchwater.plugin.bench import CureWindow, Item, ItemKind
from benchwater.read.bench_table import BenchTable
from benchwater.read.item_kinds import KINDS, kind_of_item
from benchwater.read.toml_lines import to_toml
from benchwater.text import near_names, quoted
from benchwater.units import Dimension
from benchwater.units.quantities import is_unit

DIMENSIONS: Mapping[str, Dimension] = {"g": "mass", "mL": "volume", "pieces": "pieces"}
"""The dimension of each unit that an item may be kept in."""
_COUNTED = ("insert", "fitting")
_TAKES_ANY_UNIT: ItemKind = "coat"


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
        scale.close()
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
    table.close()
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
    window = CureWindow(
        min_temp_c=table.quantity("min_temp", "temperature", None),
        max_temp_c=table.quantity("max_temp", "temperature", None),
        min_time_h=table.quantity("min_time", "duration", None),
        max_time_h=table.quantity("max_time", "duration", None),
    )
    table.close()
    return window


def _days(hours: float | None) -> float | None:
    return None if hours is None else hours / 24
