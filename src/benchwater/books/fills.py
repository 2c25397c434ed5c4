"""The pour log by fill: what one filling of a mold gave, how warm the mold read, and when it came.

A row of the log is one cavity and outcome; castings of one fill share metal, mold and hand, so that most
questions are asked of fills.
"""

import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from benchwater.books.log_columns import Moments, factorized, group_by
from benchwater.books.once import once_a_season
from benchwater.plugin.season import Season, Span

if TYPE_CHECKING:
    import pandas as pd
    from pandas.api.extensions import ExtensionArray

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
    rows = rows.assign(session=_named(_session, rows["date"].dt.normalize(), rows["session"], rows["mold"]))
    times = rows["date"].groupby(rows["session"])
    unnumbered = rows["fill"].isna().groupby(rows["session"]).transform("all")
    by_time = unnumbered & (times.transform("nunique") > 1)
    rows["fill"] = rows["fill"].where(~by_time, times.rank("dense"))
    rows["key"] = _named(_key, rows["session"], rows["fill"], rows["mold_temp_c"])
    count, flaw, bad = rows["count"], rows["flaw"], rows["outcome"] == "reject"
    unnamed = bad & flaw.isna()
    as_cold = bool(count[unnamed].sum() > count[bad].sum() / 2)
    return rows.assign(
        castings=count.where(rows["outcome"] != "blank", 0),
        rejects=count.where(bad, 0),
        cold=count.where(bad & (flaw.isin(COLD) | (unnamed & as_cold)), 0),
        hot=count.where(bad & flaw.isin(HOT), 0),
    )


@once_a_season
def poured_in(season: Season, span: Span) -> "pd.DataFrame":
    """The `pour_rows` of a span. They are shared: take what you need, and change nothing."""
    return pour_rows(season.rows("pour", span))


def _named(name: Callable[..., str], *columns: "pd.Series[Any]") -> "ExtensionArray":
    """A name a row, made of what it says in some columns: once for all rows that say the same."""
    import pandas as pd

    groups = group_by(*(factorized(column) for column in columns))
    return pd.array([name(*key) for key in groups.keys], dtype="str").take(groups.of_row)


def _session(day: "pd.Timestamp", name: str | None, mold: str) -> str:
    return " ".join(filter(None, (f"{day:%Y-%m-%d}", name, mold)))


def _key(session: str, fill: float | None, temp: float | None) -> str:
    return f"{session} | {f'at {math.nan if temp is None else temp}' if fill is None else f'{fill:.0f}'}"


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
    numbered = numbered.sort_values(["session", "fill"], kind="stable")
    number = numbered["fill"].to_numpy(dtype=np.int64)
    read, time = (
        numbered["mold_temp_c"].to_numpy(dtype=np.float64),
        numbered["time"].to_numpy("datetime64[us]"),
    )
    session = numbered["session"].to_numpy(dtype=object)
    ends = np.flatnonzero(np.append(session[1:] != session[:-1], True)[: len(session)]) + 1
    runs = {}
    for begin, end in zip([0, *ends], ends, strict=False):
        own = slice(begin, end)
        readings = np.full(number[end - 1], np.nan)
        readings[number[own] - 1] = read[own]
        runs[str(session[begin])] = Run(readings=readings, waits=_waits(number[own], time[own]))
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
        told = factorized(read[name]).where(_tells_of_a_gun)
        found.update(read.loc[told, "session"].unique())
    return found


def _tells_of_a_gun(remark: object) -> bool:
    return isinstance(remark, str) and _GUN.search(remark) is not None and _SPOT.search(remark) is None


def _waits(fill: NDArray[np.int64], time: Moments) -> FloatArray | None:
    """Times between fills, even between those that are timed; None without two times in the fills' order."""
    timed = ~np.isnat(time)
    if not timed.any():
        return None
    at, seconds = fill[timed].astype(np.float64), (time[timed] - time[timed][0]) / np.timedelta64(1, "s")
    if seconds[-1] == 0 or np.any(np.diff(seconds) < 0):
        return None
    number = np.arange(1.0, fill[-1] + 1)
    waits = np.diff(np.interp(number, at, seconds), prepend=0.0)
    waits[(number <= at[0]) | (number > at[-1])] = seconds[-1] / (at[-1] - at[0])
    waits[0] = 0.0
    return np.asarray(waits, dtype=np.float64)
