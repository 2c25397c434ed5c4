"""Seasons of a mold: flaws by temperature, the working window, and yields."""

from dataclasses import dataclass
from datetime import timedelta

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import expit
from scipy.stats import beta

from benchwater.ledger import midnight
from benchwater.plugin.season import Season, Span
from defect_rate.logistic import (
    cluster_dispersion,
    fit_logistic,
    line_design,
    with_dispersion,
)
from defect_rate.working_window import FlawWindow, flaw_window, rate_limits
from material_balance.metal import mold_yields
from simulations.shares_and_lives import alike_shares, inside
from simulations.stock_seasons import NOMINAL, START, bench
from simulations.study import Generator, Held

FloatArray = NDArray[np.float64]

TARGET = 0.10


@dataclass(frozen=True, slots=True, kw_only=True)
class MoldSeason:
    """Fills of a mold by temperature and their flaws, (fills,), with the truth behind them.

    The target is met in truth from `first_met` to `last_met`; cold flaws are half of the castings at `middle`
    and fall off over `width`.
    """

    temperature: FloatArray
    castings: FloatArray
    cold: FloatArray
    hot: FloatArray
    other: FloatArray
    first_met: float
    last_met: float
    middle: float
    width: float

    def window(self) -> FlawWindow | None:
        """What the analysis makes of it."""
        return flaw_window(self.temperature, self.castings, self.cold, self.hot, self.other, target=TARGET)


def mold_season(rng: Generator) -> MoldSeason:
    """60 to 150 fills of 2 to 6 castings at 110 to 230 degC, alike in a fill (correlation 0 to 0.3).

    Up to 5 % have flaws that temperature does not change. Hot flaws come to be half of the castings at 225 to
    245 degC, so that a season sees none to many.
    """
    size = int(rng.integers(60, 151))
    x, n = rng.uniform(110, 230, size), np.full(size, int(rng.integers(2, 7)))
    middle, width, alike = rng.uniform(140, 155), rng.uniform(6, 10), rng.uniform(0, 0.3)
    hot_middle, hot_width, plain = rng.uniform(225, 245), rng.uniform(6, 10), rng.uniform(0, 0.05)

    def rates(at: FloatArray) -> tuple[FloatArray, FloatArray]:
        return expit((middle - at) / width), expit((at - hot_middle) / hot_width)

    cold_rate, hot_rate = rates(x)
    cold = rng.binomial(n, alike_shares(rng, cold_rate, alike))
    hot = rng.binomial(n - cold, np.minimum(alike_shares(rng, hot_rate, alike) / (1 - cold_rate), 1.0))
    left = np.maximum(1 - cold_rate - hot_rate, plain)
    other = rng.binomial(n - cold - hot, np.minimum(plain / left, 1.0))
    grid = np.linspace(middle, 300, 40_001)
    met = grid[np.add(*rates(grid)) + plain <= TARGET]
    return MoldSeason(
        temperature=x,
        castings=n.astype(float),
        cold=cold.astype(float),
        hot=hot.astype(float),
        other=other.astype(float),
        first_met=float(met[0]),
        last_met=float(met[-1]),
        middle=middle,
        width=width,
    )


def target_temperature(rng: Generator) -> Held:
    """Where 10 % of rejects are first met: 60 to 150 fills, alike in a fill (correlation 0 to 0.3)."""
    season = mold_season(rng)
    found = season.window()
    if found is None or found.window is None or found.first_met is None:
        return None
    return inside(found.window.first_met_lower, season.first_met, found.window.first_met_upper)


def window_top(rng: Generator) -> Held:
    """Where 10 % of rejects are last met in the same seasons, where the logs show that."""
    season = mold_season(rng)
    found = season.window()
    if found is None or found.top is None:
        return None
    low, high = found.top_limits
    return inside(low, season.last_met, high)


def cold_share(rng: Generator) -> Held:
    """The fitted share of cold flaws in the same seasons, at a temperature at which it is 1 to 90 %."""
    season, truth = mold_season(rng), expit(rng.uniform(-4.6, 2.2))
    at = season.middle - season.width * np.log(truth / (1 - truth))
    if season.cold.sum() == 0:
        return None
    fit = fit_logistic(season.cold, season.castings, line_design(season.temperature))
    _, limits = rate_limits(with_dispersion(fit, cluster_dispersion(fit)), [at])
    return inside(float(limits.lower[0]), truth, float(limits.upper[0]))


def metal_yield(rng: Generator) -> Held:
    """Metal yield of 20 to 60 fills of three cavities of 3.5, 7 and 14 g, alike in a fill (to 0.5)."""
    fills, alike = int(rng.integers(20, 61)), rng.uniform(0, 0.5)
    good = {name: rng.uniform(0.4, 0.95) for name in NOMINAL}
    shift = rng.beta(2, 2, fills)
    rows = []
    for fill in range(fills):
        for name, share in good.items():
            made = int(rng.integers(1, 4))
            common = rng.random() < alike
            n_good = (made if shift[fill] < share else 0) if common else int(rng.binomial(made, share))
            day = midnight(START) + timedelta(days=fill // 10)
            for outcome, count in (("good", n_good), ("reject", made - n_good)):
                if count:
                    rows.append((day, "jig", name, outcome, count, fill % 10 + 1))
    names = ["date", "mold", "cavity", "outcome", "count", "fill"]
    table = pd.DataFrame(rows, columns=names)
    for column in ("mass_g", "mold_temp_c", "melt_temp_c"):
        table[column] = np.nan
    for column in ("session", "flaw", "material"):
        table[column] = None
    end = START + timedelta(days=30)
    season = Season(bench(1.0), {"pour": table}, START, end)
    span = Span(name="season", label="", start=START, end=end)
    (found,) = mold_yields(season, span)
    # In truth, the share of a fill that goes good together is that of shift below the cavity's share.
    shares = {n: alike * beta.cdf(s, 2, 2) + (1 - alike) * s for n, s in good.items()}
    truth = sum(NOMINAL[n] * s for n, s in shares.items()) / sum(NOMINAL.values())
    return None if found.metal is None else inside(found.metal.low, truth, found.metal.high)
