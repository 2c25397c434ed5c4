"""Fish: published standard weights and length categories, and what a catch is measured by.

Lengths are total lengths in mm, masses g. The published figures lie beside this module, in
data/fish_standard_weights.csv and data/fish_length_categories.csv, each row with its source.
"""

import csv
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import stdtrit

from benchwater.statistics.interval import Interval, tail_probability

FloatArray = NDArray[np.float64]

CATEGORIES = ("under stock", "stock", "quality", "preferred", "memorable", "trophy")
MM_PER_INCH = 25.4

_WHOLE_SPECIES = ("", "overall")


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


def standard_weight(equation: StandardWeight, length_mm: ArrayLike) -> FloatArray:
    """Standard weight in g at each length, nan outside the published range of lengths.

    Source: the authors named in `equation.source`, as compiled by Neumann, Guy & Willis 2012, Fisheries
    Techniques, 3rd edition, chapter 14 (as far as the data file says so).
    """
    lengths = np.asarray(length_mm, dtype=np.float64)
    inside = (lengths >= equation.min_mm) & (lengths <= equation.max_mm)
    logs = np.log10(np.where(inside, lengths, 1.0))
    return np.where(inside, 10.0 ** (equation.a + equation.b * logs + equation.c * logs**2), np.nan)


def relative_weight(equation: StandardWeight, length_mm: ArrayLike, mass_g: ArrayLike) -> FloatArray:
    """Wr = 100 W / Ws, nan outside the published range of lengths.

    100 is about the 75th percentile of the populations behind the equation, not their average.
    Source: Wege & Anderson 1978 (from memory); the equation as in `standard_weight`.
    """
    return np.asarray(
        100.0 * np.asarray(mass_g, dtype=np.float64) / standard_weight(equation, length_mm), dtype=np.float64
    )


def length_category(
    categories: LengthCategories, length_mm: ArrayLike, *, inches: bool = False
) -> NDArray[np.intp]:
    """The place in `CATEGORIES` of each length; a fish of exactly a limit has reached it.

    `inches` takes the limits as published in inches.

    Source: Gabelhouse 1984, N. Amer. J. Fish. Manage. 4:273-285, and the authors in `categories.source`.
    """
    lengths = np.asarray(length_mm, dtype=np.float64)
    limits = np.asarray(categories.limits_in) * MM_PER_INCH if inches else np.asarray(categories.limits_mm)
    return np.searchsorted(limits * (1.0 - 1e-9), lengths, side="right")


@dataclass(frozen=True, slots=True, kw_only=True)
class SizeDistribution:
    """How many fish reached each category: `fish` holds those in each of `CATEGORIES`, each fish once."""

    fish: tuple[int, ...]

    def at_least(self, category: str) -> int:
        """Fish of at least that category; fish under stock length are in none."""
        return sum(self.fish[CATEGORIES.index(category) :])

    def proportion(self, category: str = "quality") -> float:
        """Share (0 to 1) of the fish of stock length that reached the category, nan without stock fish.

        A hundred times this is PSD for `quality`, PSD-P, PSD-M and PSD-T for the others.
        Source: Guy, Neumann, Willis & Anderson 2007, Fisheries 32:348 (from memory).
        """
        stock = self.at_least("stock")
        return self.at_least(category) / stock if stock else math.nan


def size_distribution(
    categories: LengthCategories,
    length_mm: ArrayLike,
    fish: ArrayLike | None = None,
    *,
    inches: bool = False,
) -> SizeDistribution:
    """The fish in each category; `fish` is how many each length stands for, 1 where left out."""
    places = length_category(categories, length_mm, inches=inches)
    count = np.ones(len(places)) if fish is None else np.asarray(fish, dtype=np.float64)
    summed = np.bincount(places, weights=count, minlength=len(CATEGORIES))
    return SizeDistribution(fish=tuple(round(float(each)) for each in summed))


def mean_interval(values: ArrayLike, alike: ArrayLike | None = None, level: float = 0.95) -> Interval:
    """The mean with Student's t limits; `alike` is how many pieces each value stands for, 1 where left out.

    Values are the units, whatever they stand for: three fish written down as one row are one observation,
    which counts three times in the mean. The limits are nan for a single value. ValueError for none.

    Source: Student's t; for unequal `alike` the ratio estimator of Cochran 1977, Sampling Techniques,
    section 6.4 (from memory).
    """
    tail = tail_probability(level)
    x = np.asarray(values, dtype=np.float64)
    w = np.ones(len(x)) if alike is None else np.asarray(alike, dtype=np.float64)
    n = len(x)
    if n == 0:
        raise ValueError("a mean needs at least one value")
    mean = float(np.sum(w * x) / np.sum(w))
    if n == 1:
        return Interval(estimate=mean, low=math.nan, high=math.nan, level=level)
    error = math.sqrt(n / (n - 1) * float(np.sum((w * (x - mean)) ** 2))) / float(np.sum(w))
    half = -float(stdtrit(n - 1, tail)) * error
    return Interval(estimate=mean, low=mean - half, high=mean + half, level=level)


def median(values: ArrayLike, alike: ArrayLike) -> float:
    """The median of values of which each stands for `alike` equal ones. ValueError for none."""
    x, n = np.asarray(values, dtype=np.float64), np.asarray(alike, dtype=np.float64)
    if len(x) == 0 or n.sum() <= 0:
        raise ValueError("a median needs at least one value")
    order = np.argsort(x, kind="stable")
    reached = np.cumsum(n[order])
    half = reached[-1] / 2.0
    lower = np.searchsorted(reached, half, side="left")
    upper = np.searchsorted(reached, half, side="right")
    return float((x[order][lower] + x[order][upper]) / 2.0)


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
