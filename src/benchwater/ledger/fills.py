"""The pour log by fill: what one filling of a mold gave, how warm the mold read, and when it came.

A row of the log is one cavity and outcome; castings of one fill share metal, mold and hand, so that most
questions are asked of fills.
"""

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from benchwater.ledger import computed_once
from benchwater.plugin.season import Season, Span

if TYPE_CHECKING:
    import pandas as pd

FloatArray = NDArray[np.float64]

COLD, HOT = ("short fill", "cold shut"), ("flash", "porosity")
MOST_FILLS = 200
# Common practice, no source: metal of a fill over metal of its castings.
SPRUES = 1.5
_NO_REMARKS = {"mold", "cavity", "outcome", "flaw", "material", "file"}
_GUN = re.compile(
    r"\binfra-?\s?red\b|\bir\b|\bpyrometer\b|\b(laser|temp|temperature)[ -]gun\b|\blaser thermometer\b",
    re.I,
)
_SPOT = re.compile(r"black|paint|soot|tape", re.I)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Runs:
    """The sessions of a mold by fill, from 1 on, side by side: both arrays (sessions, fills).

    `readings` in degC, nan where none, `lengths` (sessions,) how many fills each session has. `waits` are the
    seconds since the fill before, the first 0; nan throughout where the log does not tell, and behind the
    last fill.
    """

    sessions: tuple[str, ...]
    lengths: NDArray[np.int64]
    readings: FloatArray
    waits: FloatArray


def pour_rows(rows: "pd.DataFrame") -> "pd.DataFrame":
    """Rows of the pour log with `session`, the `key` of their fill, and `castings`, `rejects`, `cold`, `hot`.

    A session is a day, with its name where it has one, and a mold. Where a session numbers no fill but tells
    times, the times do. Rows without a fill number go together by session and temperature read: a row is all
    good or all bad, so taken by itself it would say that castings of one fill are always alike. Fills are
    numbered from 0, in order of their first rows: that is their `key`.

    Where most bad castings name no flaw, those are taken as cold ones, which most are.
    """
    session = _sessions(rows)
    number = _fill_numbers(rows["fill"], rows["date"], session)
    temp = rows["mold_temp_c"].where(number.isna())
    key = rows.groupby([session.codes, number, temp], sort=False, dropna=False).ngroup()
    count, bad = rows["count"], rows["outcome"] == "reject"
    unnamed = bad & rows["flaw"].isna()
    as_cold = bool(count[unnamed].sum() > count[bad].sum() / 2)
    return rows.assign(
        session=session,
        fill=number,
        key=key,
        castings=count.where(rows["outcome"] != "blank", 0),
        rejects=count.where(bad, 0),
        cold=count.where(bad & (rows["flaw"].isin(COLD) | (unnamed & as_cold)), 0),
        hot=count.where(bad & rows["flaw"].isin(HOT), 0),
    )


@computed_once
def poured_in(season: Season, span: Span) -> "pd.DataFrame":
    """The `pour_rows` of a span. They are shared: take what you need, and change nothing."""
    return pour_rows(season.rows("pour", span))


def _sessions(rows: "pd.DataFrame") -> "pd.Categorical":
    """The name of each row's session as a categorical, its categories in alphabetical order."""
    import pandas as pd

    parts = rows[["session", "mold"]].assign(day=rows["date"].dt.normalize())
    group = parts.groupby(["day", "session", "mold"], observed=True, sort=False, dropna=False).ngroup()
    first = parts[~group.duplicated().to_numpy()]
    named = first["session"].astype(object).where(first["session"].notna(), None)
    names = [_session(*each) for each in zip(first["day"], named, first["mold"], strict=True)]
    categories = pd.Index(sorted(set(names)), dtype="str")
    return pd.Categorical.from_codes(
        categories.get_indexer(pd.Index(names, dtype="str"))[group], categories=categories
    )


def _session(day: "pd.Timestamp", name: str | None, mold: str) -> str:
    return " ".join(filter(None, (f"{day:%Y-%m-%d}", name, mold)))


def _fill_numbers(
    fill: "pd.Series[float]", when: "pd.Series[Any]", session: "pd.Categorical"
) -> "pd.Series[float]":
    """The number of each row's fill; by their times in sessions that number none, and have several times."""
    numbered = np.bincount(session.codes, fill.notna(), len(session.categories)) > 0
    silent = ~numbered[session.codes]
    if not silent.any():
        return fill
    times = when[silent].groupby(session.codes[silent])
    by_time = times.rank("dense").where(times.transform("nunique") > 1)
    return fill.where(~silent, by_time)


def fills_of(rows: "pd.DataFrame") -> "pd.DataFrame":
    """One row a fill of `pour_rows`, blank ones too, in order of their `key`, which is its place.

    Temperatures are the mean of what its rows say.

    `time` is when its first row was, missing where that gives the day alone.
    """
    key = rows["key"].to_numpy()
    first = np.unique(key, return_index=True)[1]
    timed = rows["date"].where(rows["date"] != rows["date"].dt.normalize())
    fills = rows[["key", "mold", "session", "fill"]].iloc[first].reset_index(drop=True)
    return fills.assign(
        time=timed.groupby(key).min() if timed.notna().any() else timed.iloc[first].to_numpy(),
        **rows[["mold_temp_c", "melt_temp_c"]].groupby(key).mean(),
        **{
            name: np.bincount(key, rows[name]).astype(rows[name].to_numpy().dtype)
            for name in ("castings", "rejects", "cold", "hot")
        },
    )


def runs_of(fills: "pd.DataFrame", mold: str) -> Runs:
    """The sessions of a mold in which fills are numbered; a fill that no row tells of has no reading."""
    numbered = fills[(fills["mold"] == mold) & fills["fill"].between(1, MOST_FILLS)]
    number = numbered["fill"].to_numpy(dtype=np.int64)
    session = numbered["session"].cat.codes.to_numpy()
    order = np.lexsort((number, session))
    number, session = number[order], session[order]
    sessions, row = np.unique(session, return_inverse=True)
    lengths = np.zeros(len(sessions), dtype=np.int64)
    np.maximum.at(lengths, row, number)
    readings = np.full((len(sessions), int(lengths.max(initial=0))), np.nan)
    readings[row, number - 1] = numbered["mold_temp_c"].to_numpy(dtype=np.float64)[order]
    waits = np.full(readings.shape, np.nan)
    time = numbered["time"].to_numpy("datetime64[us]")[order]
    for timed in np.unique(row[~np.isnat(time)]).tolist():
        own = slice(*np.searchsorted(row, [timed, timed + 1]))
        found = _waits(number[own], time[own])
        if found is not None:
            waits[timed, : lengths[timed]] = found
    names = numbered["session"].cat.categories[sessions].tolist()
    return Runs(sessions=tuple(names), lengths=lengths, readings=readings, waits=waits)


def molds_by_weight(fills: "pd.DataFrame") -> list[str]:
    """Molds with castings, the one with most of them at a known temperature first."""
    known = fills["castings"].where(fills["mold_temp_c"].notna(), 0)
    molds = fills.assign(known=known).groupby("mold", observed=True)[["known", "castings"]].sum()
    made = molds[molds["castings"] > 0].reset_index()
    made = made.assign(mold=made["mold"].astype("str"))
    return made.sort_values(["known", "castings", "mold"], ascending=[False, False, True])["mold"].tolist()


def read_with_a_gun(rows: "pd.DataFrame") -> set[str]:
    """Sessions whose remarks say that a mold temperature was read by infrared, and name no blackened spot."""
    found: set[str] = set()
    read = rows[rows["mold_temp_c"].notna()]
    for name in read.columns:
        if name in _NO_REMARKS or read[name].dtype.kind in "fiubM":
            continue
        remarks = [remark for remark in read[name].dropna().unique() if _tells_of_a_gun(remark)]
        if remarks:
            found.update(read.loc[read[name].isin(remarks), "session"].unique())
    return found


def _tells_of_a_gun(remark: object) -> bool:
    return isinstance(remark, str) and _GUN.search(remark) is not None and _SPOT.search(remark) is None


def _waits(fill: NDArray[np.int64], time: NDArray[np.datetime64]) -> FloatArray | None:
    """Times between fills, some of them timed, even between these; None without two times in their order."""
    timed = ~np.isnat(time)
    at, seconds = fill[timed].astype(np.float64), (time[timed] - time[timed][0]) / np.timedelta64(1, "s")
    if seconds[-1] == 0 or np.any(np.diff(seconds) < 0):
        return None
    number = np.arange(1.0, fill[-1] + 1)
    waits = np.diff(np.interp(number, at, seconds))
    waits[(number[1:] <= at[0]) | (number[1:] > at[-1])] = seconds[-1] / (at[-1] - at[0])
    return np.concatenate([[0.0], waits])
