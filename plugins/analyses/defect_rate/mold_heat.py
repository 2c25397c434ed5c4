"""Heat of a mold taken as one lump: warm-up, the fills it takes, and the temperature of each fill of a log.

Temperatures in degrees Celsius, masses kg, heat J, heat capacity J/K, loss
W/K, times s. The balance is that of the lumped capacity: Incropera and DeWitt, Fundamentals of Heat and Mass
Transfer, chapter 5 (from memory).
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import ceil, exp, log
from typing import TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

Temperature = TypeVar("Temperature", float, FloatArray)

MINIMUM_MEASURED = 4
BOOK_LOG_DEVIATION = log(2.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class CastingMetal:
    """Thermal data of a metal: liquidus (deg C), specific heats (J/(kg K)), latent heat of fusion (J/kg)."""

    liquidus: float
    liquid_specific_heat: float
    solid_specific_heat: float
    latent_heat: float


@dataclass(frozen=True, slots=True, kw_only=True)
class WarmUp:
    """Mold temperature just after each fill and just before the next, both (fills,)."""

    after: FloatArray
    before_next: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class MoldSession:
    """One run of fills of one mold.

    `wait` (n,) is the time since the previous fill in s (the first is ignored), `heat` (n,) the heat given to
    the mold by each fill in J, `measured` (n,) its temperature just before the fill, nan where not measured.
    `start` is its temperature at the first fill if not measured then; None = the ambient temperature.
    """

    wait: ArrayLike
    heat: ArrayLike
    measured: ArrayLike
    ambient: float
    start: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class MoldCalibration:
    """Heat capacity (J/K) and loss (W/K) of a mold, fitted to its log, or as in the book.

    With `fitted` false they are the book values and `reason` says why. `measured_used` counts the
    measurements that bear on the fit; `residual_deviation` (K) is the root mean square of measured -
    predicted on them, None without any.
    """

    heat_capacity: float
    loss: float
    fitted: bool
    reason: str | None
    measured_used: int
    residual_deviation: float | None


def heat_per_fill(
    metal_mass: float, pour_temperature: float, eject_temperature: float, metal: CastingMetal
) -> float:
    """Heat given to the mold by one fill, castings and sprues together, in J.

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
    """Time in which the excess over the ambient falls to 1/e: heat_capacity / loss, in s; inf without loss.

    Raises ValueError for a heat capacity not above 0 or a negative loss.
    """
    if not heat_capacity > 0 or not loss >= 0:
        raise ValueError(f"heat capacity must be above 0 and loss not negative: {heat_capacity}, {loss}")
    return heat_capacity / loss if loss > 0 else float("inf")


def fraction_kept(heat_capacity: float, loss: float, interval: float) -> float:
    """Share of the excess over the ambient left after `interval` s.

    Raises ValueError for a negative interval and as `time_constant` does.
    """
    if not interval >= 0:
        raise ValueError(f"the interval must not be negative: {interval}")
    return exp(-interval / time_constant(heat_capacity, loss))


def limit_before_fill(rise: float, kept: float, ambient: float) -> float:
    """Temperature before a fill that an endless run of fills tends to; inf without loss (`kept` = 1)."""
    return ambient + kept * rise / (1 - kept) if kept < 1 else float("inf")


def warm_up_constant_heat(rise: float, kept: float, ambient: float, start: float, fills: int) -> WarmUp:
    """Warm-up where every fill raises the mold by `rise` = heat / heat capacity, the first at time 0.

    `kept` is `fraction_kept` over the time from one fill to the next. A count from it is an upper bracket
    while the ejection temperature assumed is not below the real one. Raises ValueError for a negative number
    of fills.
    """
    return _warm_up(lambda temperature: temperature + rise, kept, ambient, start, fills)


def warm_up_equilibrium(
    metal_mass: float,
    pour_temperature: float,
    metal: CastingMetal,
    *,
    heat_capacity: float,
    kept: float,
    ambient: float,
    start: float,
    fills: int,
) -> WarmUp:
    """Warm-up where each casting leaves at the temperature of the mold.

    The heat given then falls as the mold warms. Real castings leave hotter, so a count from it is a lower
    bracket. Valid below the solidus of the metal. Raises ValueError for a negative number of fills.
    """
    rise = equilibrium(metal_mass, pour_temperature, metal, heat_capacity)
    return _warm_up(rise, kept, ambient, start, fills)


def fills_to_warm_up(rise: float, kept: float, ambient: float, start: float, target: float) -> int | None:
    """Fills that bring the mold to `target` or more just before the next, each raising it by `rise`.

    0 where it is there already, None where the pace never reaches it. From the geometric series
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
    """As `fills_to_warm_up`, for castings that leave at the temperature of the mold: a lower bracket."""
    step = equilibrium(metal_mass, pour_temperature, metal, heat_capacity)
    temperature, count = start, 0
    while temperature < target:
        following = ambient + kept * (step(temperature) - ambient)
        if following <= temperature + 1e-9:
            return None
        temperature, count = following, count + 1
    return count


def estimate_temperatures(session: MoldSession, heat_capacity: float, loss: float) -> FloatArray:
    """Mold temperature just before each fill (n,): as measured, else carried on from the fill before.

    Raises ValueError for arrays of unequal length, a wait or heat that is negative or not finite, a heat
    capacity not above 0 or a negative loss.
    """
    wait, heat, measured = _checked(session)
    time_constant(heat_capacity, loss)
    start = _start(session, measured)
    ambient, began = np.array([session.ambient]), np.array([start])
    one = wait[np.newaxis], heat[np.newaxis], ambient, began
    before = _simulate(*one, heat_capacity, loss, anchors=measured[np.newaxis])
    return np.asarray(before[0])


def calibrate_mold(
    sessions: Sequence[MoldSession], *, heat_capacity: float, loss: float, temperature_deviation: float = 5.0
) -> MoldCalibration:
    """Fit heat capacity and loss to the measured temperatures of sessions, from the book values given.

    Each session is simulated from its start without correction by later measurements (output-error least
    squares: Ljung 1999, System Identification, chapter 3; from memory). A measurement counts with
    `temperature_deviation` (K); each book value counts as one more observation, known within a factor of 2
    (one standard deviation of its logarithm), so that data which leave a parameter open leave it at the book.

    With fewer than MINIMUM_MEASURED measurements besides those that start a session, the book values are
    given back. Raises ValueError as `estimate_temperatures` does, or for a temperature deviation or loss not
    above 0.
    """
    checked = [_checked(session) for session in sessions]
    wait, heat, measured = (side_by_side([arrays[part] for arrays in checked]) for part in range(3))
    return calibrate_side_by_side(
        wait,
        heat,
        measured,
        start=np.array(
            [_start(session, arrays[2]) for session, arrays in zip(sessions, checked, strict=True)]
        ),
        ambient=np.array([session.ambient for session in sessions]),
        heat_capacity=heat_capacity,
        loss=loss,
        temperature_deviation=temperature_deviation,
    )


def calibrate_side_by_side(
    wait: FloatArray,
    heat: FloatArray,
    measured: FloatArray,
    *,
    start: FloatArray,
    ambient: FloatArray,
    heat_capacity: float,
    loss: float,
    temperature_deviation: float = 5.0,
) -> MoldCalibration:
    """As `calibrate_mold`, for sessions side by side: arrays (sessions, fills), or (sessions,).

    `wait` and `heat` are taken as they are: up to a session's last measurement they must be finite and not
    negative. Raises ValueError for a temperature deviation or loss not above 0.
    """
    time_constant(heat_capacity, loss)
    if not loss > 0 or not temperature_deviation > 0:
        raise ValueError("the book loss and the deviation of a temperature must be above 0")
    compared = ~np.isnan(measured)
    compared[:, :1] = False
    bears = compared.any(axis=1)
    wait, heat, measured, compared = wait[bears], heat[bears], measured[bears], compared[bears]
    start, ambient = start[bears], ambient[bears]
    used = int(compared.sum())

    def errors(logarithms: FloatArray) -> FloatArray:
        capacity, lost = np.exp(logarithms)
        return (_simulate(wait, heat, ambient, start, capacity, lost) - measured)[compared]

    book = np.log([heat_capacity, loss])
    chosen, reason = book, None
    if used < MINIMUM_MEASURED:
        reason = f"{used} measured mold temperatures, {MINIMUM_MEASURED} are needed"
    else:
        from scipy.optimize import least_squares

        def weighted(logarithms: FloatArray) -> FloatArray:
            return np.concatenate(
                [errors(logarithms) / temperature_deviation, (logarithms - book) / BOOK_LOG_DEVIATION]
            )

        chosen = least_squares(weighted, book, bounds=(book - log(100), book + log(100))).x
    return MoldCalibration(
        heat_capacity=float(np.exp(chosen[0])),
        loss=float(np.exp(chosen[1])),
        fitted=reason is None,
        reason=reason,
        measured_used=used,
        residual_deviation=float(np.sqrt(np.mean(errors(chosen) ** 2))) if used else None,
    )


def _warm_up(step: Callable[[float], float], kept: float, ambient: float, start: float, fills: int) -> WarmUp:
    if fills < 0:
        raise ValueError(f"the number of fills must not be negative: {fills}")
    after, before_next = np.empty(fills), np.empty(fills)
    temperature = start
    for i in range(fills):
        after[i] = step(temperature)
        temperature = before_next[i] = ambient + kept * (after[i] - ambient)
    return WarmUp(after=after, before_next=before_next)


def equilibrium(
    metal_mass: float, pour_temperature: float, metal: CastingMetal, heat_capacity: float
) -> Callable[[Temperature], Temperature]:
    """Common temperature of mold and casting, from the temperature of the mold before the fill."""
    content = heat_per_fill(metal_mass, pour_temperature, 0.0, metal)
    return lambda temperature: (
        (heat_capacity * temperature + content) / (heat_capacity + metal_mass * metal.solid_specific_heat)
    )


def _checked(session: MoldSession) -> tuple[FloatArray, FloatArray, FloatArray]:
    wait, heat, measured = (
        np.asarray(part, dtype=np.float64) for part in (session.wait, session.heat, session.measured)
    )
    if wait.ndim != 1 or not wait.shape == heat.shape == measured.shape:
        raise ValueError(
            f"wait {wait.shape}, heat {heat.shape} and measured {measured.shape} must be of one length"
        )
    if (
        not (np.isfinite(wait[1:]).all() and np.isfinite(heat).all())
        or np.any(wait[1:] < 0)
        or np.any(heat < 0)
    ):
        raise ValueError("waits (after the first) and heats must be finite and not negative")
    return wait, heat, measured


def _start(session: MoldSession, measured: FloatArray) -> float:
    if measured.size and not np.isnan(measured[0]):
        return float(measured[0])
    return session.ambient if session.start is None else session.start


def side_by_side(runs: Sequence[FloatArray]) -> FloatArray:
    """Runs of unlike length as rows of one array, nan behind the end of each."""
    longest = max((len(run) for run in runs), default=0)
    rows = np.full((len(runs), longest), np.nan)
    for row, run in zip(rows, runs, strict=True):
        row[: len(run)] = run
    return rows


def _simulate(
    wait: FloatArray,
    heat: FloatArray,
    ambient: FloatArray,
    start: FloatArray,
    heat_capacity: float,
    loss: float,
    anchors: FloatArray | None = None,
) -> FloatArray:
    """Temperature before each fill of each session (sessions, fills), taking on the anchors not nan."""
    before = np.empty(wait.shape)
    kept = np.exp(-wait * loss / heat_capacity)
    rise = heat / heat_capacity
    for i in range(wait.shape[1]):
        before[:, i] = (
            start if i == 0 else ambient + kept[:, i] * (before[:, i - 1] + rise[:, i - 1] - ambient)
        )
        if anchors is not None:
            before[:, i] = np.where(np.isnan(anchors[:, i]), before[:, i], anchors[:, i])
    return before
