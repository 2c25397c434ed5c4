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

from benchwater.mathematics.mold_heat import (
    CastingMetal,
    MoldSession,
    calibrate_mold,
    equilibrium,
    fills_to_warm_up,
    fills_to_warm_up_equilibrium,
    fraction_kept,
    heat_per_fill,
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
    told = list(waits) if waits else [None] * len(sessions)
    known = [wait[1:] for wait in told if wait is not None and wait.size > 1]
    usual = float(np.median(np.concatenate(known))) if known else 0.0
    pace = usual if usual > 0 else SECONDS_PER_FILL
    heats: dict[float, float] = {}
    runs = []
    for measured, wait in zip(sessions, told, strict=True):
        read = ~np.isnan(measured)
        if not read.any():
            continue
        first = int(read.argmax())
        heat = []
        for eject in np.where(read, measured, np.nanmean(measured))[first:].tolist():
            if eject not in heats:
                heats[eject] = _heat(fill_mass, pour, eject, metal)
            heat.append(heats[eject])
        since = np.full(measured.size, pace) if wait is None else wait
        runs.append(MoldSession(wait=since[first:], heat=heat, measured=measured[first:], ambient=AIR_C))
    found = calibrate_mold(runs, heat_capacity=mold_mass * ALUMINIUM, loss=LOSS_PER_AREA * area)
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
