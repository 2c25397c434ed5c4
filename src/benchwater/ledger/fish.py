"""Fish: the names of each species, its published standard weight and length categories, and rows in doubt.

Lengths are total lengths in mm, masses g. The published figures lie beside this module, in
data/fish_standard_weights.csv and data/fish_length_categories.csv, each row with its source.
"""

import csv
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import pandas as pd

CATEGORIES = ("under stock", "stock", "quality", "preferred", "memorable", "trophy")

LEAST_SHARE_OF_RECORD = 0.74
_WHOLE_SPECIES = ("", "overall")
_MOST_ALIKE, _TIMES_USUAL, _LEAST_ROWS = 100, (20, 3), 5


@dataclass(frozen=True, slots=True, kw_only=True)
class StandardWeight:
    """log10(Ws) = a + b log10(TL) + c log10(TL)^2, TL in mm and Ws in g, for TL from `min_mm` to `max_mm`.

    Both ends are inside. `max_mm` is infinite where none is published. `source` names the authors.
    """

    species: str
    group: str
    a: float
    b: float
    c: float
    min_mm: float
    max_mm: float
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LengthCategories:
    """The least length of stock, quality, preferred, memorable and trophy fish, in mm and in inches.

    The two were rounded apart when published (5 in beside 130 mm), so neither is the other converted.
    """

    species: str
    group: str
    limits_mm: tuple[float, ...]
    limits_in: tuple[float, ...]
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FishStandard:
    """What is published for a fish of some name.

    `key` is the same for every name of the same fish. `weight` and `categories` are None where nothing is
    published for it as named; `weight_choices` and `category_choices` then list the sub-groups (sex, lake or
    river form) that something is published for.
    """

    key: str
    weight: StandardWeight | None
    categories: LengthCategories | None
    weight_choices: tuple[str, ...]
    category_choices: tuple[str, ...]


def fish_standard(name: str) -> FishStandard:
    """The published standards for a common or scientific name, whatever its case.

    A sub-group is never guessed: `brown trout` has none, `brown trout (lotic)` those of rivers. Where a
    figure is published for the whole species only, it serves the sub-group too.
    """
    weights, categories, names = _standards()
    wanted, group = _plain(name), ""
    if wanted not in names and wanted.endswith(")"):
        wanted, _, inside = wanted.removesuffix(")").partition("(")
        wanted, group = wanted.strip(), inside.strip()
    species = names.get(wanted)
    if species is None:
        return FishStandard(
            key=_plain(name), weight=None, categories=None, weight_choices=(), category_choices=()
        )
    of_weight, of_category = weights.get(species, {}), categories.get(species, {})
    if group and group not in of_weight and group not in of_category:
        return FishStandard(
            key=f"{species} ({group})",
            weight=None,
            categories=None,
            weight_choices=_choices(of_weight),
            category_choices=_choices(of_category),
        )
    tried = (group, *_WHOLE_SPECIES) if group else _WHOLE_SPECIES
    weight = next((of_weight[each] for each in tried if each in of_weight), None)
    category = next((of_category[each] for each in tried if each in of_category), None)
    return FishStandard(
        key=f"{species} ({group})" if group else species,
        weight=weight,
        categories=category,
        weight_choices=_choices(of_weight) if weight is None else (),
        category_choices=_choices(of_category) if category is None else (),
    )


def longest_known_mm(categories: LengthCategories) -> float:
    """The length of the longest fish of a species on record, at the most.

    Trophy length was set at 74 to 80 % of the record length: Gabelhouse 1984, N. Amer. J. Fish. Manage.
    4:273-285 (from memory).
    """
    return categories.limits_mm[-1] / LEAST_SHARE_OF_RECORD


def is_count_in_doubt(catch: "pd.DataFrame") -> "pd.Series[bool]":
    """Whether a row of the catch log holds more fish than anyone would write down as alike.

    More than a hundred, and twenty times the usual row (the median of those up to a hundred): common
    practice, no source.
    """
    usual = catch.loc[catch["count"] <= _MOST_ALIKE, "count"].median()
    return catch["count"] > float(np.fmax(_MOST_ALIKE, _TIMES_USUAL[0] * usual))


def is_length_in_doubt(catch: "pd.DataFrame") -> "pd.Series[bool]":
    """Whether a fish of a row is longer than the longest of its species on record.

    Where no lengths are published for it, longer than three times the median of at least five rows of it:
    common practice, no source.
    """
    names = catch["species"].astype("str")
    standards = {name: fish_standard(name) for name in names.unique()}
    lengths = catch["length_mm"].groupby(names.map({name: each.key for name, each in standards.items()}))
    usual = lengths.transform("median").where(lengths.transform("count") >= _LEAST_ROWS, math.inf)
    known = {
        name: longest_known_mm(each.categories)
        for name, each in standards.items()
        if each.categories is not None
    }
    return catch["length_mm"] > names.map(known).astype(float).fillna(_TIMES_USUAL[1] * usual)


_Groups = Mapping[str, Mapping[str, StandardWeight]]
_CategoryGroups = Mapping[str, Mapping[str, LengthCategories]]


def _plain(name: str) -> str:
    return " ".join(name.replace("×", " x ").split()).casefold()


def _choices(groups: Mapping[str, object]) -> tuple[str, ...]:
    return tuple(sorted(group for group in groups if group))


def _rows(file: str) -> Sequence[dict[str, str]]:
    source = files("benchwater.ledger").joinpath("data", file)
    return list(csv.DictReader(source.read_text(encoding="utf-8").splitlines()))


@cache
def _standards() -> tuple[_Groups, _CategoryGroups, Mapping[str, str]]:
    """Both tables by species and sub-group, and the species of every name."""
    weights: dict[str, dict[str, StandardWeight]] = {}
    categories: dict[str, dict[str, LengthCategories]] = {}
    names: dict[str, str] = {}
    for row in _rows("fish_standard_weights.csv"):
        species = _named(row, names)
        weights.setdefault(species, {})[_plain(row["group"])] = StandardWeight(
            species=row["species"],
            group=row["group"],
            a=float(row["a"]),
            b=float(row["b"]),
            c=float(row["c_quadratic"] or 0.0),
            min_mm=float(row["min_tl_mm"] or 0.0),
            max_mm=float(row["max_tl_mm"] or math.inf),
            source=row["source"],
        )
    steps = [category for category in CATEGORIES if category != "under stock"]
    for row in _rows("fish_length_categories.csv"):
        species = _named(row, names)
        categories.setdefault(species, {})[_plain(row["group"])] = LengthCategories(
            species=row["species"],
            group=row["group"],
            limits_mm=tuple(float(row[f"{step}_mm"]) for step in steps),
            limits_in=tuple(float(row[f"{step}_in"]) for step in steps),
            source=row["source"],
        )
    return weights, categories, names


def _named(row: Mapping[str, str], names: dict[str, str]) -> str:
    species = _plain(row["species"])
    scientific = _plain(row["scientific_name"])
    for name in (species, scientific, scientific.replace("(sensu lato)", "").strip()):
        names[name] = species
    return species
