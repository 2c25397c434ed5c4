"""How warm a mold was at each of its fills: as read, and as its heat balance has it."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from benchwater.books.fills import FloatArray, Run, runs_of
from benchwater.mathematics.infrared import far_below
from benchwater.mathematics.warm_up import AIR_C, WarmingMold, warming_mold
from benchwater.plugin import Bench

if TYPE_CHECKING:
    import pandas as pd

# Common practice, no source: metal of a fill over metal of its castings, superheat of a pour.
SPRUES, SUPERHEAT_K = 1.5, 120.0
LEAD_MELTS_C = 252.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FillWarmth:
    """One fill of a session: temperature as read, as estimated from the first fill on, and carried on.

    `carried` starts again from each reading. `key` is that of `books.fills`.
    """

    key: str
    session: str
    fill: int
    measured: float | None
    estimated: float
    carried: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MoldWarmth:
    """The sessions of a mold by fill, and its heat balance; no model where the bench states no mold mass.

    `guns` are the sessions whose readings will be an infrared gun's on bare metal, `unlikely` says that the
    heat balance alone tells so. Such readings are not used: not for the model, nor for `usual`, the middle
    first reading (None without any).
    """

    runs: dict[str, Run]
    model: WarmingMold | None
    usual: float | None
    guns: set[str]
    unlikely: bool

    @property
    def measured(self) -> bool:
        """Whether any fill has a reading."""
        return any(not np.isnan(run.readings).all() for run in self.runs.values())

    def fills(self) -> list[FillWarmth]:
        """Every fill, session by session; empty without a model."""
        if self.model is None:
            return []
        model = self.model
        return [fill for session, run in self.runs.items() for fill in self._of(session, run, model)]

    def _of(self, session: str, run: Run, model: WarmingMold) -> list[FillWarmth]:
        n, read = len(run.readings), run.readings
        used = np.full(n, np.nan) if session in self.guns else read
        cold = AIR_C if self.usual is None else self.usual
        start = cold if math.isnan(used[0]) else float(used[0])
        estimated = model.before_each(start, n, waits=run.waits)
        carried = model.before_each(start, n, waits=run.waits, readings=used)
        return [
            FillWarmth(
                key=f"{session} | {at + 1}",
                session=session,
                fill=at + 1,
                measured=None if math.isnan(read[at]) else float(read[at]),
                estimated=float(estimated[at]),
                carried=float(carried[at]),
            )
            for at in range(n)
        ]


def mold_warmth(bench: Bench, fills: "pd.DataFrame", mold: str, told: set[str]) -> MoldWarmth:
    """The warmth of a mold from the fills of `books.fills`.

    `told` are the sessions whose remarks name an infrared gun. Where none does, readings that lie far below
    what book values expect of a mold begun cold make all its sessions suspect.
    """
    runs = runs_of(fills, mold)
    guns = told & set(runs)
    unlikely = not guns and _far_too_low(_model(bench, fills, mold, ()), list(runs.values()))
    guns = set(runs) if unlikely else guns
    trusted = [run for session, run in runs.items() if session not in guns]
    starts = [float(run.readings[0]) for run in trusted if not math.isnan(run.readings[0])]
    return MoldWarmth(
        runs=runs,
        model=_model(bench, fills, mold, trusted) if runs else None,
        usual=float(np.median(starts)) if starts else None,
        guns=guns,
        unlikely=unlikely,
    )


def _far_too_low(book: WarmingMold | None, runs: Sequence[Run]) -> bool:
    if book is None or not runs:
        return False
    expected = [book.before_each(AIR_C, len(run.readings), waits=run.waits) for run in runs]
    read: FloatArray = np.concatenate([run.readings for run in runs])
    return far_below(read, np.concatenate(expected), AIR_C)


def _model(bench: Bench, fills: "pd.DataFrame", mold: str, runs: Sequence[Run]) -> WarmingMold | None:
    """The heat balance of a metal mold whose mass the bench states."""
    spec = bench.molds[mold]
    item = bench.items[spec.material]
    if item.kind != "metal" or not spec.metal_mass_g:
        return None
    liquidus = LEAD_MELTS_C if item.melts_c is None else item.melts_c
    melt = fills.loc[fills["mold"] == mold, "melt_temp_c"].median()
    pour = liquidus + SUPERHEAT_K if math.isnan(melt) else float(melt)
    metal = SPRUES * sum(cavity.mass_g * cavity.per_fill for cavity in spec.cavities.values())
    told = [run.readings for run in runs], [run.waits for run in runs]
    return warming_mold(spec.metal_mass_g / 1000, metal / 1000, pour, liquidus, *told)
