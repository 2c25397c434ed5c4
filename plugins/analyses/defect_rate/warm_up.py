"""The heat balance of a mold in steps of one fill: from book values, fitted to the temperatures of a log.

Temperatures in degrees Celsius, masses kg, times s. Where a log holds the times of its fills, they are taken;
else time is counted in fills, each taken as `SECONDS_PER_FILL` (or the usual time between the fills that are
timed), so that the bench's own rhythm is part of the fitted loss.

Constants: aluminium alloy 6061, 896 J/(kg K) and 2700 kg/m3 (UNS A96061 data sheets); lead, liquid 148 and
solid 136 J/(kg K) (Dinsdale 1991, Calphad 15:317-425), 23.04 kJ/kg of fusion (CRC Handbook of Chemistry and
Physics); loss of a bare mold in still air 10 W/(m2 K), worked out from the free convection of a vertical
plate (Cengel, Heat Transfer) and the radiation of oxidised aluminium.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .mold_heat import (
    CastingMetal,
    calibrate_side_by_side,
    equilibrium,
    fills_to_warm_up,
    fills_to_warm_up_equilibrium,
    fraction_kept,
    heat_per_fill,
    side_by_side,
)

FloatArray = NDArray[np.float64]

SECONDS_PER_FILL = 60.0
AIR_C = 20.0
ALUMINIUM = 896.0
ALUMINIUM_DENSITY = 2700.0
LOSS_PER_AREA = 10.0
FLAT_BLOCK = 8.0
LOW_MELTING_C = 200.0


@dataclass(frozen=True, slots=True, kw_only=True)
class WarmingMold:
    """A mold with what one fill brings it: `fill_mass` of metal at `pour`, and what it keeps until the next.

    `kept` is over `seconds`, the usual time between fills; `timed` says whether the log told it. `fitted`
    says whether heat capacity and loss were fitted to `measured` temperatures or are the book's; `deviation`
    (K) is the root mean square of what the fit leaves, None without measurements.
    """

    metal: CastingMetal
    fill_mass: float
    pour: float
    heat_capacity: float
    kept: float
    fitted: bool
    measured: int
    deviation: float | None
    seconds: float
    timed: bool

    def before_each(
        self,
        start: float,
        fills: int,
        *,
        waits: FloatArray | None = None,
        readings: FloatArray | None = None,
    ) -> FloatArray:
        """Temperature just before each fill (fills,) of a session that starts at `start`.

        `waits` (fills,) are the times since the fill before, the first of them ignored; the usual one
        without. With `readings` (fills,), nan where none, the balance is carried on from each of them.
        """
        nothing = np.full(fills, np.nan)
        told = [nothing if each is None else each for each in (waits, readings)]
        before = self.before_all(np.array([start]), *(each[np.newaxis] for each in told))
        return np.asarray(before[0])

    def before_all(self, starts: FloatArray, waits: FloatArray, readings: FloatArray) -> FloatArray:
        """As `before_each`, for sessions side by side: `starts` (sessions,), all else (sessions, fills).

        A wait that is nan is the usual one.
        """
        kept = np.where(np.isnan(waits), self.kept, self.kept ** (waits / self.seconds))
        step = equilibrium(self.fill_mass, self.pour, self.metal, self.heat_capacity)
        before = np.empty(waits.shape)
        for fill in range(waits.shape[1]):
            warm = starts if fill == 0 else AIR_C + kept[:, fill] * (step(before[:, fill - 1]) - AIR_C)
            before[:, fill] = np.where(np.isnan(readings[:, fill]), warm, readings[:, fill])
        return before

    def fills_to(self, target: float, start: float = AIR_C) -> tuple[int | None, int | None]:
        """Fills after which the next finds the mold at `target`: lower and upper bracket, None = never.

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
        heat = _heat(self.fill_mass, self.pour, target, self.metal)
        upper = fills_to_warm_up(heat / self.heat_capacity, self.kept, AIR_C, start, target)
        return lower, upper


def book_metal(liquidus: float) -> CastingMetal:
    """Thermal data for a casting metal of that liquidus: lead's above LOW_MELTING_C, tin-bismuth's below.

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


def warming_mold(
    mold_mass: float,
    fill_mass: float,
    pour: float,
    liquidus: float,
    sessions: Sequence[FloatArray],
    waits: Sequence[FloatArray | None] = (),
) -> WarmingMold:
    """Balance of an aluminium mold of `mold_mass`, fitted to `sessions`.

    Each session holds the temperature just before fill 1, 2, ... (nan where not measured), and `waits`, one a
    session, the time since the fill before (the first ignored), None where the log does not tell. The book
    values are those of the module: the loss is from a flat block of that mass. A pour below the liquidus is
    taken to be just above it. Raises ValueError for masses not above 0, or waits of other lengths than the
    sessions.
    """
    if not (mold_mass > 0 and fill_mass > 0):
        raise ValueError(f"the mold and the metal of a fill must have a mass: {mold_mass}, {fill_mass}")
    metal = book_metal(liquidus)
    pour = max(pour, liquidus + 5.0)
    area = FLAT_BLOCK * (mold_mass / ALUMINIUM_DENSITY) ** (2 / 3)
    measured = side_by_side(sessions)
    since = _waits(sessions, waits, measured)
    known = since[:, 1:][~np.isnan(since[:, 1:])]
    usual = float(np.median(known)) if known.size else 0.0
    pace = usual if usual > 0 else SECONDS_PER_FILL
    read = ~np.isnan(measured)
    some = np.asarray(read.any(axis=1))
    measured, since, read = measured[some], since[some], read[some]
    told = [session for session, is_read in zip(sessions, some.tolist(), strict=True) if is_read]
    distinct, at = np.unique(_ejected(told, measured, read), return_inverse=True)
    heats = np.array([_heat(fill_mass, pour, eject, metal) for eject in distinct.tolist()])
    wait, heat, measured = _from_the_first_on(
        read, np.where(np.isnan(since), pace, since), heats[at], measured
    )
    found = calibrate_side_by_side(
        wait,
        heat,
        measured,
        start=measured[:, 0] if measured.size else np.zeros(0),
        ambient=np.full(len(measured), AIR_C),
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
        measured=found.measured_used,
        deviation=found.residual_deviation,
        seconds=pace,
        timed=usual > 0,
    )


def _heat(fill_mass: float, pour: float, eject: float, metal: CastingMetal) -> float:
    return heat_per_fill(fill_mass, pour, min(eject, metal.liquidus), metal)


def _waits(
    sessions: Sequence[FloatArray], waits: Sequence[FloatArray | None], measured: FloatArray
) -> FloatArray:
    """The waits side by side, nan where they are not told."""
    found = np.full(measured.shape, np.nan)
    for row, session, wait in zip(found, sessions, waits, strict=True) if len(waits) else ():
        if wait is None:
            continue
        if len(wait) != len(session) or np.any(wait[1:] < 0):
            raise ValueError("waits must not be negative, and one a fill")
        row[: len(wait)] = wait
    return found


def _ejected(sessions: Sequence[FloatArray], measured: FloatArray, read: NDArray[np.bool_]) -> FloatArray:
    """How warm castings left the mold: as read, else the mean of what was read in their session.

    Behind the last reading of a session it does not matter.
    """
    ejected = np.where(read, measured, 0.0)
    fills = np.arange(read.shape[1])
    last = np.where(read, fills, -1).max(axis=1, initial=-1)
    first = np.where(read, fills, read.shape[1]).min(axis=1, initial=read.shape[1])
    for row in np.flatnonzero(read.sum(axis=1) <= last - first).tolist():
        ejected[row, ~read[row]] = np.nanmean(sessions[row])
    return ejected


def _from_the_first_on(read: NDArray[np.bool_], *arrays: FloatArray) -> list[FloatArray]:
    """Sessions side by side, each from its first reading on; behind its end all that it ends with, unread."""
    fills = np.arange(read.shape[1])
    place = read.argmax(axis=1)[:, np.newaxis] + fills if read.size else np.zeros(read.shape, dtype=np.int64)
    last = read.shape[1] - 1
    *told, measured = (np.take_along_axis(each, np.minimum(place, last), axis=1) for each in arrays)
    return [*told, np.where(place <= last, measured, np.nan)]
