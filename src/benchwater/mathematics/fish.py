"""Fish: catch rates compared with trips as the unit, published standard weights and length categories.

Lengths are total lengths in mm, masses g, effort h. The published figures lie beside this module, in
data/fish_standard_weights.csv and data/fish_length_categories.csv, each row with its source.
"""

import csv
import math
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache, lru_cache
from importlib.resources import files
from itertools import combinations
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq
from scipy.special import expit, stdtrit

from benchwater.mathematics.interval import Interval, tail_probability
from benchwater.mathematics.multiplicity import holm_adjusted

FloatArray = NDArray[np.float64]

CATEGORIES = ("under stock", "stock", "quality", "preferred", "memorable", "trophy")
MM_PER_INCH = 25.4
DRAWS = 4999
SEED = 20_240_229

_WHOLE_SPECIES = ("", "overall")
_LARGEST_LOG_RATIO = 20.0
_SMALLEST_STEP = 1e-3


# --- catch rates -----------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class RateComparison:
    """Two catch rates compared: `ratio` = first / second, with limits and p from one permutation test.

    `units` counts the trips that bear on it. `smallest_p` is the least p that so many trips can give: where
    it is above 1 - level, the limits are 0 and infinite whatever was caught. `ratio` and `high` are infinite
    when the second caught nothing; `ratio` is nan when neither did.
    """

    ratio: float
    low: float
    high: float
    level: float
    p: float
    smallest_p: float
    units: int


def compare_rates_within(
    fish1: ArrayLike, hours1: ArrayLike, fish2: ArrayLike, hours2: ArrayLike, level: float = 0.95
) -> RateComparison:
    """Two catch rates on the same trips, such as two baits fished side by side; all of shape (n,).

    What the trips have in common (weather, season, water, mood of the fish) cancels. Given the fish of a
    trip, the first bait's share is expected as `ratio` h1 / (`ratio` h1 + h2); the score is its fish less
    that, added up over trips, and `ratio` is where the score is 0 (the conditional maximum likelihood of
    stratified Poisson rates). The test swaps the two baits trip by trip, which turns the sign of a trip's
    score: every swap up to 12 trips, else `DRAWS` seeded ones. The trip is the unit, so fish that bite in
    shoals are not taken for independent. The limits are the ratios the test does not refuse. Trips
    without a fish say nothing and are left out.

    In simulated seasons (gamma-Poisson trips, shape 4, with a further gamma, shape 2, for each bait and trip)
    of 8, 15 and 30 trips with baits fished 0.3 to 3 h each and rates 0.5 to 2 an hour, the test at 5 %
    refused a true ratio of 1 in 2-5 % and the 95 % limits held a true ratio of 2 in 94-97 %.

    Raises ValueError for unequal shapes, fish not whole or negative, or hours not finite and above 0.

    Source: the permutation test of matched pairs, Fisher 1935, The Design of Experiments, section 21;
    draws counted as in Davison & Hinkley 1997, Bootstrap Methods and their Application, section 4.2 (both
    from memory).
    """
    caught1, time1 = _trips(fish1, hours1)
    caught2, time2 = _trips(fish2, hours2)
    if caught1.shape != caught2.shape:
        raise ValueError("both baits must be given for the same trips")
    bears = caught1 + caught2 > 0
    caught1, caught2, both = caught1[bears], caught2[bears], (caught1 + caught2)[bears]
    log_hours = np.log(time1[bears] / time2[bears])
    signs = _sign_flips(len(both))

    def scores(log_ratio: float) -> FloatArray:
        return np.asarray(caught1 - both * expit(log_ratio + log_hours), dtype=np.float64)

    def p_value(log_ratio: float) -> float:
        score = scores(log_ratio)
        return _share_at_least(np.abs(signs @ score), abs(float(score.sum())), len(score) <= 12)

    def score_sum(log_ratio: float) -> float:
        return float(scores(log_ratio).sum())

    smallest = max(2.0 ** (1 - len(both)), 1.0 / (DRAWS + 1)) if len(both) > 0 else 1.0
    totals = float(caught1.sum()), float(caught2.sum())
    return _compared(totals, score_sum, p_value, smallest, len(both), level)


def compare_rates_between(
    fish1: ArrayLike, hours1: ArrayLike, fish2: ArrayLike, hours2: ArrayLike, level: float = 0.95
) -> RateComparison:
    """Two catch rates on different trips, such as two waters; shapes (n1,) and (n2,).

    `ratio` is that of the two ratios of totals. The test deals the trips (fish and hours together) anew into
    the two groups: every way where there are at most `DRAWS`, else `DRAWS` seeded ones. Its statistic is the
    first group's fish less what its hours would give at the common rate. The limits are the ratios that the
    test does not refuse once the first group's hours are multiplied by them. It takes it that trips of the
    two groups vary alike about their rates.

    In simulated seasons (gamma-Poisson trips, shape 1, 1 to 6 h) of 5 and 5, 6 and 15, and 12 and 12 trips
    with rates 0.5 to 2 an hour, the test at 5 % refused a true ratio of 1 in 4-6 % and the 95 %
    limits held a true ratio of 2 in 91-98 %.

    Raises ValueError for unequal shapes within a group, fish not whole or negative, or hours not finite and
    above 0. Source: the permutation test, as for `compare_rates_within`.
    """
    caught1, time1 = _trips(fish1, hours1)
    caught2, time2 = _trips(fish2, hours2)
    first = len(caught1)
    caught = np.concatenate((caught1, caught2))
    deals, exact = _deals(len(caught), first)

    def scores(log_ratio: float) -> FloatArray:
        hours = np.concatenate((time1 * math.exp(log_ratio), time2))
        return np.asarray(caught - caught.sum() / hours.sum() * hours, dtype=np.float64)

    def p_value(log_ratio: float) -> float:
        score = scores(log_ratio)
        return _share_at_least(np.abs(deals @ score), abs(float(score[:first].sum())), exact)

    def score_sum(log_ratio: float) -> float:
        return float(scores(log_ratio)[:first].sum())

    smallest = max(min(1.0, 2 / math.comb(len(caught), first)), 1.0 / (DRAWS + 1))
    totals = float(caught1.sum()), float(caught2.sum())
    return _compared(totals, score_sum, p_value, smallest, len(caught), level)


class RateContrast(NamedTuple):
    """One of several comparisons: `group` caught more an hour than `against` on the trips compared.

    `ratio` (at least 1) and its limits are as in `RateComparison`; `p_adjusted` is Holm's over all that were
    compared together; `units` counts the trips that bear on it.
    """

    factor: str
    group: str
    against: str
    ratio: float
    low: float
    high: float
    p: float
    p_adjusted: float
    units: int


def contrast_rates(
    factors: Mapping[str, Mapping[str, Mapping[str, tuple[int, float]]]],
    *,
    within: Collection[str],
    level: float = 0.95,
) -> list[RateContrast]:
    """Each two groups of each factor compared, the least p first.

    A group is its (fish, hours) by trip. Groups of a factor in `within` are compared on the trips they share,
    others each on its own trips. Pairs are left out where neither caught a fish, or where so few trips cannot
    give p below 1 - `level` whatever was caught: that rests on the number of trips, not on who caught what,
    so the tests left need no adjustment for them (Tarone 1990, Biometrics 46:515-522, from memory).
    """
    made: list[RateContrast] = []
    for factor, groups in factors.items():
        compare = compare_rates_within if factor in within else compare_rates_between
        for first, second in combinations(sorted(groups), 2):
            one, other = groups[first], groups[second]
            if factor in within:
                shared = [trip for trip in one if trip in other]
                one, other = {trip: one[trip] for trip in shared}, {trip: other[trip] for trip in shared}
            found = compare(*_columns(one.values()), *_columns(other.values()), level=level)
            if found.smallest_p > 2.0 * tail_probability(level) or math.isnan(found.ratio):
                continue
            names, limits = (first, second), (found.ratio, found.low, found.high)
            if found.ratio < 1:
                names, limits = (
                    (second, first),
                    (_one_over(found.ratio), 1 / found.high, _one_over(found.low)),
                )
            made.append(RateContrast(factor, *names, *limits, found.p, found.p, found.units))
    adjusted = holm_adjusted([each.p for each in made])
    held = [each._replace(p_adjusted=float(p)) for each, p in zip(made, adjusted, strict=True)]
    return sorted(held, key=lambda each: (each.p_adjusted, each.p))


def _one_over(value: float) -> float:
    return 1.0 / value if value > 0 else math.inf


def _columns(trips: Iterable[tuple[int, float]]) -> tuple[list[int], list[float]]:
    listed = list(trips)
    return [fish for fish, _ in listed], [hours for _, hours in listed]


def _compared(
    totals: tuple[float, float],
    score_sum: Callable[[float], float],
    p_value: Callable[[float], float],
    smallest_p: float,
    units: int,
    level: float,
) -> RateComparison:
    alpha = 2.0 * tail_probability(level)
    if totals == (0.0, 0.0):
        return RateComparison(
            ratio=math.nan,
            low=0.0,
            high=math.inf,
            level=level,
            p=1.0,
            smallest_p=smallest_p,
            units=units,
        )
    largest = _LARGEST_LOG_RATIO
    at = largest if totals[1] == 0 else -largest
    if min(totals) > 0:
        at = float(brentq(score_sum, -largest, largest, xtol=1e-10))

    def limit(end: float) -> float:
        """Where the test begins to refuse, from the estimate towards `end`."""
        if abs(at) == largest and at == end:
            return end
        kept, refused = at, end
        if p_value(refused) > alpha:
            return end
        while abs(refused - kept) > _SMALLEST_STEP:
            middle = (kept + refused) / 2.0
            kept, refused = (middle, refused) if p_value(middle) > alpha else (kept, middle)
        return (kept + refused) / 2.0

    def ratio(log_ratio: float) -> float:
        if abs(log_ratio) == largest:
            return math.inf if log_ratio > 0 else 0.0
        return math.exp(log_ratio)

    return RateComparison(
        ratio=ratio(at),
        low=ratio(limit(-largest)),
        high=ratio(limit(largest)),
        level=level,
        p=p_value(0.0),
        smallest_p=smallest_p,
        units=units,
    )


def _trips(fish: ArrayLike, hours: ArrayLike) -> tuple[FloatArray, FloatArray]:
    caught, time = np.asarray(fish, dtype=np.float64), np.asarray(hours, dtype=np.float64)
    if caught.ndim != 1 or caught.shape != time.shape:
        raise ValueError(
            f"fish and hours must be one-dimensional and of one length, not {caught.shape}, {time.shape}"
        )
    if not np.all(np.isfinite(caught) & (caught >= 0) & (caught == np.floor(caught))):
        raise ValueError("fish must be whole numbers of at least 0")
    if not np.all(np.isfinite(time) & (time > 0)):
        raise ValueError("hours must be finite and above 0")
    return caught, time


def _share_at_least(values: FloatArray, seen: float, exact: bool) -> float:
    extreme = int(np.count_nonzero(values >= seen - 1e-9 * (1.0 + seen)))
    return extreme / len(values) if exact else (1 + extreme) / (1 + len(values))


@lru_cache(maxsize=4)
def _sign_flips(units: int) -> FloatArray:
    if units <= 12:
        bits = np.arange(2**units)[:, np.newaxis] >> np.arange(units)
        return np.asarray(1.0 - 2.0 * (bits & 1), dtype=np.float64)
    return np.asarray(
        np.random.default_rng(SEED).integers(0, 2, size=(DRAWS, units)) * 2.0 - 1.0, dtype=np.float64
    )


@lru_cache(maxsize=4)
def _deals(units: int, first: int) -> tuple[FloatArray, bool]:
    if math.comb(units, first) <= DRAWS:
        chosen = np.array(list(combinations(range(units), first)), dtype=np.int64).reshape(-1, first)
    else:
        order = np.random.default_rng(SEED).random((DRAWS, units)).argsort(axis=1, kind="stable")
        chosen = order[:, :first]
    deals = np.zeros((len(chosen), units))
    np.put_along_axis(deals, chosen, 1.0, axis=1)
    return deals, math.comb(units, first) <= DRAWS


# --- published standards ---------------------------------------------------------------------------------


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
    source = files("benchwater.mathematics").joinpath("data", file)
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
