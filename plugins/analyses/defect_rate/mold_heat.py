"""Heat of a mold taken as one lump: its warm-up, fitted to the log, and what an infrared gun reads on it.

Temperatures in degrees Celsius, masses kg, heat J, heat capacity J/K, loss W/K, times s. The balance is that
of the lumped capacity: Incropera and DeWitt, Fundamentals of Heat and Mass Transfer, chapter 5 (from memory).
Each fill brings mold and castings to one temperature, at which the castings leave; until the next fill the
mold loses heat to the air. Where a log holds the times of its fills, the balance uses them. Otherwise it
counts time in fills, each taken as `SECONDS_PER_FILL` (or the usual time between the fills that are timed),
so that the bench's own rhythm is part of the fitted loss.

Constants: aluminium alloy 6061, 896 J/(kg K) and 2700 kg/m3 (UNS A96061 data sheets); lead, liquid 148 and
solid 136 J/(kg K) (Dinsdale 1991, Calphad 15:317-425), 23.04 kJ/kg of fusion (CRC Handbook of Chemistry and
Physics); loss of a bare mold in still air 10 W/(m2 K), worked out from the free convection of a vertical
plate (Cengel, Heat Transfer) and the radiation of oxidised aluminium.
"""

import math
from dataclasses import dataclass, replace
from math import log
from typing import NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from benchwater.ledger.fills import Runs

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

AIR_C = 20.0
SECONDS_PER_FILL = 60.0
ALUMINIUM = 896.0
ALUMINIUM_DENSITY = 2700.0
LOSS_PER_AREA = 10.0
FLAT_BLOCK = 8.0
LOW_MELTING_C = 200.0
FEWEST_MEASURED = 4
MEASURED_WITHIN_K = 5.0
# One standard deviation of a logarithm. Book values and an unwritten rhythm are good to a factor of 2, the
# metal in sprues to a third: common practice, no source.
BOOK, RHYTHM, SPRUE = log(2.0), log(2.0), log(4 / 3)
DRAWS, SEED = 1000, 20
# What a gun set to 0.95 reads of 150 degC, in a room of 20 degC, on aluminium that is bare (emissivity 0.05),
# oxidised (0.3) and blackened (0.94): Planck's law over 8 to 14 um, emissivities from published tables (CRC;
# DMIC Report 177; Thermal Radiation Properties Survey, 1960).
GUN_ON_C, GUN_READS_C = 150.0, (30.6, 73.1, 149.0)
FEWEST_READINGS, LEAST_WARMTH_K, FAR_BELOW = 4, 40.0, 1 / 3
# Tight enough for the same 10 digits from every version of scipy.
_SAME_TO = 1e-13


class Metal(NamedTuple):
    """Specific heats of a metal, liquid and solid, in J/(kg K), and its latent heat of fusion in J/kg."""

    liquid: float
    solid: float
    latent: float


LEAD = Metal(liquid=148.0, solid=136.0, latent=23040.0)
# Tin with 58 % bismuth: means of the elements by mass; latent heat from memory.
TIN_BISMUTH = Metal(liquid=188.0, solid=167.0, latent=45000.0)


@dataclass(frozen=True, slots=True)
class Fills:
    """How many fills bring a mold to a temperature, and the 95 % limits of that; None is never."""

    count: int | None
    low: int | None
    high: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class WarmingMold:
    """A mold of `heat_capacity` (J/K) that loses `loss` (W/K), and what a fill brings it.

    A fill brings `content`, the heat in J of its metal above 0 degC, and `casting`, the heat capacity of that
    metal in J/K. `seconds` is the usual time between fills; `timed` says whether the log gave it. `fitted`
    says whether capacity and loss are fitted to `measured` temperatures or are book values; `spread` is the
    covariance (2, 2) of their logarithms.
    """

    content: float
    casting: float
    heat_capacity: float
    loss: float
    spread: FloatArray
    fitted: bool
    measured: int
    seconds: float
    timed: bool

    def temperatures(
        self, starts: FloatArray, waits: FloatArray, readings: FloatArray | None = None
    ) -> FloatArray:
        """Returns the temperature just before each fill (sessions, fills) of sessions begun at `starts`.

        `waits` holds the times since the fill before, nan for the usual one; the first is ignored. From each
        of the `readings` that is not nan the balance starts again.
        """
        readings = np.full(waits.shape, np.nan) if readings is None else readings
        kept = np.exp(-np.where(np.isnan(waits), self.seconds, waits) * self.loss / self.heat_capacity)
        before = np.empty(waits.shape)
        for fill in range(waits.shape[1]):
            warm = starts
            if fill > 0:
                after = self.heat_capacity * before[:, fill - 1] + self.content
                warm = AIR_C + kept[:, fill] * (after / (self.heat_capacity + self.casting) - AIR_C)
            before[:, fill] = np.where(np.isnan(readings[:, fill]), warm, readings[:, fill])
        return before

    def fills_to(self, target: float, start: float = AIR_C) -> Fills:
        """Returns after how many fills the mold is at `target`.

        The limits are quantiles over DRAWS of what is uncertain, each log-normal: capacity and loss as
        `spread` says, and with book values the rhythm (unless timed) and the metal in sprues too. A fit needs
        neither: readings show what mold, sprues and rhythm do together.
        """
        drawn = np.random.default_rng(SEED).standard_normal((4, DRAWS))
        random = np.hstack([np.zeros((4, 1)), drawn])  # the first is the estimate itself
        capacity, loss = np.exp(np.linalg.cholesky(self.spread) @ random[:2])
        rhythm = np.exp(random[2] * (0.0 if self.fitted or self.timed else RHYTHM))
        metal = np.exp(random[3] * (0.0 if self.fitted else SPRUE))
        count, *counts = _fills_to(
            *(self.heat_capacity * capacity, self.loss * loss * rhythm * self.seconds),
            *(self.content * metal, self.casting * metal),
            start,
            target,
        ).tolist()
        low, high = np.quantile(counts, (0.025, 0.975), method="inverted_cdf").tolist()
        ends = (count, min(low, count), max(high, count))
        return Fills(*(int(n) if math.isfinite(n) else None for n in ends))


def warming_mold(
    mold_mass: float, fill_mass: float, pour: float, liquidus: float, readings: FloatArray, waits: FloatArray
) -> WarmingMold:
    """Fits the balance of an aluminium mold of `mold_mass` to sessions side by side.

    `readings` (sessions, fills) is the temperature just before each fill, nan where not measured and behind
    the session's last fill. `waits` (sessions, fills) is the time since the fill before, nan where the log
    does not say; the first is ignored. The book values are those of the module: the loss is that of a flat
    block of that mass. A pour below the liquidus is taken to be just above it.

    The fit takes the logarithms of heat capacity and loss that make this sum least: over readings, but the
    first of each session, ((estimated - read) / MEASURED_WITHIN_K)^2, and over both values
    (log(value / book) / BOOK)^2. `estimated` is `temperatures` begun at the session's first reading, and not
    corrected by later ones (output-error least squares: Ljung 1999, System Identification, chapter 3; from
    memory). The book values stand with fewer than FEWEST_MEASURED such readings.
    """
    metal = LEAD if liquidus >= LOW_MELTING_C else TIN_BISMUTH
    area = FLAT_BLOCK * (mold_mass / ALUMINIUM_DENSITY) ** (2 / 3)
    known = waits[:, 1:][~np.isnan(waits[:, 1:])]
    usual = float(np.median(known)) if known.size else 0.0
    read = ~np.isnan(readings)
    first = read & (np.cumsum(read, axis=1) == 1)
    compared = read & ~first
    book = WarmingMold(
        content=heat_content(fill_mass, max(pour, liquidus + 5.0), liquidus, metal),
        casting=fill_mass * metal.solid,
        heat_capacity=mold_mass * ALUMINIUM,
        loss=LOSS_PER_AREA * area,
        spread=BOOK**2 * np.eye(2),
        fitted=False,
        measured=int(compared.sum()),
        seconds=usual if usual > 0 else SECONDS_PER_FILL,
        timed=usual > 0,
    )
    if book.measured < FEWEST_MEASURED:
        return book
    from scipy.optimize import least_squares

    bears = compared.any(axis=1)
    readings, waits, compared = readings[bears], waits[bears], compared[bears]
    begun, cold = np.where(first[bears], readings, np.nan), np.full(len(readings), AIR_C)

    def with_logs(logarithms: FloatArray) -> WarmingMold:
        capacity, loss = np.exp(logarithms) * (book.heat_capacity, book.loss)
        return replace(book, heat_capacity=float(capacity), loss=float(loss), fitted=True)

    def residuals(logarithms: FloatArray) -> FloatArray:
        estimated = with_logs(logarithms).temperatures(cold, waits, begun)
        return np.append((estimated - readings)[compared] / MEASURED_WITHIN_K, logarithms / BOOK)

    found = least_squares(
        residuals,
        np.zeros(2),
        jac="3-point",
        bounds=(-log(100), log(100)),
        xtol=_SAME_TO,
        ftol=_SAME_TO,
        gtol=_SAME_TO,
    )
    scatter = max(1.0, 2 * found.cost / book.measured)
    # Rounded, so that processors whose last digits differ give the same estimates.
    slopes = np.round(np.asarray(found.jac, dtype=np.float64), 4)
    return replace(
        with_logs(np.round(found.x, 6)),
        spread=np.asarray(scatter * np.linalg.inv(slopes.T @ slopes), dtype=np.float64),
    )


def fill_temperatures(
    model: WarmingMold, runs: Runs, trusted: BoolArray, usual: float | None
) -> pd.DataFrame:
    """Returns every fill, also those without a row; sessions without a first reading begin as usual.

    Columns: `session`, `fill` (its number), `measured_c` (nan where not read), `estimated_c` by the heat
    balance from the session's first fill on, and `carried_c` by one that starts again from each reading.
    """
    used = np.where(trusted[:, np.newaxis], runs.readings, np.nan)
    begun = AIR_C if usual is None else usual
    starts = np.where(np.isnan(used[:, 0]), begun, used[:, 0]) if used.size else np.zeros(0)
    estimated = model.temperatures(starts, runs.waits)
    carried = model.temperatures(starts, runs.waits, used)
    session, fill = np.nonzero(np.arange(used.shape[1]) < runs.lengths[:, np.newaxis])
    return pd.DataFrame(
        {
            "session": np.array(runs.sessions, dtype=object)[session],
            "fill": fill + 1,
            "measured_c": runs.readings[session, fill],
            "estimated_c": estimated[session, fill],
            "carried_c": carried[session, fill],
        }
    )


def heat_content(mass: float, pour: float, liquidus: float, metal: Metal) -> float:
    """Returns the heat in J, above 0 degC, of a mass of metal poured at no less than its liquidus.

    m (c_l (T_pour - T_liquidus) + L + c_s T_liquidus), the solid value taken below the liquidus.
    """
    return mass * (metal.liquid * (pour - liquidus) + metal.latent + metal.solid * liquidus)


def _fills_to(
    capacity: FloatArray,
    lost: FloatArray,
    content: FloatArray,
    casting: FloatArray,
    start: float,
    target: float,
) -> FloatArray:
    """Returns the fills (n,) after which the mold is at `target`, inf where never.

    `lost` is what the mold loses between fills for each K over the air, in J/K. Each fill takes T to
    ratio * T + rise, so that its distance from the limit shrinks by the ratio: a geometric series.
    """
    if start >= target:
        return np.zeros(capacity.shape)
    kept = np.exp(-lost / capacity)
    ratio = kept * capacity / (capacity + casting)
    limit = ((1 - kept) * AIR_C + kept * content / (capacity + casting)) / (1 - ratio)
    with np.errstate(divide="ignore", invalid="ignore"):
        count = np.ceil(np.log((limit - target) / (limit - start)) / np.log(ratio) - 1e-9)
    return np.where(limit > target, count, np.inf)


def is_far_too_low(readings: FloatArray, expected: FloatArray) -> bool:
    """Returns whether readings, nan where none, lie far below what a heat balance expects.

    They do where the median reading is warmer than the air by less than a third of what the balance expects,
    among fills that it expects to be LEAST_WARMTH_K warmer than the air or more; False with fewer than
    FEWEST_READINGS of those. A heat balance from book values may be off by a factor of 2 (common practice, no
    source), a gun on bare metal by more.
    """
    compared = ~np.isnan(readings) & (expected - AIR_C >= LEAST_WARMTH_K)
    if np.count_nonzero(compared) < FEWEST_READINGS:
        return False
    return bool(np.median((readings[compared] - AIR_C) / (expected[compared] - AIR_C)) < FAR_BELOW)
