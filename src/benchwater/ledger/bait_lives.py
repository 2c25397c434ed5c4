"""Baits in use: the hours of each at start and end of a fishing row, and the factors that sort baits.

    date,build,fished,fate,count,bait,cause,leader,habitat
    2026-03-29,perch-grub,2 h,kept,,PE-01,,wire,gravel
    2026-04-05,perch-grub,45 min,worn,,PE-01,torn,no,weeds
    2026-04-05,crappie-grub,1 h,kept,3,,,no,weeds

PE-01 is followed from 0 to 2 h and from 2 h to 2.75 h, where it ends. The three untagged baits are followed
from 0 to 1 h each.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from benchwater.ledger import LOSSES
from benchwater.ledger.trips import trip_names
from benchwater.plugin import Bench, Season, Span

UNKNOWN = "not written"
_INSTANT_H = 1e-6


@dataclass(frozen=True, slots=True)
class Factor:
    """A label for each row (a category, missing where not recorded); `baseline` names the last group.

    Groups are compared `one_by_one`, or by one test over all of them. `of_build` says that the build decides.
    """

    name: str
    labels: "pd.Series[Any]"
    baseline: str = ""
    one_by_one: bool = True
    of_build: bool = False

    @property
    def groups(self) -> list[str]:
        """The labels that occur, sorted, the baseline last."""
        return sorted(self.labels.dropna().unique(), key=lambda group: (group == self.baseline, group))


def rows_in_use(season: Season, span: Span) -> pd.DataFrame:
    """The span's fishing rows with the hours in use of their baits.

    Columns added to those of the log:

    - `entry`, `time` (h): hours in use of each bait at start and end of the row. Those of a tagged bait add
      up over its trips, also trips before the span; an untagged bait starts at 0 in every row. A used bait
      with no time fished is in use for an instant.
    - `life`: numbers the baits that bore one tag, from 0: a tag that goes on after a loss is a new bait.
    - `first_day`: the first day of a tagged bait, also before the span; the row's own of an untagged one.
    - `ended`: baits lost or worn in the row.
    - `hours` (bait-hours): hours fished times the count of baits.
    - `cause`: empty for a bait that was not lost or worn, UNKNOWN where a loss has none.
    - `trip_number`: numbers the trips of the rows from 0, see `trips.trip_names`.
    """
    log = season.before("fishing", span.end)
    inside = log["date"] >= pd.Timestamp(span.start)
    wanted = inside | log["bait"].isin(log.loc[inside, "bait"].dropna().unique())
    log, inside = log[wanted], inside[wanted]
    fished, ended, tagged = log["fished_h"], log["fate"].isin(LOSSES), log["bait"].notna()
    entry, time, life, first_day = fished * 0.0, fished.round(6), log["count"] * 0, log["date"].copy()
    if tagged.any():
        tag = log[tagged].groupby(["build", "bait"], observed=True, sort=False).ngroup()
        ends = ended[tagged].astype(int)
        life[tagged] = ends.groupby(tag).cumsum() - ends
        bait = [tag, life[tagged]]
        total = fished[tagged].groupby(bait).cumsum()
        first_day[tagged] = first_day[tagged].groupby(bait).transform("min")
        time[tagged], entry[tagged] = total.round(6), (total - fished[tagged]).round(6).clip(lower=0)
    rows = log.assign(
        entry=entry,
        time=time.where((entry == 0) | (entry < time), entry + _INSTANT_H),
        life=life,
        first_day=first_day,
        ended=log["count"].where(ended, 0),
        hours=fished * log["count"],
        cause=log["cause"].astype("str").fillna(UNKNOWN).where(ended, ""),
    )[inside].reset_index(drop=True)
    return rows.assign(trip_number=trip_names(rows).factorize()[0])


def count_baits(rows: pd.DataFrame) -> int:
    """The number of baits in rows of `rows_in_use`: tagged ones once, untagged ones by the rows' counts."""
    lives = rows[rows["bait"].notna()].drop_duplicates(["build", "bait", "life"])
    return len(lives) + count_untagged(rows)


def count_untagged(rows: pd.DataFrame) -> int:
    """The number of baits without a tag, by the rows' counts."""
    return int(rows.loc[rows["bait"].isna(), "count"].sum())


def factors_of(rows: pd.DataFrame, bench: Bench) -> list[Factor]:
    """Leader, leader material, coat, guard, every other fitting by its name, build, water and habitat."""
    builds = bench.builds
    guards = {item for build in builds.values() for item in build.fittings if "guard" in item.casefold()}
    others = sorted({item for build in builds.values() for item in build.fittings} - guards)

    def of_build(name: str, labels: Mapping[str, str], baseline: str = "") -> Factor:
        return Factor(name, _labelled(rows["build"], labels.get), baseline=baseline, of_build=True)

    def bears(name: str, items: set[str]) -> Factor:
        has = {key: name if items & set(each.fittings) else f"no {name}" for key, each in builds.items()}
        return of_build(name, has, baseline=name)

    def either(word: str) -> str:
        return "no leader" if word.casefold() == "no" else "leader"

    def material(word: str) -> str | None:
        return None if word.casefold() in ("yes", "no") else word.casefold()

    return [
        Factor("leader", _labelled(rows["leader"], either), baseline="leader"),
        Factor("leader material", _labelled(rows["leader"], material), one_by_one=False),
        of_build("coat", {name: each.coat or "no coat" for name, each in builds.items()}, "no coat"),
        bears("guard", guards),
        *(bears(item, {item}) for item in others),
        Factor("build", _labelled(rows["build"], str), of_build=True),
        Factor("water", _labelled(rows["water"], str)),
        Factor("habitat", _labelled(rows["habitat"], habitat_label)),
    ]


def _labelled(words: "pd.Series[Any]", label: Callable[[Any], str | None]) -> "pd.Series[Any]":
    """The label of each word as a category, in alphabetical order; a missing word has none."""
    of_row, different = pd.factorize(words)
    labels = pd.Categorical([*map(label, different), None])
    return pd.Series(labels[of_row], words.index)


def sum_equal_rows(rows: pd.DataFrame, factors: Sequence[Factor]) -> tuple[pd.DataFrame, list[Factor]]:
    """One row for all rows of a trip that are equal in every factor, angler and cause, and their factors.

    `count`, `ended` and `hours` are sums; the other cells are those of the first row.
    """
    keys = [*(factor.labels for factor in factors), rows["angler"], rows["cause"], rows["trip_number"]]
    group, _ = pd.factorize(rows.groupby(keys, observed=True, sort=False, dropna=False).ngroup())
    first = np.flatnonzero(~pd.Series(group).duplicated())
    sums = {name: np.bincount(group, rows[name]) for name in ("count", "ended", "hours")}
    summed = rows.iloc[first].assign(**sums).astype({"count": np.int64, "ended": np.int64})
    return (
        summed.reset_index(drop=True),
        [replace(factor, labels=factor.labels.iloc[first].reset_index(drop=True)) for factor in factors],
    )


def habitat_label(tags: Iterable[str]) -> str:
    """Habitat tags as one label: `deep + timber`."""
    return " + ".join(sorted(tags))


def habitat_tags(rows: pd.DataFrame) -> dict[str, "pd.Series[bool]"]:
    """A mask of rows for each habitat tag; tags that always go together are one label."""
    of_row, habitats = pd.factorize(rows["habitat"])
    having: dict[tuple[bool, ...], list[str]] = {}
    for tag in sorted({tag for tags in habitats for tag in tags}):
        having.setdefault(tuple(tag in tags for tags in habitats), []).append(tag)
    return {
        habitat_label(tags): pd.Series(np.array([*has, False])[of_row], rows.index)
        for has, tags in having.items()
    }


def sides(rows: pd.DataFrame, factor: Factor) -> list[tuple[str, str, "pd.Series[bool]", "pd.Series[bool]"]]:
    """The comparisons of a factor: two groups, each of several against the others, a tag against elsewhere.

    Each as (group, against, mask of the first, mask of the second).
    """
    labels, groups = factor.labels, factor.groups
    if factor.name == "habitat":
        return [(tag, "elsewhere", has, labels.notna() & ~has) for tag, has in habitat_tags(rows).items()]
    if len(groups) == 2:
        return [(groups[0], groups[1], labels == groups[0], labels == groups[1])]
    return [(group, "the others", labels == group, labels.notna() & (labels != group)) for group in groups]
