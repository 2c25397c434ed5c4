"""How warm a mold was at each of its fills: as read, and as its heat balance has it."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from benchwater.books.fills import FloatArray, Run, runs_of
from benchwater.mathematics.infrared import far_below
from benchwater.mathematics.mold_heat import side_by_side
from benchwater.mathematics.warm_up import AIR_C, WarmingMold, warming_mold
from benchwater.plugin import Bench

if TYPE_CHECKING:
    import pandas as pd

# Common practice, no source: metal of a fill over metal of its castings, superheat of a pour.
SPRUES, SUPERHEAT_K = 1.5, 120.0
LEAD_MELTS_C = 252.0
_NO_WAITS: FloatArray = np.zeros(0)


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
        if self.model is None or not self.runs:
            return []
        read, waits = _side_by_side(list(self.runs.values()))
        suspect = np.array([session in self.guns for session in self.runs])
        used = np.where(suspect[:, np.newaxis], np.nan, read)
        cold = AIR_C if self.usual is None else self.usual
        starts = np.where(np.isnan(used[:, 0]), cold, used[:, 0])
        estimated = self.model.before_all(starts, waits, np.full(read.shape, np.nan))
        carried = self.model.before_all(starts, waits, used)
        sessions = zip(self.runs.items(), read.tolist(), estimated.tolist(), carried.tolist(), strict=True)
        return [
            FillWarmth(
                key=f"{session} | {at + 1}",
                session=session,
                fill=at + 1,
                measured=None if math.isnan(measured[at]) else measured[at],
                estimated=warm[at],
                carried=on[at],
            )
            for (session, run), measured, warm, on in sessions
            for at in range(len(run.readings))
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
    read, waits = _side_by_side(runs)
    expected = book.before_all(np.full(len(runs), AIR_C), waits, np.full(read.shape, np.nan))
    return far_below(read.ravel(), expected.ravel(), AIR_C)


def _side_by_side(runs: Sequence[Run]) -> tuple[FloatArray, FloatArray]:
    """Readings and waits of the sessions by fill, both (sessions, fills), nan where there is none."""
    read = side_by_side([run.readings for run in runs])
    waits = side_by_side([_NO_WAITS if run.waits is None else run.waits for run in runs])
    return read, np.hstack([waits, np.full((len(runs), read.shape[1] - waits.shape[1]), np.nan)])


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
