"""Seasons of a mold: flaws by temperature, the working window, and yields."""

from dataclasses import dataclass
from datetime import timedelta

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import expit, logit
from scipy.stats import beta

from benchwater.ledger import midnight
from benchwater.plugin.season import Season, Span
from benchwater.statistics.proportions import few_cluster_effect, wilson_interval
from defect_rate.compute import by_fill
from defect_rate.mold_heat import LEAD, WarmingMold, heat_content
from defect_rate.working_window import FlawWindow, flaw_window
from material_balance.metal import mold_yields
from simulations.shares_and_lives import alike_shares, inside
from simulations.stock_seasons import NOMINAL, START, bench
from simulations.study import Generator, Held

FloatArray = NDArray[np.float64]

TARGET, MOST_FILLS = 0.10, 60
NODES, WEIGHTS = np.polynomial.hermite_e.hermegauss(31)
WEIGHTS = WEIGHTS / WEIGHTS.sum()


@dataclass(frozen=True, slots=True, kw_only=True)
class MoldSeason:
    """Fills of a mold by temperature and their flaws, (fills,), with the truth behind them.

    Over sessions as they come, the target is met in truth from `first_met` to `last_met` (None where it is
    nowhere). Within a usual session cold flaws are half of the castings at `middle`, and fall off over
    `width`.
    """

    temperature: FloatArray
    castings: FloatArray
    cold: FloatArray
    hot: FloatArray
    other: FloatArray
    session: NDArray[np.int64]
    first_met: float | None
    last_met: float | None
    middle: float
    width: float

    def window(self) -> FlawWindow | None:
        """What the analysis makes of it."""
        return flaw_window(
            *(self.temperature, self.castings, self.cold, self.hot, self.other, self.session), target=TARGET
        )


def marginal(logits: FloatArray, scatter: float) -> FloatArray:
    """The mean share over sessions whose logits differ by a normal of that standard deviation."""
    return np.asarray(expit(logits[:, None] + scatter * NODES) @ WEIGHTS)


def mold_season(rng: Generator, scatter: float) -> MoldSeason:
    """6 to 16 sessions of 6 to 14 fills of 2 to 6 castings, the mold warming by 3 to 7 K a fill.

    Castings of a fill are alike (correlation 0 to 0.3), and the logits of both kinds of flaws differ between
    sessions by a standard deviation of `scatter`. Up to 5 % have flaws that temperature does not change.
    """
    sessions = int(rng.integers(6, 17))
    fills = rng.integers(6, 15, sessions)
    session = np.repeat(np.arange(sessions), fills)
    number = np.arange(session.size) - np.repeat(np.cumsum(fills) - fills, fills)
    x = rng.uniform(110, 200, sessions)[session] + rng.uniform(3, 7, sessions)[session] * number
    x = np.clip(x + rng.normal(0, 3, session.size), 100, 235)
    n = np.full(session.size, int(rng.integers(2, 7)))
    middle, width, alike = rng.uniform(140, 155), rng.uniform(6, 10), rng.uniform(0, 0.3)
    hot_middle, hot_width, plain = rng.uniform(225, 245), rng.uniform(6, 10), rng.uniform(0, 0.05)
    shift = scatter * rng.standard_normal((2, sessions))[:, session]
    cold_rate, hot_rate = (
        expit((middle - x) / width + shift[0]),
        expit((x - hot_middle) / hot_width + shift[1]),
    )
    cold = rng.binomial(n, alike_shares(rng, np.clip(cold_rate, 1e-9, 1 - 1e-9), alike))
    hot_share = alike_shares(rng, np.clip(hot_rate, 1e-9, 1 - 1e-9), alike) / (1 - cold_rate + 1e-12)
    hot = rng.binomial(n - cold, np.minimum(hot_share, 1.0))
    left = np.maximum(1 - cold_rate - hot_rate, plain + 1e-9)
    other = rng.binomial(n - cold - hot, np.minimum(plain / left, 1.0))
    grid = np.linspace(middle, 300, 4001)
    total = marginal((middle - grid) / width, scatter) + marginal((grid - hot_middle) / hot_width, scatter)
    met = grid[total + plain <= TARGET]
    return MoldSeason(
        temperature=x,
        castings=n.astype(float),
        cold=cold.astype(float),
        hot=hot.astype(float),
        other=other.astype(float),
        session=session,
        first_met=float(met[0]) if met.size else None,
        last_met=float(met[-1]) if met.size else None,
        middle=middle,
        width=width,
    )


def reject_rate(rng: Generator, scatter: float) -> Held:
    """A reject rate of 3 to 16 sessions of 5 to 14 fills, alike in a fill (correlation 0 to 0.3)"""
    sessions, middle, alike = int(rng.integers(3, 17)), logit(rng.uniform(0.03, 0.5)), rng.uniform(0, 0.3)
    bad, made = np.zeros(sessions), np.zeros(sessions)
    for session in range(sessions):
        share = expit(middle + scatter * rng.standard_normal())
        castings = rng.integers(2, 7, int(rng.integers(5, 15)))
        bad[session] = rng.binomial(castings, alike_shares(rng, np.full(castings.size, share), alike)).sum()
        made[session] = castings.sum()
    effect = few_cluster_effect(bad, made)
    assert effect is not None
    found = wilson_interval(bad.sum(), made.sum(), effect)
    return inside(found.low, float(marginal(np.array([middle]), scatter)[0]), found.high)


def target_temperature(rng: Generator, scatter: float) -> Held:
    """Where 10 % of rejects are first met: 6 to 16 sessions of 6 to 14 fills, alike in a fill (0 to 0.3)"""
    season = mold_season(rng, scatter)
    found = season.window()
    if found is None or found.window is None or found.first_met is None or season.first_met is None:
        return None
    return inside(found.window.first_met_lower, season.first_met, found.window.first_met_upper)


def window_top(rng: Generator, scatter: float) -> Held:
    """Where 10 % of rejects are last met in such seasons, where the logs show that"""
    season = mold_season(rng, scatter)
    found = season.window()
    if found is None or found.top is None or season.last_met is None:
        return None
    low, high = found.top_limits
    return inside(low, season.last_met, high)


def cold_share(rng: Generator, scatter: float) -> Held:
    """The fitted share of cold flaws in such seasons, at a temperature where it is 1 to 90 %"""
    season = mold_season(rng, scatter)
    at = season.middle - season.width * rng.uniform(-4.6, 2.2)
    found = season.window()
    if found is None or found.cold is None:
        return None
    low, high = found.cold.limits(at)
    truth = float(marginal(np.array([(season.middle - at) / season.width]), scatter)[0])
    return inside(float(low), truth, float(high))


def first_good_fill(rng: Generator, scatter: float) -> Held:
    """From which fill on at most 10 % are rejects, without a thermometer: 5 to 15 sessions begun cold"""
    sessions = int(rng.integers(5, 16))
    capacity, loss, mass = rng.uniform(300, 900), rng.uniform(0.15, 0.5), rng.uniform(0.02, 0.06)
    mold = WarmingMold(
        content=heat_content(mass, 370.0, 250.0, LEAD),
        casting=mass * LEAD.solid,
        heat_capacity=capacity,
        loss=loss,
        spread=np.eye(2),
        fitted=True,
        measured=0,
        seconds=60.0,
        timed=True,
    )
    pace, typical = rng.uniform(30, 75), 1000

    def temperatures(count: int) -> FloatArray:
        waits = np.repeat(pace * np.exp(rng.normal(0, 0.15, (count, 1))), MOST_FILLS, axis=1)
        return mold.temperatures(rng.uniform(18, 32, count), waits)

    many = temperatures(typical)
    middle = float(np.interp(rng.uniform(4, 16), np.arange(MOST_FILLS), many.mean(axis=0)) - 20)
    width, alike, plain = rng.uniform(6, 10), rng.uniform(0, 0.3), rng.uniform(0, 0.04)
    shift = scatter * rng.standard_normal((typical, 1))
    met = np.flatnonzero(expit((middle - many) / width + shift).mean(axis=0) + plain <= TARGET)
    if not met.size:
        return None
    fills = rng.integers(8, 31, sessions)
    session = np.repeat(np.arange(sessions), fills)
    number = np.arange(session.size) - np.repeat(np.cumsum(fills) - fills, fills) + 1
    warm, made = temperatures(sessions)[session, number - 1], np.full(session.size, int(rng.integers(2, 6)))
    rate = expit((middle - warm) / width + scatter * rng.standard_normal(sessions)[session])
    cold = rng.binomial(made, alike_shares(rng, np.clip(rate, 1e-9, 1 - 1e-9), alike))
    table = pd.DataFrame({"fill": number, "castings": made, "cold": cold, "hot": 0})
    table["rejects"] = cold + rng.binomial(made - cold, plain)
    found = by_fill(table.assign(session=pd.Categorical(session)), TARGET)
    return None if found is None else found.low <= int(met[0]) + 1 <= found.high


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
