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
plate (Cengel, Heat Transfer) and the radiation of oxidised aluminium. Emissivities are shares of a black
body's radiation: bare aluminium 0.05 where polished to 0.3 where oxidised (8 to 14 um band 0.02 to 0.4), oil
paint and soot 0.94, from published emissivity tables (CRC; DMIC Report 177; Thermal Radiation Properties
Survey, 1960).
"""

import math
from dataclasses import dataclass, replace
from math import log

import numpy as np
from numpy.typing import ArrayLike, NDArray

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
BARE_ALUMINIUM, OXIDISED_ALUMINIUM, MATT_BLACK = 0.05, 0.30, 0.94
GUN_SETTING = 0.95
COMMON_BAND_UM = (8.0, 14.0)
FEWEST_READINGS, LEAST_WARMTH_K, FAR_BELOW = 4, 40.0, 1 / 3
TERMS = 30
# Tight enough for the same 10 digits from every version of scipy.
_SAME_TO = 1e-13


@dataclass(frozen=True, slots=True, kw_only=True)
class CastingMetal:
    """Thermal data of a metal: liquidus (deg C), specific heats (J/(kg K)), latent heat of fusion (J/kg)."""

    liquidus: float
    liquid_specific_heat: float
    solid_specific_heat: float
    latent_heat: float


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

    def temperatures(self, starts: FloatArray, waits: FloatArray, readings: FloatArray) -> FloatArray:
        """Returns the temperature just before each fill (sessions, fills) of sessions begun at `starts`.

        `waits` holds the times since the fill before, nan for the usual one; the first is ignored. From each
        of the `readings` that is not nan the balance starts again.
        """
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
        count = _fills_to(
            *(np.array([self.heat_capacity]), np.array([self.loss * self.seconds])),
            *(self.content, self.casting, start, target),
        )
        random = np.random.default_rng(SEED).standard_normal((4, DRAWS))
        capacity, loss = np.exp(np.linalg.cholesky(self.spread) @ random[:2])
        rhythm = np.exp(random[2] * (0.0 if self.fitted or self.timed else RHYTHM))
        metal = np.exp(random[3] * (0.0 if self.fitted else SPRUE))
        drawn = _fills_to(
            *(self.heat_capacity * capacity, self.loss * loss * rhythm * self.seconds),
            *(self.content * metal, self.casting * metal, start, target),
        )
        low, high = np.quantile(drawn, (0.025, 0.975), method="inverted_cdf").tolist()
        best = float(count[0])
        found = (int(n) if math.isfinite(n) else None for n in (best, min(low, best), max(high, best)))
        return Fills(*found)


@dataclass(frozen=True, slots=True, kw_only=True)
class FillTemperatures:
    """Every fill of a mold, session by session, all arrays (fills,).

    `session` is the place of its session in `Runs`, `fill` its number, `measured` its temperature (nan where
    not read), `estimated` that of the heat balance from the session's first fill on, and `carried` that of a
    balance which starts again from each reading.
    """

    session: NDArray[np.int64]
    fill: NDArray[np.int64]
    measured: FloatArray
    estimated: FloatArray
    carried: FloatArray


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

    Raises ValueError for masses not above 0, or negative waits.
    """
    if not (mold_mass > 0 and fill_mass > 0):
        raise ValueError(f"the mold and the metal of a fill must have a mass: {mold_mass}, {fill_mass}")
    if np.any(waits[:, 1:] < 0):
        raise ValueError("waits must not be negative")
    metal = book_metal(liquidus)
    area = FLAT_BLOCK * (mold_mass / ALUMINIUM_DENSITY) ** (2 / 3)
    known = waits[:, 1:][~np.isnan(waits[:, 1:])]
    usual = float(np.median(known)) if known.size else 0.0
    read = ~np.isnan(readings)
    first = read & (np.cumsum(read, axis=1) == 1)
    compared = read & ~first
    book = WarmingMold(
        content=heat_per_fill(fill_mass, max(pour, liquidus + 5.0), 0.0, metal),
        casting=fill_mass * metal.solid_specific_heat,
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
) -> FillTemperatures:
    """Returns every fill, also those without a row; sessions without a first reading begin as usual."""
    used = np.where(trusted[:, np.newaxis], runs.readings, np.nan)
    begun = AIR_C if usual is None else usual
    starts = np.where(np.isnan(used[:, 0]), begun, used[:, 0]) if used.size else np.zeros(0)
    estimated = model.temperatures(starts, runs.waits, np.full(used.shape, np.nan))
    carried = model.temperatures(starts, runs.waits, used)
    session, fill = np.nonzero(np.arange(used.shape[1]) < runs.lengths[:, np.newaxis])
    return FillTemperatures(
        session=session,
        fill=fill + 1,
        measured=runs.readings[session, fill],
        estimated=estimated[session, fill],
        carried=carried[session, fill],
    )


def book_metal(liquidus: float) -> CastingMetal:
    """Returns thermal data for a metal of that liquidus: lead's above LOW_MELTING_C, tin-bismuth's below.

    Lead: CRC Handbook of Chemistry and Physics and Dinsdale 1991, Calphad 15:317-425. Tin with 58 % bismuth:
    mass-weighted means of the elements, latent heat from memory.
    """
    if liquidus >= LOW_MELTING_C:
        return CastingMetal(
            liquidus=liquidus, liquid_specific_heat=148.0, solid_specific_heat=136.0, latent_heat=23040.0
        )
    return CastingMetal(
        liquidus=liquidus, liquid_specific_heat=188.0, solid_specific_heat=167.0, latent_heat=45000.0
    )


def heat_per_fill(
    metal_mass: float, pour_temperature: float, eject_temperature: float, metal: CastingMetal
) -> float:
    """Returns the heat in J that one fill gives to the mold, castings and sprues together.

    m (c_l (T_pour - T_liquidus) + L + c_s (T_liquidus - T_eject)), the solid value taken below the liquidus.
    Raises ValueError for a negative mass, a pour below the liquidus or an ejection above it.
    """
    if not metal_mass >= 0:
        raise ValueError(f"the mass of metal must not be negative: {metal_mass}")
    if not eject_temperature <= metal.liquidus <= pour_temperature:
        raise ValueError(
            f"the metal must be poured above its liquidus ({metal.liquidus}) and ejected below it, "
            f"not at {pour_temperature} and {eject_temperature}"
        )
    return metal_mass * (
        metal.liquid_specific_heat * (pour_temperature - metal.liquidus)
        + metal.latent_heat
        + metal.solid_specific_heat * (metal.liquidus - eject_temperature)
    )


def _fills_to(
    capacity: FloatArray,
    lost: FloatArray,
    content: FloatArray | float,
    casting: FloatArray | float,
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


def infrared_reading(
    temperature: float,
    emissivity: float,
    *,
    setting: float = GUN_SETTING,
    background: float = 20.0,
) -> float:
    """Returns what a gun set to `setting` reads on a surface at `temperature` in a room at `background`.

    The gun sees emissivity E(T) + (1 - emissivity) E(background) and equates it with setting E(reading) +
    (1 - setting) E(background), with E the radiation of a black body: Planck's law over COMMON_BAND_UM
    (series of Chang and Rhee 1984, International Communications in Heat and Mass Transfer 11:451-455; from
    memory). Reflections other than the room's are left out.

    Raises ValueError for an emissivity or setting outside (0, 1] or a temperature at or below absolute zero.
    """
    from scipy.constants import zero_Celsius
    from scipy.optimize import brentq

    if not (0 < emissivity <= 1 and 0 < setting <= 1):
        raise ValueError(f"emissivity and setting must lie in (0, 1]: {emissivity}, {setting}")
    if not min(temperature, background) > -zero_Celsius:
        raise ValueError(f"a temperature is below absolute zero: {temperature}, {background}")
    room = _radiation(background)
    seen = (emissivity * _radiation(temperature) + (setting - emissivity) * room) / setting
    if seen <= 0:
        return -zero_Celsius
    highest = max(temperature, background) / min(1.0, setting) + 1000.0
    return float(brentq(lambda value: _radiation(value) - seen, 1.0 - zero_Celsius, highest, xtol=1e-9))


def is_far_too_low(book: WarmingMold | None, runs: Runs) -> bool:
    """Returns whether readings lie far below what the book expects of sessions begun cold."""
    if book is None or not runs.sessions:
        return False
    cold, unread = np.full(len(runs.sessions), AIR_C), np.full(runs.readings.shape, np.nan)
    expected = book.temperatures(cold, runs.waits, unread)
    return far_below(runs.readings.ravel(), expected.ravel(), AIR_C)


def far_below(measured: ArrayLike, expected: ArrayLike, ambient: float) -> bool:
    """Returns whether readings (n,), nan where none, lie far below what a heat balance expects.

    They do where the median reading is warmer than the air by less than a third of what the balance expects,
    among fills that it expects to be LEAST_WARMTH_K warmer than the air or more; False with fewer than
    FEWEST_READINGS of those. A heat balance from book values may be off by a factor of 2 (common practice, no
    source), a gun on bare metal by more.
    """
    over_air = np.asarray(measured, dtype=np.float64) - ambient
    wanted = np.asarray(expected, dtype=np.float64) - ambient
    compared: BoolArray = ~np.isnan(over_air) & (wanted >= LEAST_WARMTH_K)
    if int(compared.sum()) < FEWEST_READINGS:
        return False
    return bool(np.median(over_air[compared] / wanted[compared]) < FAR_BELOW)


def _radiation(celsius: float) -> float:
    """Returns black-body radiation within COMMON_BAND_UM in W/m2."""
    from scipy.constants import Stefan_Boltzmann, zero_Celsius

    kelvin = celsius + zero_Celsius
    shortest, longest = COMMON_BAND_UM
    share = _share_below(longest, kelvin) - _share_below(shortest, kelvin)
    return float(Stefan_Boltzmann) * kelvin**4 * share


def _share_below(wavelength_um: float, kelvin: float) -> float:
    from scipy.constants import c, h, k

    x = h * c / (k * wavelength_um * 1e-6 * kelvin)
    n = np.arange(1, TERMS + 1)
    terms = np.exp(-n * x) * (x**3 / n + 3 * x**2 / n**2 + 6 * x / n**3 + 6 / n**4)
    return float(15 / math.pi**4 * terms.sum())
