"""Seasons of a stock of alloy: months of pouring with a count at the end of each."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from unittest.mock import patch

import numpy as np
import pandas as pd

from benchwater.ledger import castings, midnight
from benchwater.plugin.bench import Bench, Cavity, Item, Mold
from benchwater.plugin.season import Season, Span
from benchwater.statistics.uncertainty import PieceScatter, resolution_uncertainty
from material_balance.balance import Book, Chain, books_of, chain_counts, close_book
from material_balance.metal import dross_rates
from simulations.shares_and_lives import inside
from simulations.study import Generator, Held

START = date(2026, 3, 1)
TOLERANCE = 0.05
NOMINAL = {"small": 3.5, "middle": 7.0, "large": 14.0}
NONE, FEW, HALF, MOST = (0.0, 0.0), (0.1, 0.5), (0.0, 0.6), (0.5, 0.8)
POUR = ["date", "mold", "cavity", "outcome", "count", "mass_g", "material"]
INVENTORY = ["date", "item", "move", "amount", "uncertainty"]


def bench(step: float) -> Bench:
    """A bench with one mold of three cavities and a scale of that step."""
    cavities = {name: Cavity(name=name, mass_g=mass, tolerance=TOLERANCE) for name, mass in NOMINAL.items()}
    return Bench(
        name="Simulated",
        items={"alloy": Item(name="alloy", kind="metal", unit="g", print_unit="g", resolution=step)},
        molds={"jig": Mold(name="jig", material="alloy", cavities=cavities)},
    )


def rounded(value: float, step: float) -> float:
    """What a scale of that step shows."""
    return round(value / step) * step


@dataclass(frozen=True, slots=True, kw_only=True)
class StockSeason:
    """The logs of so many months, and the truth: what was cast and skimmed, and how castings scatter."""

    season: Season
    months: int
    step: float
    cast: float
    skimmed: float
    scatter: float

    @property
    def end(self) -> datetime:
        """The end of the last month."""
        return midnight(self.season.end)

    def book(self) -> Book:
        """The alloy's book."""
        (book,) = books_of(self.season)
        return book


def stock_season(
    rng: Generator,
    months: int,
    lost: Sequence[float],
    weighed: tuple[float, float] = HALF,
    mistyped: int | None = None,
) -> StockSeason:
    """1 to 3 sessions a month, 3 to 24 castings of each cavity; `lost` left without a row in each month.

    Cavities are off their nominal mass by anything within the tolerance, and castings of each scatter by 1 to
    2.5 %, unlike from cavity to cavity. A share of the rows, between those of `weighed`, was weighed to 0.1
    g; counts and dross on a scale of 1, 2 or 5 g. `mistyped` is a count written 10 times too large.
    """
    step = float(rng.choice([1.0, 2.0, 5.0]))
    mass = {name: nominal * rng.uniform(1 - TOLERANCE, 1 + TOLERANCE) for name, nominal in NOMINAL.items()}
    scatter = {name: rng.uniform(0.01, 0.025) for name in NOMINAL}
    share, stock, skimmed = rng.uniform(*weighed), float(rng.uniform(6000, 9000)), 0.0
    inventory: list[tuple[datetime, str, float]] = [(midnight(START), "counted", stock)]
    pours: list[tuple[object, ...]] = []
    cast = 0.0
    for month in range(months):
        first = midnight(START) + timedelta(days=28 * month)
        for session in range(int(rng.integers(1, 4))):
            when = first + timedelta(days=1 + 7 * session)
            for cavity in NOMINAL:
                count = int(rng.integers(3, 25))
                total = mass[cavity] * float(rng.normal(1, scatter[cavity], count).sum())
                shown = rounded(total, 0.1) if rng.random() < share else math.nan
                pours.append((when, "jig", cavity, "good", count, shown, None))
                stock, cast = stock - total, cast + total
            dross = float(rng.uniform(10, 40))
            inventory.append((when, "discarded", dross))
            stock, skimmed = stock - dross, skimmed + dross
        if stock < 3000:
            stock += 4000
            inventory.append((first + timedelta(days=25), "received", 4000.0))
        stock -= lost[month]
        inventory.append((first + timedelta(days=27), "counted", stock))
    counts = [row for row, entry in enumerate(inventory) if entry[1] == "counted"]
    written = [rounded(amount, step) for *_, amount in inventory]
    if mistyped is not None:
        written[counts[mistyped]] *= 10
    rows = [
        (when, "alloy", move, amount, math.nan)
        for (when, move, _), amount in zip(inventory, written, strict=True)
    ]
    logs = {
        "inventory": pd.DataFrame(rows, columns=INVENTORY),
        "pour": pd.DataFrame(pours, columns=POUR),
    }
    end = START + timedelta(days=28 * months)
    return StockSeason(
        season=Season(bench(step), logs, START, end),
        months=months,
        step=step,
        cast=cast,
        skimmed=skimmed,
        scatter=float(np.sqrt(np.mean([each**2 for each in scatter.values()]))),
    )


# --- balances ----------------------------------------------------------------------------------------------


def _unaccounted(rng: Generator, months: int, weighed: tuple[float, float], known: bool = False) -> Held:
    lost = float(rng.uniform(-300, 300))
    drawn = stock_season(rng, months, [lost, *[0.0] * (months - 1)], weighed)
    if known:
        scatter = PieceScatter(share=drawn.scatter, degrees=10**9)
        with patch.object(castings, "pooled_scatter", lambda _: scatter):
            book = drawn.book()
    else:
        book = drawn.book()
    found = close_book(book, midnight(START), drawn.end)
    return inside(-2 * found.u, found.unaccounted - lost, 2 * found.u)


def unaccounted(rng: Generator) -> Held:
    """What left without a row in 3 or 4 months; 50 to 80 % of the rows of castings weighed."""
    return _unaccounted(rng, int(rng.integers(3, 5)), MOST)


def unaccounted_mixed(rng: Generator) -> Held:
    """The same in 1 to 4 months, up to 60 % weighed: cavities by their mean and by their nominal mass."""
    return _unaccounted(rng, int(rng.integers(1, 5)), HALF)


def unaccounted_few(rng: Generator) -> Held:
    """The same in 1 or 2 months, 10 to 50 % weighed: mostly too few weighings to show the scatter."""
    return _unaccounted(rng, int(rng.integers(1, 3)), FEW)


def unaccounted_known(rng: Generator) -> Held:
    """The same, were the scatter of castings known: what rectangular tolerances alone make of k = 2."""
    return _unaccounted(rng, int(rng.integers(1, 3)), FEW, known=True)


def unaccounted_nominal(rng: Generator) -> Held:
    """The same in 1 to 4 months, none weighed: cavities off by anything within their tolerance."""
    return _unaccounted(rng, int(rng.integers(1, 5)), NONE)


def dross_share(rng: Generator) -> Held:
    """What was skimmed, as a share of castings and of it, in 1 to 4 months with up to 60 % weighed."""
    months = int(rng.integers(1, 5))
    drawn = stock_season(rng, months, [0.0] * months)
    season = drawn.season
    span = Span(name="season", label="", start=season.start, end=season.end)
    (found,) = dross_rates(season, span)
    return inside(found.share.low, drawn.skimmed / (drawn.cast + drawn.skimmed), found.share.high)


# --- verdicts ----------------------------------------------------------------------------------------------


def nothing_missing(rng: Generator) -> Held:
    """The verdict of a month's balance in which every row was kept: `closes`."""
    drawn = stock_season(rng, 1, [0.0])
    found = close_book(drawn.book(), midnight(START), drawn.end)
    return abs(found.unaccounted) <= 2 * found.u


def nothing_missing_weighed(rng: Generator) -> Held:
    """The same of 3 or 4 months, 50 to 80 % of the rows weighed."""
    months = int(rng.integers(3, 5))
    drawn = stock_season(rng, months, [0.0] * months, MOST)
    found = close_book(drawn.book(), midnight(START), drawn.end)
    return abs(found.unaccounted) <= 2 * found.u


def _chain(drawn: StockSeason) -> Chain:
    chain = chain_counts(
        drawn.book(), midnight(START), least_u=resolution_uncertainty(drawn.step), significance=0.01
    )
    assert chain is not None
    return chain


def chain_agrees(rng: Generator) -> Held:
    """The chain of 3 to 9 counts of a season in which every row was kept agrees."""
    months = int(rng.integers(2, 9))
    return _chain(stock_season(rng, months, [0.0] * months)).result.agrees


def loss_named(rng: Generator) -> Held:
    """A loss of 400 to 800 g in an inner month of 5 to 8: that stretch, and it alone, is named."""
    months = int(rng.integers(5, 9))
    month = int(rng.integers(1, months - 1))
    lost = [float(rng.uniform(400, 800)) if each == month else 0.0 for each in range(months)]
    return _chain(stock_season(rng, months, lost)).result.suspects == ((months + 1 + month,),)


def slip_named(rng: Generator) -> Held:
    """An inner count of 5 to 8 months written 10 times too large: that count, and it alone, is named."""
    months = int(rng.integers(5, 9))
    count = int(rng.integers(1, months))
    drawn = stock_season(rng, months, [0.0] * months, mistyped=count)
    return _chain(drawn).result.suspects == ((count,),)
