"""Heat of a mold taken as one lump: its warm-up, fitted to the log, and what an infrared gun reads on it.

Temperatures in degrees Celsius, masses kg, heat J, heat capacity J/K, loss W/K, times s. The balance is that
of the lumped capacity: Incropera and DeWitt, Fundamentals of Heat and Mass Transfer, chapter 5 (from memory).
Where a log holds the times of its fills, the balance uses them. Otherwise it counts time in fills, each taken
as `SECONDS_PER_FILL` (or the usual time between the fills that are timed), so that the bench's own rhythm is
part of the fitted loss.

Constants: aluminium alloy 6061, 896 J/(kg K) and 2700 kg/m3 (UNS A96061 data sheets); lead, liquid 148 and
solid 136 J/(kg K) (Dinsdale 1991, Calphad 15:317-425), 23.04 kJ/kg of fusion (CRC Handbook of Chemistry and
Physics); loss of a bare mold in still air 10 W/(m2 K), worked out from the free convection of a vertical
plate (Cengel, Heat Transfer) and the radiation of oxidised aluminium. Emissivities are shares of a black
body's radiation: bare aluminium 0.05 where polished to 0.3 where oxidised (8 to 14 um band 0.02 to 0.4), oil
paint and soot 0.94, from published emissivity tables (CRC; DMIC Report 177; Thermal Radiation Properties
Survey, 1960).
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from math import ceil, exp, log
from typing import TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from benchwater.ledger.fills import Runs

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

Temperature = TypeVar("Temperature", float, FloatArray)

AIR_C = 20.0
SECONDS_PER_FILL = 60.0
ALUMINIUM = 896.0
ALUMINIUM_DENSITY = 2700.0
LOSS_PER_AREA = 10.0
FLAT_BLOCK = 8.0
LOW_MELTING_C = 200.0
FEWEST_MEASURED = 4
MEASURED_WITHIN_K = 5.0
BOOK_LOG_DEVIATION = log(2.0)
BARE_ALUMINIUM, OXIDISED_ALUMINIUM, MATT_BLACK = 0.05, 0.30, 0.94
GUN_SETTING = 0.95
COMMON_BAND_UM = (8.0, 14.0)
FEWEST_READINGS, LEAST_WARMTH_K, FAR_BELOW = 4, 40.0, 1 / 3
TERMS = 30


@dataclass(frozen=True, slots=True, kw_only=True)
class CastingMetal:
    """Thermal data of a metal: liquidus (deg C), specific heats (J/(kg K)), latent heat of fusion (J/kg)."""

    liquidus: float
    liquid_specific_heat: float
    solid_specific_heat: float
    latent_heat: float


@dataclass(frozen=True, slots=True, kw_only=True)
class MoldCalibration:
    """Heat capacity (J/K) and loss (W/K) of a mold: `fitted` to its log, or the book values.

    `measured` counts the temperatures that bear on the fit.
    """

    heat_capacity: float
    loss: float
    fitted: bool
    measured: int


@dataclass(frozen=True, slots=True, kw_only=True)
class WarmingMold:
    """A mold that each fill brings `fill_mass` of metal at `pour`, and what it keeps until the next fill.

    `kept` is the share of its excess over the air left after `seconds`, the usual time between fills; `timed`
    says whether the log gave that time. `fitted` says whether heat capacity and loss are fitted to `measured`
    temperatures or are book values.
    """

    metal: CastingMetal
    fill_mass: float
    pour: float
    heat_capacity: float
    kept: float
    fitted: bool
    measured: int
    seconds: float
    timed: bool

    def temperatures(self, starts: FloatArray, waits: FloatArray, readings: FloatArray) -> FloatArray:
        """Returns the temperature just before each fill (sessions, fills) of sessions begun at `starts`.

        `waits` holds the times since the fill before, nan for the usual one; the first is ignored. From each
        of the `readings` that is not nan the balance starts again.
        """
        kept = np.where(np.isnan(waits), self.kept, self.kept ** (waits / self.seconds))
        step = equilibrium(self.fill_mass, self.pour, self.metal, self.heat_capacity)
        before = np.empty(waits.shape)
        for fill in range(waits.shape[1]):
            warm = starts if fill == 0 else AIR_C + kept[:, fill] * (step(before[:, fill - 1]) - AIR_C)
            before[:, fill] = np.where(np.isnan(readings[:, fill]), warm, readings[:, fill])
        return before

    def fills_to(self, target: float, start: float = AIR_C) -> tuple[int | None, int | None]:
        """Returns a lower and an upper count of fills after which the mold is at `target`; None is never.

        Lower: castings leave as warm as the mold. Upper: every fill gives only what one does at the target.
        """
        lower = fills_to_warm_up_equilibrium(
            self.fill_mass,
            self.pour,
            self.metal,
            heat_capacity=self.heat_capacity,
            kept=self.kept,
            ambient=AIR_C,
            start=start,
            target=target,
        )
        heat = heat_per_fill(self.fill_mass, self.pour, min(target, self.metal.liquidus), self.metal)
        upper = fills_to_warm_up(heat / self.heat_capacity, self.kept, AIR_C, start, target)
        return lower, upper


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
    mold_mass: float,
    fill_mass: float,
    pour: float,
    liquidus: float,
    readings: FloatArray,
    waits: FloatArray,
    lengths: NDArray[np.int64],
) -> WarmingMold:
    """Fits the balance of an aluminium mold of `mold_mass` to sessions side by side.

    `readings` (sessions, fills) is the temperature just before each fill, nan where not measured and behind
    the session's last fill, of which `lengths` (sessions,) is the number. `waits` (sessions, fills) is the
    time since the fill before, nan where the log does not say; the first is ignored. The book values are
    those of the module: the loss is that of a flat block of that mass. A pour below the liquidus is taken to
    be just above it. Raises ValueError for masses not above 0, or negative waits.
    """
    if not (mold_mass > 0 and fill_mass > 0):
        raise ValueError(f"the mold and the metal of a fill must have a mass: {mold_mass}, {fill_mass}")
    if np.any(waits[:, 1:] < 0):
        raise ValueError("waits must not be negative")
    metal = book_metal(liquidus)
    pour = max(pour, liquidus + 5.0)
    area = FLAT_BLOCK * (mold_mass / ALUMINIUM_DENSITY) ** (2 / 3)
    known = waits[:, 1:][~np.isnan(waits[:, 1:])]
    usual = float(np.median(known)) if known.size else 0.0
    pace = usual if usual > 0 else SECONDS_PER_FILL
    read = ~np.isnan(readings)
    some = np.asarray(read.any(axis=1))
    readings, waits, read = readings[some], waits[some], read[some]
    distinct, at = np.unique(_ejected(readings, read, lengths[some]), return_inverse=True)
    heats = np.array(
        [heat_per_fill(fill_mass, pour, min(eject, liquidus), metal) for eject in distinct.tolist()]
    )
    wait, heat, measured = _from_first_reading(
        read, np.where(np.isnan(waits), pace, waits), heats[at], readings
    )
    found = calibrate_mold(
        wait,
        heat,
        measured,
        start=measured[:, 0] if measured.size else np.zeros(0),
        heat_capacity=mold_mass * ALUMINIUM,
        loss=LOSS_PER_AREA * area,
    )
    return WarmingMold(
        metal=metal,
        fill_mass=fill_mass,
        pour=pour,
        heat_capacity=found.heat_capacity,
        kept=fraction_kept(found.heat_capacity, found.loss, pace),
        fitted=found.fitted,
        measured=found.measured,
        seconds=pace,
        timed=usual > 0,
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


def time_constant(heat_capacity: float, loss: float) -> float:
    """Returns the time in s in which the excess over the air falls to 1/e; inf without loss.

    Raises ValueError for a heat capacity not above 0 or a negative loss.
    """
    if not heat_capacity > 0 or not loss >= 0:
        raise ValueError(f"heat capacity must be above 0 and loss not negative: {heat_capacity}, {loss}")
    return heat_capacity / loss if loss > 0 else float("inf")


def fraction_kept(heat_capacity: float, loss: float, interval: float) -> float:
    """Returns the share of the excess over the air left after `interval` s.

    Raises ValueError for a negative interval and as `time_constant` does.
    """
    if not interval >= 0:
        raise ValueError(f"the interval must not be negative: {interval}")
    return exp(-interval / time_constant(heat_capacity, loss))


def fills_to_warm_up(rise: float, kept: float, ambient: float, start: float, target: float) -> int | None:
    """Returns the fills that bring the mold to `target` just before the next, each raising it by `rise`.

    0 where it is there already, None where it never gets there. From the geometric series
    N = ceil(ln((limit - y) / (limit - x)) / ln kept), y and x target and start over the ambient.
    Raises ValueError for a rise not above 0 or `kept` outside (0, 1].
    """
    if not rise > 0 or not 0 < kept <= 1:
        raise ValueError(f"the rise must be above 0 and the share kept in (0, 1]: {rise}, {kept}")
    wanted, present = target - ambient, start - ambient
    if present >= wanted:
        return 0
    if kept == 1:
        return ceil((wanted - present) / rise - 1e-9)
    limit = kept * rise / (1 - kept)
    if wanted >= limit:
        return None
    return ceil(log((limit - wanted) / (limit - present)) / log(kept) - 1e-9)


def fills_to_warm_up_equilibrium(
    metal_mass: float,
    pour_temperature: float,
    metal: CastingMetal,
    *,
    heat_capacity: float,
    kept: float,
    ambient: float,
    start: float,
    target: float,
) -> int | None:
    """Returns the same as `fills_to_warm_up` for castings that leave as warm as the mold: a lower bracket."""
    step = equilibrium(metal_mass, pour_temperature, metal, heat_capacity)
    temperature, count = start, 0
    while temperature < target:
        following = ambient + kept * (step(temperature) - ambient)
        if following <= temperature + 1e-9:
            return None
        temperature, count = following, count + 1
    return count


def equilibrium(
    metal_mass: float, pour_temperature: float, metal: CastingMetal, heat_capacity: float
) -> Callable[[Temperature], Temperature]:
    """Returns a function from the mold's temperature before a fill to that of mold and casting after it."""
    content = heat_per_fill(metal_mass, pour_temperature, 0.0, metal)
    return lambda temperature: (
        (heat_capacity * temperature + content) / (heat_capacity + metal_mass * metal.solid_specific_heat)
    )


def calibrate_mold(
    wait: FloatArray,
    heat: FloatArray,
    measured: FloatArray,
    *,
    start: FloatArray,
    heat_capacity: float,
    loss: float,
) -> MoldCalibration:
    """Fits heat capacity and loss to the temperatures of sessions, from the book values given.

    Sessions lie side by side, arrays (sessions, fills): `wait` since the fill before, `heat` given by each
    fill, temperature `measured` just before it (nan where not); `start` (sessions,) is the temperature at the
    first fill. Waits and heats must be finite and not negative up to a session's last measurement.

    Each session is simulated from its start without correction by later measurements (output-error least
    squares: Ljung 1999, System Identification, chapter 3; from memory). A measurement counts with
    MEASURED_WITHIN_K; each book value counts as one more observation, known within a factor of 2 (one
    standard deviation of its logarithm), so that data which do not determine a parameter leave it at the
    book. With fewer than FEWEST_MEASURED measurements besides those that start a session, the book values
    stand. Raises ValueError for a heat capacity or loss not above 0.
    """
    if not heat_capacity > 0 or not loss > 0:
        raise ValueError(f"heat capacity and loss must be above 0: {heat_capacity}, {loss}")
    compared = ~np.isnan(measured)
    compared[:, :1] = False
    bears = compared.any(axis=1)
    wait, heat, measured, compared = wait[bears], heat[bears], measured[bears], compared[bears]
    start, used, book = start[bears], int(compared.sum()), np.log([heat_capacity, loss])

    def residuals(logarithms: FloatArray) -> FloatArray:
        errors = (simulate_sessions(wait, heat, start, *np.exp(logarithms)) - measured)[compared]
        return np.concatenate([errors / MEASURED_WITHIN_K, (logarithms - book) / BOOK_LOG_DEVIATION])

    chosen = book
    if used >= FEWEST_MEASURED:
        from scipy.optimize import least_squares

        chosen = least_squares(residuals, book, bounds=(book - log(100), book + log(100))).x
    return MoldCalibration(
        heat_capacity=float(np.exp(chosen[0])),
        loss=float(np.exp(chosen[1])),
        fitted=used >= FEWEST_MEASURED,
        measured=used,
    )


def simulate_sessions(
    wait: FloatArray, heat: FloatArray, start: FloatArray, heat_capacity: float, loss: float
) -> FloatArray:
    """Returns the temperature before each fill of each session (sessions, fills), in air of AIR_C."""
    before = np.empty(wait.shape)
    kept = np.exp(-wait * loss / heat_capacity)
    rise = heat / heat_capacity
    for i in range(wait.shape[1]):
        before[:, i] = start if i == 0 else AIR_C + kept[:, i] * (before[:, i - 1] + rise[:, i - 1] - AIR_C)
    return before


def _ejected(readings: FloatArray, read: BoolArray, lengths: NDArray[np.int64]) -> FloatArray:
    """Returns how warm castings leave the mold: as read, else the mean reading of their session.

    Behind the last reading of a session the value has no effect.
    """
    ejected = np.where(read, readings, 0.0)
    fills = np.arange(read.shape[1])
    last = np.where(read, fills, -1).max(axis=1, initial=-1)
    first = np.where(read, fills, read.shape[1]).min(axis=1, initial=read.shape[1])
    for row in np.flatnonzero(read.sum(axis=1) <= last - first).tolist():
        ejected[row, ~read[row]] = np.nanmean(readings[row, : lengths[row]])
    return ejected


def _from_first_reading(read: BoolArray, *arrays: FloatArray) -> list[FloatArray]:
    """Returns sessions side by side, each shifted to its first reading; the last array ends in nan."""
    fills = np.arange(read.shape[1])
    place = read.argmax(axis=1)[:, np.newaxis] + fills if read.size else np.zeros(read.shape, dtype=np.int64)
    last = read.shape[1] - 1
    *shifted, measured = (np.take_along_axis(each, np.minimum(place, last), axis=1) for each in arrays)
    return [*shifted, np.where(place <= last, measured, np.nan)]


def infrared_reading(
    temperature: float,
    emissivity: float,
    *,
    setting: float = GUN_SETTING,
    background: float = 20.0,
    band: tuple[float, float] | None = COMMON_BAND_UM,
) -> float:
    """Returns what a gun set to `setting` reads on a surface at `temperature` in a room at `background`.

    The gun sees emissivity E(T) + (1 - emissivity) E(background) and equates it with setting E(reading) +
    (1 - setting) E(background), with E the radiation of a black body: Planck's law over `band` (um; series of
    Chang and Rhee 1984, International Communications in Heat and Mass Transfer 11:451-455; from memory), or
    Stefan's and Boltzmann's over all wavelengths where `band` is None. Reflections other than the room's are
    left out.

    Raises ValueError for an emissivity or setting outside (0, 1] or a temperature at or below absolute zero.
    """
    from scipy.constants import zero_Celsius
    from scipy.optimize import brentq

    if not (0 < emissivity <= 1 and 0 < setting <= 1):
        raise ValueError(f"emissivity and setting must lie in (0, 1]: {emissivity}, {setting}")
    if not min(temperature, background) > -zero_Celsius:
        raise ValueError(f"a temperature is below absolute zero: {temperature}, {background}")
    room = _radiation(background, band)
    seen = (emissivity * _radiation(temperature, band) + (setting - emissivity) * room) / setting
    if seen <= 0:
        return -zero_Celsius
    highest = max(temperature, background) / min(1.0, setting) + 1000.0
    return float(brentq(lambda value: _radiation(value, band) - seen, 1.0 - zero_Celsius, highest, xtol=1e-9))


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


def _radiation(celsius: float, band: tuple[float, float] | None) -> float:
    """Returns black-body radiation in W/m2, all of it or that between two wavelengths in um."""
    from scipy.constants import Stefan_Boltzmann, zero_Celsius

    kelvin = celsius + zero_Celsius
    whole = float(Stefan_Boltzmann) * kelvin**4
    if band is None:
        return whole
    return whole * (_share_below(band[1], kelvin) - _share_below(band[0], kelvin))


def _share_below(wavelength_um: float, kelvin: float) -> float:
    from scipy.constants import c, h, k

    x = h * c / (k * wavelength_um * 1e-6 * kelvin)
    n = np.arange(1, TERMS + 1)
    terms = np.exp(-n * x) * (x**3 / n + 3 * x**2 / n**2 + 6 * x / n**3 + 6 / n**4)
    return float(15 / math.pi**4 * terms.sum())
