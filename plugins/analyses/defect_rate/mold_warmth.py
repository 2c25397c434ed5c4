"""How warm a mold was at each of its fills: as read, and as its heat balance has it."""

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from benchwater.ledger.fills import SPRUES, FloatArray, Runs, runs_of
from benchwater.ledger.log_columns import Flags
from benchwater.plugin import Bench

from .infrared import far_below
from .warm_up import AIR_C, WarmingMold, warming_mold

if TYPE_CHECKING:
    import pandas as pd

# Common practice, no source: superheat of a pour.
SUPERHEAT_K = 120.0
LEAD_MELTS_C = 252.0


class FillWarmth(NamedTuple):
    """Every fill of a mold, session by session, all arrays (fills,): its session as its place in `Runs`, its
    number, its temperature as read (nan where none), as estimated from the session's first fill on, and
    carried on, which starts again from each reading.
    """

    session: NDArray[np.int64]
    fill: NDArray[np.int64]
    measured: FloatArray
    estimated: FloatArray
    carried: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MoldWarmth:
    """The sessions of a mold by fill, and its heat balance; no model where the bench states no mold mass.

    `guns` are the sessions whose readings will be an infrared gun's on bare metal, `unlikely` says that the
    heat balance alone tells so. Such readings are not used: not for the model, nor for `usual`, the middle
    first reading (None without any).
    """

    runs: Runs
    model: WarmingMold | None
    usual: float | None
    guns: set[str]
    unlikely: bool

    @property
    def measured(self) -> bool:
        """Whether any fill has a reading."""
        return not bool(np.isnan(self.runs.readings).all())

    def fills(self) -> FillWarmth:
        """Every fill, also one that no row tells of; none without a model."""
        runs = self.runs
        if self.model is None:
            return FillWarmth(*np.zeros((2, 0), dtype=np.int64), *np.zeros((3, 0)))
        used = np.where(_of(self.guns, runs)[:, np.newaxis], np.nan, runs.readings)
        cold = AIR_C if self.usual is None else self.usual
        starts = np.where(np.isnan(used[:, 0]), cold, used[:, 0]) if used.size else np.zeros(0)
        estimated = self.model.before_all(starts, runs.waits, np.full(used.shape, np.nan))
        carried = self.model.before_all(starts, runs.waits, used)
        session, fill = np.nonzero(np.arange(used.shape[1]) < runs.lengths[:, np.newaxis])
        told = (each[session, fill] for each in (runs.readings, estimated, carried))
        return FillWarmth(session, fill + 1, *told)


def mold_warmth(bench: Bench, fills: "pd.DataFrame", mold: str, told: set[str]) -> MoldWarmth:
    """The warmth of a mold from the fills of `books.fills`.

    `told` are the sessions whose remarks name an infrared gun. Where none does, readings that lie far below
    what book values expect of a mold begun cold make all its sessions suspect.
    """
    runs = runs_of(fills, mold)
    guns = told & set(runs.sessions)
    unlikely = not guns and _far_too_low(_model(bench, fills, mold, runs, slice(0)), runs)
    guns = set(runs.sessions) if unlikely else guns
    trusted = ~_of(guns, runs)
    starts = runs.readings[trusted, :1]
    starts = starts[~np.isnan(starts)]
    return MoldWarmth(
        runs=runs,
        model=_model(bench, fills, mold, runs, trusted) if runs.sessions else None,
        usual=float(np.median(starts)) if starts.size else None,
        guns=guns,
        unlikely=unlikely,
    )


def _of(names: set[str], runs: Runs) -> Flags:
    return np.array([session in names for session in runs.sessions], dtype=bool)


def _far_too_low(book: WarmingMold | None, runs: Runs) -> bool:
    if book is None or not runs.sessions:
        return False
    begun_cold = np.full(len(runs.sessions), AIR_C)
    expected = book.before_all(begun_cold, runs.waits, np.full(runs.readings.shape, np.nan))
    return far_below(runs.readings.ravel(), expected.ravel(), AIR_C)


def _model(
    bench: Bench, fills: "pd.DataFrame", mold: str, runs: Runs, trusted: Flags | slice
) -> WarmingMold | None:
    """The heat balance of a metal mold whose mass the bench states, by the trusted ones of its sessions."""
    spec = bench.molds[mold]
    item = bench.items[spec.material]
    if item.kind != "metal" or not spec.metal_mass_g:
        return None
    liquidus = LEAD_MELTS_C if item.melts_c is None else item.melts_c
    melt = fills.loc[fills["mold"] == mold, "melt_temp_c"].median()
    pour = liquidus + SUPERHEAT_K if math.isnan(melt) else float(melt)
    metal = SPRUES * sum(cavity.mass_g * cavity.per_fill for cavity in spec.cavities.values())
    told = zip(runs.readings[trusted], runs.waits[trusted], runs.lengths[trusted].tolist(), strict=True)
    sessions = [
        (read[:fills], None if math.isnan(waits[0]) else waits[:fills]) for read, waits, fills in told
    ]
    return warming_mold(
        *(spec.metal_mass_g / 1000, metal / 1000, pour, liquidus),
        [read for read, _ in sessions],
        [waits for _, waits in sessions],
    )
