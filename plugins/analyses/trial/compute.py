"""The rows of a trial as units: what each was to get by lot, what it met with, and the randomisation test."""

from dataclasses import dataclass
from math import ceil

import numpy as np
import pandas as pd

from benchwater.ledger import recent
from benchwater.ledger.labels import arm_name, trial_name
from benchwater.plugin import Season, Span
from benchwater.statistics.permutations import draw_block
from benchwater.statistics.rates import more_exposure

from .lots import RandomisationTest, randomisation_test

LEAST_BLOCKS = 4
TOLD_APART, LEVEL = 2.0, 0.05
_LOGS = ("fishing", "pour")


@dataclass(frozen=True, slots=True, kw_only=True)
class Arm:
    """The units of one arm; `exposure` in h fished or castings, `events` baits ended or castings bad."""

    name: str
    units: int
    exposure: float
    events: float

    @property
    def rate(self) -> float:
        """Events per unit of exposure."""
        return self.events / self.exposure


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """A trial up to the end of a span.

    `against_lot` counts units whose `arm` is not the one the lot gave their place; they are compared as the
    lot said. `trips` are days. `spared` are the events of the last two months beyond those that the best arm
    would have had. `still_needed` is the exposure that would tell `TOLD_APART` times apart with 80 % power,
    beyond what there is, `days_needed` how many such days it takes; 0 where no rate is known.
    """

    name: str
    log: str
    arms: tuple[Arm, ...]
    blocks: int
    trips: int
    against_lot: int
    left_out: int
    test: RandomisationTest
    spared: float
    still_needed: float
    days_needed: int

    @property
    def told(self) -> bool:
        """Whether the lot would hardly give such a difference."""
        return self.test.p < LEVEL

    @property
    def events(self) -> float:
        """Events of all arms."""
        return sum(arm.events for arm in self.arms)


def trial_names(season: Season) -> list[str]:
    """The names of all trials in the logs, each in one spelling."""
    logs = [season.log(kind) for kind in _LOGS if season.holds(kind)]
    return sorted({trial_name(str(name)) for log in logs for name in log["trial"].dropna().unique()} - {""})


def compute(season: Season, span: Span, name: str) -> Trial | None:
    """The trial up to the end of the span; None where the span has none of its rows."""
    for kind in _LOGS:
        if not season.holds(kind):
            continue
        rows = season.log(kind)
        spelt = [each for each in rows["trial"].dropna().unique() if trial_name(str(each)) == name]
        rows = rows[rows["trial"].isin(spelt) & (rows["date"] < pd.Timestamp(span.end))]
        if (rows["date"] >= pd.Timestamp(span.start)).any():
            return _trial(name, kind, _units(rows, kind), recent(season, kind))
    return None


def _units(rows: pd.DataFrame, kind: str) -> pd.DataFrame:
    """One row a bait's stretch or a fill: `block`, `slot`, `arm`, `exposure`, `events`, `day`."""
    if kind == "fishing":
        ended = rows["count"].where(rows["fate"].isin(["lost", "worn"]), 0)
        units = rows.assign(exposure=rows["fished_h"] * rows["count"], events=ended)
    else:
        poured = rows[rows["outcome"] != "blank"]
        units = poured.assign(
            exposure=poured["count"], events=poured["count"].where(poured["outcome"] == "reject", 0)
        )
    written = units["arm"].astype("str").str.strip()
    spelt = written.value_counts()  # the spelling used most, first
    usual = {arm_name(arm): arm for arm in reversed(spelt[spelt > 0].index)}
    arm = written.map(lambda text: usual[arm_name(text)], na_action="ignore")
    units = units.assign(day=units["date"].dt.normalize(), arm=arm)
    grouped = units.groupby(["block", "slot", "arm"], observed=True, dropna=False, as_index=False)
    return grouped.agg({"exposure": "sum", "events": "sum", "day": "min"})


def _trial(name: str, kind: str, units: pd.DataFrame, lately: Span) -> Trial | None:
    known = units[units["block"].notna() & units["arm"].notna() & (units["exposure"] > 0)]
    names = sorted(known["arm"].unique(), key=arm_name)
    if len(names) < 2:
        return None
    treatment = np.array([names.index(arm) for arm in known["arm"]], dtype=np.int64)
    drawn, against = _as_drawn(name, known, treatment, names)
    block = known["block"].to_numpy(dtype=np.int64)
    exposure = known["exposure"].to_numpy(dtype=np.float64)
    events = known["events"].to_numpy(dtype=np.float64)
    arms = tuple(
        Arm(
            name=arm,
            units=int((drawn == place).sum()),
            exposure=float(exposure[drawn == place].sum()),
            events=float(events[drawn == place].sum()),
        )
        for place, arm in enumerate(names)
    )
    in_all, of_late = float(exposure.sum()), (known["day"] >= pd.Timestamp(lately.start)).to_numpy()
    best = min(arm.rate for arm in arms)
    half = (in_all / 2, in_all / 2) if len(arms) > 2 else (arms[0].exposure, arms[1].exposure)
    needed = more_exposure(float(events.sum()), half, TOLD_APART) if events.sum() else 0.0
    return Trial(
        name=name,
        log=kind,
        arms=arms,
        blocks=len(np.unique(block)),
        trips=int(known["day"].nunique()),
        against_lot=against,
        left_out=len(units) - len(known),
        test=randomisation_test(events, exposure, drawn, block),
        spared=float(events[of_late].sum() - best * exposure[of_late].sum()),
        still_needed=needed,
        days_needed=ceil(needed / in_all * known["day"].nunique()),
    )


def _as_drawn(
    name: str, units: pd.DataFrame, written: np.ndarray, names: list[str]
) -> tuple[np.ndarray, int]:
    """The treatment of each unit as the lot drew it, where its block is as large as a whole one.

    A block with units missing, or without slots, keeps the arms as written.
    """
    drawn = written.copy()
    for block, rows in units.reset_index(drop=True).groupby("block"):
        places = rows["slot"].to_numpy()
        whole = sorted(places) == list(range(1, len(rows) + 1))
        if whole and len(rows) % len(names) == 0:
            lot = draw_block(name, int(str(block).partition(".")[0]), len(names), len(rows))
            drawn[rows.index.to_numpy()] = lot[places.astype(np.int64) - 1]
    return drawn, int((drawn != written).sum())
