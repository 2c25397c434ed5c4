"""The pour log by fill: what one filling of a mold gave, how warm the mold read, and when it came.

A row of the log is one cavity and outcome; castings of one fill share metal, mold and hand, so that most
questions are asked of fills.
"""

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    import pandas as pd

FloatArray = NDArray[np.float64]

COLD, HOT = ("short fill", "cold shut"), ("flash", "porosity")
MOST_FILLS = 200
_NO_REMARKS = {"mold", "cavity", "outcome", "flaw", "material", "file", "key"}
_GUN = re.compile(
    r"\binfra-?\s?red\b|\bir\b|\bpyrometer\b|\b(laser|temp|temperature)[ -]gun\b|\blaser thermometer\b",
    re.I,
)
_SPOT = re.compile(r"black|paint|soot|tape", re.I)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Run:
    """One session of a mold by fill, from 1 on: `readings` in degC (fills,), nan where none.

    `waits` are the seconds since the fill before (fills,), the first 0; None where the log does not tell.
    """

    readings: FloatArray
    waits: FloatArray | None


def pour_rows(rows: "pd.DataFrame") -> "pd.DataFrame":
    """Rows of the pour log with `session`, the `key` of their fill, and `castings`, `rejects`, `cold`, `hot`.

    A session is a day, with its name where it has one, and a mold. Where a session numbers no fill but tells
    times, the times do. Rows without a fill number go together by session and temperature read: a row is all
    good or all bad, so taken by itself it would say that castings of one fill are always alike.

    Where most bad castings name no flaw, those are taken as cold ones, which most are.
    """
    day, name = rows["date"].dt.strftime("%Y-%m-%d"), rows["session"].fillna("").astype(str)
    session = [" ".join(filter(None, parts)) for parts in zip(day, name, rows["mold"], strict=True)]
    rows = rows.assign(session=session)
    times = rows["date"].groupby(rows["session"])
    unnumbered = rows["fill"].isna().groupby(rows["session"]).transform("all")
    by_time = unnumbered & (times.transform("nunique") > 1)
    rows["fill"] = rows["fill"].where(~by_time, times.rank("dense"))
    rows["key"] = [
        f"{session} | {f'at {temp}' if np.isnan(fill) else f'{fill:.0f}'}"
        for session, fill, temp in zip(rows["session"], rows["fill"], rows["mold_temp_c"], strict=True)
    ]
    count, flaw, bad = rows["count"], rows["flaw"], rows["outcome"] == "reject"
    unnamed = bad & flaw.isna()
    as_cold = bool(count[unnamed].sum() > count[bad].sum() / 2)
    return rows.assign(
        castings=count.where(rows["outcome"] != "blank", 0),
        rejects=count.where(bad, 0),
        cold=count.where(bad & (flaw.isin(COLD) | (unnamed & as_cold)), 0),
        hot=count.where(bad & flaw.isin(HOT), 0),
    )


def fills_of(rows: "pd.DataFrame") -> "pd.DataFrame":
    """One row a fill of `pour_rows`, blank ones too: temperatures are the mean of what its rows say.

    `time` is when its first row was, missing where that gives the day alone.
    """
    import pandas as pd

    timed = rows.assign(time=rows["date"].where(rows["date"] != rows["date"].dt.normalize()))
    fills = timed.groupby("key", sort=False)
    return pd.concat(
        [
            fills[["mold", "session", "fill"]].first(),
            fills["time"].min(),
            fills[["mold_temp_c", "melt_temp_c"]].mean(),
            fills[["castings", "rejects", "cold", "hot"]].sum(),
        ],
        axis=1,
    ).reset_index()


def runs_of(fills: "pd.DataFrame", mold: str) -> dict[str, Run]:
    """The sessions of a mold in which fills are numbered; a fill that no row tells of has no reading."""
    numbered = fills[(fills["mold"] == mold) & fills["fill"].between(1, MOST_FILLS)]
    runs = {}
    for session, own in numbered.groupby("session"):
        number = own["fill"].to_numpy(dtype=np.int64)
        readings = np.full(int(number.max()), np.nan)
        readings[number - 1] = own["mold_temp_c"].to_numpy(dtype=np.float64)
        runs[str(session)] = Run(readings=readings, waits=_waits(own, len(readings)))
    return runs


def molds_by_weight(fills: "pd.DataFrame") -> list[str]:
    """Molds with castings, the one with most of them at a known temperature first."""
    known = fills["castings"].where(fills["mold_temp_c"].notna(), 0)
    weight = fills.assign(known=known).groupby("mold")[["known", "castings"]].sum().reset_index()
    weight = weight[weight["castings"] > 0].sort_values(["known", "castings"], ascending=False, kind="stable")
    return [str(mold) for mold in weight["mold"]]


def read_with_a_gun(rows: "pd.DataFrame") -> set[str]:
    """Sessions whose remarks say that a mold temperature was read by infrared, and name no blackened spot."""
    found: set[str] = set()
    read = rows[rows["mold_temp_c"].notna()]
    for name in read.columns:
        if name in _NO_REMARKS or read[name].dtype.kind in "fiubM":
            continue
        for session, remark in zip(read["session"], read[name], strict=True):
            if isinstance(remark, str) and _GUN.search(remark) and not _SPOT.search(remark):
                found.add(str(session))
    return found


def _waits(own: "pd.DataFrame", size: int) -> FloatArray | None:
    """Times between fills, even between those that are timed; None without two times in the fills' order."""
    timed = own[own["time"].notna()].sort_values("fill")
    if timed["time"].nunique() < 2 or not timed["time"].is_monotonic_increasing:
        return None
    at = timed["fill"].to_numpy(dtype=np.float64)
    seconds = (timed["time"] - timed["time"].iloc[0]).dt.total_seconds().to_numpy()
    number = np.arange(1.0, size + 1)
    waits = np.diff(np.interp(number, at, seconds), prepend=0.0)
    waits[(number <= at[0]) | (number > at[-1])] = seconds[-1] / (at[-1] - at[0])
    waits[0] = 0.0
    return np.asarray(waits, dtype=np.float64)
