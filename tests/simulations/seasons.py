"""Small seasons drawn at random, analysed as the shipped analyses do, and how often each interval is right.

Every season draws its own truth, then its logs, always from the same seed. Each function returns, by season,
whether the interval held the truth: True, False, or None where the method gives no interval.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import expit, gamma, gammainc

from benchwater.books.log_rows import midnight
from benchwater.books.stock_books import Book, keep_books
from benchwater.mathematics.clustered import clustered_wilson_interval, design_effect
from benchwater.mathematics.flaw_window import flaw_window
from benchwater.mathematics.proportions import clopper_pearson_interval, wilson_interval
from benchwater.mathematics.rates import poisson_interval, rate_ratio
from benchwater.mathematics.ratio import ratio_of_totals
from benchwater.mathematics.stock import Chain, chain_counts, close_books
from benchwater.mathematics.survival import kaplan_meier, restricted_mean
from benchwater.mathematics.uncertainty import resolution_uncertainty
from benchwater.plugin.bench import Bench, Cavity, Item, Mold
from benchwater.plugin.season import Season

Held = bool | None
Generator = np.random.Generator
FloatArray = NDArray[np.float64]
SEED = 20260601


def _inside(low: float, truth: float, high: float) -> bool:
    return bool(low <= truth <= high)


# --- shares, counts and rates ------------------------------------------------------------------------------


def wilson(rng: Generator) -> Held:
    """A share of 10 to 150 castings that do not depend on each other."""
    truth, n = rng.uniform(0.03, 0.97), int(rng.integers(10, 151))
    found = wilson_interval(int(rng.binomial(n, truth)), n)
    return _inside(found.low, truth, found.high)


def clopper_pearson(rng: Generator) -> Held:
    """The same by the exact interval."""
    truth, n = rng.uniform(0.03, 0.97), int(rng.integers(10, 151))
    found = clopper_pearson_interval(int(rng.binomial(n, truth)), n)
    return _inside(found.low, truth, found.high)


def clustered_wilson(rng: Generator) -> Held:
    """A reject rate of 20 to 80 fills of 2 to 6 castings, alike within a fill (correlation 0 to 0.5)."""
    truth, alike = rng.uniform(0.05, 0.6), rng.uniform(0, 0.5)
    size = rng.integers(2, 7, int(rng.integers(20, 81)))
    bad = rng.binomial(size, _beta(rng, np.full(size.size, truth), alike))
    effect = design_effect(bad, size)
    found = clustered_wilson_interval(float(bad.sum()), float(size.sum()), effect)
    return _inside(found.low, truth, found.high)


def garwood(rng: Generator) -> Held:
    """A Poisson mean of 0.2 to 20 losses."""
    truth = rng.uniform(0.2, 20)
    found = poisson_interval(int(rng.poisson(truth)))
    return _inside(found.low, truth, found.high)


def exact_rate_ratio(rng: Generator) -> Held:
    """Two loss rates over 20 to 200 hours each, the one 1/4 to 4 times the other."""
    hours = rng.uniform(20, 200, 2)
    rate, truth = rng.uniform(0.02, 0.3), math.exp(rng.uniform(-math.log(4), math.log(4)))
    first, second = (int(rng.poisson(mean)) for mean in (rate * truth * hours[0], rate * hours[1]))
    if first + second == 0:
        return None
    found = rate_ratio(first, hours[0], second, hours[1])
    return _inside(found.low, truth, found.high)


def catch_per_hour(rng: Generator) -> Held:
    """Fish per hour over 8 to 30 trips of 1 to 6 hours, gamma-Poisson of shape 1 to 4."""
    truth, shape = rng.uniform(0.2, 1.5), rng.uniform(1, 4)
    hours = rng.uniform(1, 6, int(rng.integers(8, 31)))
    fish = rng.poisson(rng.gamma(shape, truth / shape, hours.size) * hours)
    found = ratio_of_totals(fish, hours)
    return _inside(found.low, truth, found.high)


# --- bait life ---------------------------------------------------------------------------------------------


def _lives(rng: Generator) -> tuple[FloatArray, NDArray[np.bool_], float, float]:
    """Hours in use, whether lost, and the shape and scale of the Weibull life: 30 to 100 baits, half kept."""
    shape, scale = rng.uniform(0.7, 1.6), rng.uniform(4, 12)
    size = int(rng.integers(30, 101))
    life, followed = scale * rng.weibull(shape, size), rng.uniform(0.2, 2.5, size) * scale
    return np.minimum(life, followed), life <= followed, shape, scale


def survival(rng: Generator) -> Held:
    """Survival at a fixed time at which 30 to 90 % survive, log(-log) limits."""
    time, lost, shape, scale = _lives(rng)
    truth = rng.uniform(0.3, 0.9)
    found = kaplan_meier(time, lost).at(scale * (-math.log(truth)) ** (1 / shape))
    return None if math.isnan(found.low) else _inside(found.low, truth, found.high)


def mean_life(rng: Generator) -> Held:
    """Mean life up to a horizon of 0.8 to 1.5 times the scale of the lives."""
    time, lost, shape, scale = _lives(rng)
    horizon = scale * rng.uniform(0.8, 1.5)
    curve = kaplan_meier(time, lost)
    if horizon > curve.observed_to and curve.final_survival > 0:
        return None
    found = restricted_mean(curve, horizon)
    power = (horizon / scale) ** shape
    truth = scale / shape * gamma(1 / shape) * gammainc(1 / shape, power)
    return None if math.isnan(found.low) else _inside(found.low, truth, found.high)


# --- the books ---------------------------------------------------------------------------------------------

START = date(2026, 3, 1)
STEP = 5.0
NOMINAL = {"small": 3.5, "middle": 7.0, "large": 14.0}
BENCH = Bench(
    name="Simulated",
    items={"alloy": Item(name="alloy", kind="metal", unit="g", print_unit="g", resolution=STEP)},
    molds={
        "jig": Mold(
            name="jig",
            material="alloy",
            cavities={n: Cavity(name=n, mass_g=mass, tolerance=0.05) for n, mass in NOMINAL.items()},
        )
    },
)


def _rounded(value: float, step: float) -> float:
    return round(value / step) * step


def books(
    rng: Generator,
    months: int,
    lost: Sequence[float],
    mistyped: int | None = None,
    weighed: tuple[float, float] = (0.0, 0.6),
) -> Book:
    """The alloy's book over so many months, a count at the end of each; `lost` left without a row in each.

    Cavities are off their nominal mass within the tolerance and castings scatter by 1 to 2 %. A share of the
    rows, between those of `weighed`, was weighed to 0.1 g; counts and dross to 5 g. `mistyped` is a count
    written 10 times too large.
    """
    mass = {name: nominal * rng.uniform(0.95, 1.05) for name, nominal in NOMINAL.items()}
    scatter, share = rng.uniform(0.01, 0.02), rng.uniform(*weighed)
    stock: float = rng.uniform(6000, 9000)
    inventory = [(midnight(START), "counted", stock)]
    pours: list[tuple[object, ...]] = []
    for month in range(months):
        first = midnight(START) + timedelta(days=28 * month)
        for session in range(int(rng.integers(1, 4))):
            when = first + timedelta(days=1 + 7 * session)
            for cavity in NOMINAL:
                count = int(rng.integers(3, 25))
                total = mass[cavity] * float(rng.normal(1, scatter, count).sum())
                stock -= total
                shown = _rounded(total, 0.1) if rng.random() < share else math.nan
                pours.append((when, "jig", cavity, "good", count, shown, None))
            dross = rng.uniform(10, 40)
            stock -= dross
            inventory.append((when, "discarded", dross))
        if stock < 3000:
            stock += 4000
            inventory.append((first + timedelta(days=25), "received", 4000.0))
        stock -= lost[month]
        inventory.append((first + timedelta(days=27), "counted", stock))
    counts = [row for row, entry in enumerate(inventory) if entry[1] == "counted"]
    written = [_rounded(amount, STEP) for *_, amount in inventory]
    if mistyped is not None:
        written[counts[mistyped]] *= 10
    rows = [
        (when, "alloy", move, amount, math.nan)
        for (when, move, _), amount in zip(inventory, written, strict=True)
    ]
    names = ["date", "mold", "cavity", "outcome", "count", "mass_g", "material"]
    logs = {
        "inventory": pd.DataFrame(rows, columns=["date", "item", "move", "amount", "uncertainty"]),
        "pour": pd.DataFrame(pours, columns=names),
    }
    end = START + timedelta(days=28 * months)
    return keep_books(Season(BENCH, logs, START, end))[0]["alloy"]


def _end(months: int) -> datetime:
    return midnight(START) + timedelta(days=28 * months)


def _unaccounted(rng: Generator, months: int, weighed: tuple[float, float]) -> Held:
    lost = [float(rng.uniform(-300, 300)), *[0.0] * (months - 1)]
    found = close_books(books(rng, months, lost, weighed=weighed).ledger, midnight(START), _end(months))
    return _inside(-2 * found.u, found.unaccounted - lost[0], 2 * found.u)


def unaccounted(rng: Generator) -> Held:
    """What left without a row in 3 or 4 months; 50 to 80 % of the rows of castings weighed."""
    return _unaccounted(rng, int(rng.integers(3, 5)), (0.5, 0.8))


def unaccounted_few(rng: Generator) -> Held:
    """The same in 1 or 2 months, 10 to 50 % weighed: often fewer than 4 weighings of a cavity."""
    return _unaccounted(rng, int(rng.integers(1, 3)), (0.1, 0.5))


def unaccounted_nominal(rng: Generator) -> Held:
    """The same in 1 to 4 months, none weighed: cavities off by anything within their tolerance."""
    return _unaccounted(rng, int(rng.integers(1, 5)), (0.0, 0.0))


def nothing_missing(rng: Generator) -> Held:
    """The verdict of a month's balance in which every row was kept: `closes`."""
    found = close_books(books(rng, 1, [0.0]).ledger, midnight(START), _end(1))
    return abs(found.unaccounted) <= 2 * found.u


def _chain(rng: Generator, months: int, lost: Sequence[float], mistyped: int | None = None) -> Chain:
    book = books(rng, months, lost, mistyped)
    chain = chain_counts(book.ledger, midnight(START), least_u=resolution_uncertainty(STEP))
    assert chain is not None
    return chain


def chain_agrees(rng: Generator) -> Held:
    """The chain of 3 to 9 counts of a season in which every row was kept agrees."""
    months = int(rng.integers(2, 9))
    return _chain(rng, months, [0.0] * months).result.agrees


def loss_named(rng: Generator) -> Held:
    """A loss of 400 to 800 g in an inner month of 5 to 8: that stretch, and it alone, is named."""
    months = int(rng.integers(5, 9))
    month = int(rng.integers(1, months - 1))
    lost = [float(rng.uniform(400, 800)) if each == month else 0.0 for each in range(months)]
    return _chain(rng, months, lost).result.suspects == ((months + 1 + month,),)


def slip_named(rng: Generator) -> Held:
    """An inner count of 5 to 8 months written 10 times too large: that count, and it alone, is named."""
    months = int(rng.integers(5, 9))
    count = int(rng.integers(1, months))
    return _chain(rng, months, [0.0] * months, count).result.suspects == ((count,),)


# --- the mold ----------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class MoldSeason:
    """Fills of a mold by temperature, their cold and hot flaws, and where the target is met in truth."""

    temperature: FloatArray
    castings: FloatArray
    cold: FloatArray
    hot: FloatArray
    truth: float


TARGET = 0.10


def _beta(rng: Generator, mean: FloatArray, alike: float) -> FloatArray:
    """Shares of clusters with these means and an intra-cluster correlation `alike`."""
    if alike < 1e-6:
        return mean
    size = 1 / alike - 1
    return rng.beta(mean * size, (1 - mean) * size)


def mold_season(rng: Generator) -> MoldSeason:
    """60 to 150 fills of 2 to 6 castings at 110 to 230 degC, alike in a fill (correlation 0 to 0.3)."""
    size = int(rng.integers(60, 151))
    x = rng.uniform(110, 230, size)
    n = np.full(size, float(rng.integers(2, 7)))
    middle, width, alike = rng.uniform(140, 155), rng.uniform(6, 10), rng.uniform(0, 0.3)
    hot_middle, hot_width = rng.uniform(225, 245), rng.uniform(6, 10)

    def rates(at: FloatArray) -> tuple[FloatArray, FloatArray]:
        return expit((middle - at) / width), expit((at - hot_middle) / hot_width)

    cold_rate, hot_rate = rates(x)
    cold = rng.binomial(n.astype(int), _beta(rng, cold_rate, alike))
    hot = rng.binomial(n.astype(int) - cold, np.minimum(_beta(rng, hot_rate, alike) / (1 - cold_rate), 1.0))
    grid = np.linspace(middle, 200, 4001)
    truth = float(grid[np.flatnonzero(sum(rates(grid)) <= TARGET)[0]])
    return MoldSeason(x, n, cold.astype(float), hot.astype(float), truth)


def target_temperature(rng: Generator) -> Held:
    """Where 10 % of rejects are first met, over 60 to 150 fills, alike in a fill (correlation 0 to 0.3)."""
    season = mold_season(rng)
    other = np.zeros(season.castings.size)
    found = flaw_window(season.temperature, season.castings, season.cold, season.hot, other, target=TARGET)
    if found is None or found.window is None or found.first_met is None:
        return None
    low, high = found.window.first_met_lower, found.window.first_met_upper
    return _inside(-math.inf if low is None else low, season.truth, math.inf if high is None else high)


# --- all of them -------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Study:
    """One interval or verdict: what is drawn, how many seasons, and the band its share must lie in.

    `note` says why where the band is not 93 to 97 %.
    """

    name: str
    draw: Callable[[Generator], Held]
    seasons: int = 3000
    low: float = 0.93
    high: float = 0.97
    note: str = ""


EXACT = "exact: 95 % or more"
ALARM = "the rest are false alarms, at most 6 %"
POWER = "the right one named, and no other"
STUDIES = (
    Study(name="Wilson", draw=wilson),
    Study(name="Clopper-Pearson", draw=clopper_pearson, high=1.0, note=EXACT),
    Study(name="Wilson with design effect of fills", draw=clustered_wilson),
    Study(name="Garwood", draw=garwood, high=1.0, note=EXACT),
    Study(name="Exact rate ratio", draw=exact_rate_ratio, high=1.0, note=EXACT),
    Study(name="Ratio of totals", draw=catch_per_hour),
    Study(name="Kaplan-Meier, log(-log)", draw=survival),
    Study(name="Restricted mean life", draw=mean_life),
    Study(
        name="Unaccounted, k = 2, weighed",
        draw=unaccounted,
        seasons=1200,
    ),
    Study(
        name="Unaccounted, k = 2, few weighed",
        draw=unaccounted_few,
        seasons=1200,
        high=1.0,
        note="above: k = 2 of a rectangle is more than its half-width; the tolerance stands in for scatter",
    ),
    Study(
        name="Unaccounted, k = 2, nominal",
        draw=unaccounted_nominal,
        seasons=1000,
        high=1.0,
        note="cautious: no cavity is off by more than its tolerance",
    ),
    Study(name="Target temperature", draw=target_temperature, seasons=500),
    Study(
        name="Verdict of a month with every row",
        draw=nothing_missing,
        seasons=1200,
        low=0.94,
        high=1.0,
        note=ALARM,
    ),
    Study(
        name="Chain of counts with every row", draw=chain_agrees, seasons=1000, low=0.94, high=1.0, note=ALARM
    ),
    Study(name="Loss named", draw=loss_named, seasons=600, low=0.9, high=1.0, note=POWER),
    Study(name="Count 10 times too large named", draw=slip_named, seasons=600, low=0.9, high=1.0, note=POWER),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """Of so many seasons: how many gave an interval or verdict, and how many of those were right."""

    study: Study
    stated: int
    right: int

    @property
    def share(self) -> float:
        """How often it was right."""
        return self.right / self.stated


def simulate(study: Study) -> Outcome:
    """Draw the seasons of a study, the same every time."""
    place = STUDIES.index(study)
    rng = np.random.default_rng([SEED, place])
    held = [study.draw(rng) for _ in range(study.seasons)]
    stated = [each for each in held if each is not None]
    return Outcome(study=study, stated=len(stated), right=sum(stated))


def summary(outcomes: Sequence[Outcome]) -> str:
    """The text of tests/simulations/summary.md."""
    lines = [
        "# How often the intervals and verdicts are right",
        "",
        "Small seasons drawn at random, each with a truth of its own, analysed as the shipped analyses do.",
        "`.venv/bin/python tests/simulations/write_summary.py` writes this file; the tests hold it to what",
        "they draw, and each share to its band. Level of every interval: 95 % (k = 2 for balances).",
        "",
        "| what | drawn | seasons | without one | right | band | note |",
        "| --- | --- | ---: | ---: | ---: | --- | --- |",
    ]
    for outcome in outcomes:
        study = outcome.study
        drawn = (study.draw.__doc__ or "").split("\n")[0].rstrip(".")
        without = study.seasons - outcome.stated
        band = f"{100 * study.low:.0f} to {100 * study.high:.0f} %"
        cells = (study.name, drawn, study.seasons, without, f"{100 * outcome.share:.1f} %", band, study.note)
        lines.append(f"| {' | '.join(str(cell) for cell in cells)} |")
    return "\n".join(lines) + "\n"
