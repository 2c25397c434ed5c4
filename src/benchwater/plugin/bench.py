"""The bench: the standing facts of bench.toml, as plain data in canonical units."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Literal

ItemKind = Literal["metal", "insert", "coat", "plastic", "fitting"]


@dataclass(frozen=True, slots=True, kw_only=True)
class CureWindow:
    """The cure a coating asks for: oven temperatures in degC, times at temperature in h."""

    min_temp_c: float | None = None
    max_temp_c: float | None = None
    min_time_h: float | None = None
    max_time_h: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """Something kept in stock.

    `unit` is the canonical unit its amounts are held in (`g`, `mL` or `pieces`); `print_unit` the one
    the maker uses. `pack` is the size of a pack in `unit`, `price` the money for one pack.
    `resolution` is the scale's step in `unit` (0 for counted items); `mass_g` the mass of one piece. `lead`
    is what bench.toml says of it, None where it says nothing: see `holds_lead`. `use_known` is false where
    nothing says which castings take it: then it has no balance.
    """

    name: str
    kind: ItemKind
    unit: Literal["g", "mL", "pieces"]
    print_unit: str
    pack: float | None = None
    price: float | None = None
    resolution: float | None = None
    mass_g: float | None = None
    density_g_per_ml: float | None = None
    melts_c: float | None = None
    lead_time_d: float | None = None
    cure: CureWindow | None = None
    lead: bool | None = None
    use_known: bool = True

    @property
    def holds_lead(self) -> bool | None:
        """Whether it holds lead: as `lead` says, else as its name does; None where neither tells.

        A name with the word lead is lead (`lead`, `soft lead`), unless it says `lead-free` or `no lead`.
        """
        words = "-".join(re.findall("[a-z]+", self.name.lower()))
        if self.lead is not None or not re.search(r"\blead\b", words):
            return self.lead
        return not re.search(r"\b(lead-free|no-lead|non-lead|without-lead)\b", words)


@dataclass(frozen=True, slots=True, kw_only=True)
class Cavity:
    """One kind of cavity of a mold: nominal casting `mass_g`, `tolerance` as a half-width share of it,
    the `insert` laid in before the fill, and how many of this kind one fill makes.
    """

    name: str
    mass_g: float
    tolerance: float
    insert: str | None = None
    per_fill: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Mold:
    """A mold: the `material` it takes, the mass of the mold itself, its price and its cavities by name."""

    name: str
    material: str
    cavities: Mapping[str, Cavity]
    metal_mass_g: float | None = None
    price: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Build:
    """A finished bait's recipe. `head` and `trailer` are (mold, cavity); `coat_mass_g` is per piece."""

    name: str
    head: tuple[str, str] | None = None
    trailer: tuple[str, str] | None = None
    coat: str | None = None
    coat_mass_g: float | None = None
    fittings: Mapping[str, float] = field(default_factory=dict)
    bought_price: float | None = None
    planned_hours: float | None = None
    length_mm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """What the maker aims at: `service_level` of the stock, and the `target_reject_rate` of a fill.

    `until` is the last day of the season ahead to plan for; None where none is asked for.
    """

    service_level: float = 0.90
    target_reject_rate: float = 0.10
    until: date | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Trip:
    """A trip with a name: its first and last day."""

    name: str
    first: date
    last: date


@dataclass(frozen=True, slots=True, kw_only=True)
class Water:
    """What the maker wrote of the rules of a water: where lead may not go, as read in `rule` on `read_on`.

    Lead is not allowed up to `no_lead_up_to_g` or `no_lead_up_to_mm` of a bait; without either, not at all.
    """

    name: str
    rule: str
    read_on: date
    no_lead_up_to_g: float | None = None
    no_lead_up_to_mm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """A change of habit: the first day it held, and what it was.

    `groups` are the causes or builds it should act on, besides everything together.
    """

    on: date
    what: str
    groups: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """The standing facts. `fallbacks` lists, in words, each documented default that had to stand in.

    `plugin_options` is what `[plugins.ID]` says, by ID; see `Season.options`. `printed_tags` is how many bait
    tags were printed, numbered from 1. `names` maps what the maker calls things, in lower case, to their
    names here.
    """

    name: str
    currency: str = "USD"
    system: Literal["us", "metric"] = "us"
    paper: Literal["letter", "a4"] = "letter"
    season_start: tuple[int, int] = (1, 1)
    items: Mapping[str, Item] = field(default_factory=dict)
    molds: Mapping[str, Mold] = field(default_factory=dict)
    builds: Mapping[str, Build] = field(default_factory=dict)
    plan: Plan = field(default_factory=Plan)
    default_units: Mapping[str, str] = field(default_factory=dict)
    date_order: Literal["iso", "day first", "month first"] = "iso"
    fallbacks: tuple[str, ...] = ()
    plugin_options: Mapping[str, Mapping[str, object]] = field(default_factory=dict)
    printed_tags: int = 0
    changes: tuple[Change, ...] = ()
    waters: Mapping[str, Water] = field(default_factory=dict)
    trips: Mapping[str, Trip] = field(default_factory=dict)
    names: Mapping[str, str] = field(default_factory=dict)

    def cavity(self, mold: str, cavity: str) -> Cavity:
        """The cavity of that name; KeyError where the bench has none."""
        return self.molds[mold].cavities[cavity]

    def material_of(self, mold: str, poured: str | None = None) -> str:
        """What a row of the pour log was poured from: what it names, else the mold's usual material."""
        return poured or self.molds[mold].material

    def show(self, value: float | None, unit: str, digits: int | None = None, item: str | None = None) -> str:
        """A canonical value as the report prints it: `show(176.7, "degC")` is `350 °F` on a US bench.

        `item` prints an amount in the unit the maker uses for that item. `None` prints as a dash.
        """
        from benchwater.units import show

        print_unit = self.items[item].print_unit if item is not None else None
        return show(
            value, unit, system=self.system, currency=self.currency, digits=digits, print_unit=print_unit
        )

    def season_of(self, day: date) -> tuple[date, date]:
        """First day of the season that `day` falls in, and first day of the next."""
        month, first = self.season_start
        start = date(day.year, month, first)
        if day < start:
            start = date(day.year - 1, month, first)
        return start, date(start.year + 1, month, first)
