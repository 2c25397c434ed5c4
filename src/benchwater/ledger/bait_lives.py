"""The fishing log by bait: hours in use of each at start and end of a row, and what sorts baits into groups.

    date,build,fished,fate,count,bait,cause,leader,habitat
    2026-03-29,perch-grub,2 h,kept,,PE-01,,wire,gravel
    2026-04-05,perch-grub,45 min,worn,,PE-01,torn,no,weeds
    2026-04-05,crappie-grub,1 h,kept,3,,,no,weeds

PE-01 is followed from 0 to 2 h and from 2 h to 2.75 h, where it ends. The untagged three are a stretch each,
from 0 to 1 h.
"""

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from benchwater.ledger.log_columns import alike, as_words, factorized
from benchwater.plugin import Bench, Span

if TYPE_CHECKING:
    import pandas as pd

    Truths = pd.Series[bool]

UNKNOWN = "not recorded"
_INSTANT_H = 1e-6


class Factor(NamedTuple):
    """A way to sort rows into groups by label, missing where not recorded. `baseline` is named last.

    The groups are compared `one_by_one`, or by one test over all of them. `of_build` says that the build
    decides.
    """

    name: str
    labels: "pd.Series[str]"
    baseline: str = ""
    one_by_one: bool = True
    of_build: bool = False

    @property
    def groups(self) -> list[str]:
        """The labels that occur, in order."""
        return sorted(factorized(self.labels).names, key=lambda group: (group == self.baseline, group))


def rows_in_use(log: "pd.DataFrame", span: Span) -> "pd.DataFrame":
    """The span's rows with `entry` and `time` (hours in use at start and end), `ended` (baits) and `hours`.

    A tagged bait's hours add up over its trips, those before the span too; a row without a tag is a stretch
    by itself. `life` numbers the baits that bore one tag, from 0. A used bait with no time fished is in use
    an instant. `cause` is empty for a bait that was kept.
    """
    import pandas as pd

    inside = (log["date"] >= pd.Timestamp(span.start)) & (log["date"] < pd.Timestamp(span.end))
    before = log["bait"].isin(log.loc[inside, "bait"].dropna().unique()) & (
        log["date"] < pd.Timestamp(span.start)
    )
    log, inside = log[inside | before], inside[inside | before]
    fished, ended, tagged = log["fished_h"], log["fate"] != "kept", log["bait"].notna()
    entry, time, life = fished * 0.0, fished.round(6), log["count"] * 0
    if tagged.any():
        build, tag = (factorized(log.loc[tagged, name]) for name in ("build", "bait"))
        of_tag, ends = alike(build, tag)[0], ended[tagged].astype(int)
        life[tagged] = ends.groupby(of_tag).cumsum() - ends
        of_life = alike(as_words(of_tag), as_words(life[tagged].to_numpy()))[0]
        total = fished[tagged].groupby(of_life).cumsum()
        time[tagged], entry[tagged] = total.round(6), (total - fished[tagged]).round(6).clip(lower=0)
    rows = log.assign(
        entry=entry,
        time=time.where((entry == 0) | (entry < time), entry + _INSTANT_H),
        life=life,
        ended=log["count"].where(ended, 0),
        hours=fished * log["count"],
        cause=log["cause"].astype("str").fillna(UNKNOWN).where(ended, ""),
    )
    return rows[inside].reset_index(drop=True)


def number_of_baits(rows: "pd.DataFrame") -> int:
    """Tagged baits once each, untagged ones as often as their rows count them."""
    lives = rows[rows["bait"].notna()].drop_duplicates(["build", "bait", "life"])
    return len(lives) + untagged(rows)


def untagged(rows: "pd.DataFrame") -> int:
    """Baits without a tag, each a stretch by itself."""
    return int(rows.loc[rows["bait"].isna(), "count"].sum())


def factors_of(rows: "pd.DataFrame", bench: Bench) -> list[Factor]:
    """The leader first, then what else the logs and the bench can tell; each other fitting by its own "
    "name."""
    builds = bench.builds
    guards = {item for build in builds.values() for item in build.fittings if "guard" in item.casefold()}
    others = sorted({item for build in builds.values() for item in build.fittings} - guards)
    leader = rows["leader"].astype(object).map(lambda word: word.casefold(), na_action="ignore")
    either = leader.map(lambda word: "no leader" if word == "no" else "leader", na_action="ignore")

    def bears(name: str, items: set[str]) -> Factor:
        has = {key: name if items & set(build.fittings) else f"no {name}" for key, build in builds.items()}
        return Factor(name, rows["build"].map(has), baseline=name, of_build=True)

    coats = {name: build.coat or "no coat" for name, build in builds.items()}
    return [
        Factor("leader", either, baseline="leader"),
        Factor("leader material", leader.where(~leader.isin(["yes", "no"])), one_by_one=False),
        Factor("coat", rows["build"].map(coats), baseline="no coat", of_build=True),
        bears("guard", guards),
        *(bears(item, {item}) for item in others),
        Factor("build", rows["build"], of_build=True),
        Factor("water", rows["water"]),
        Factor("habitat", rows["habitat"].map(together, na_action="ignore")),
    ]


def summed_alike(rows: "pd.DataFrame", factors: Sequence[Factor]) -> tuple["pd.DataFrame", list[Factor]]:
    """One row for all that are alike in every factor, angler and cause, and the factors of these.

    `count`, `ended` and `hours` are theirs together; the other cells are of the first of them.
    """
    told_apart = [*(factor.labels for factor in factors), rows["angler"], rows["cause"]]
    group, first = alike(*map(factorized, told_apart))
    sums = {name: np.bincount(group, rows[name]) for name in ("count", "ended", "hours")}
    summed = rows.iloc[first].assign(**sums).astype({"count": np.int64, "ended": np.int64})
    return (
        summed.reset_index(drop=True),
        [factor._replace(labels=factor.labels.iloc[first].reset_index(drop=True)) for factor in factors],
    )


def together(tags: Iterable[str]) -> str:
    """Tags as one label."""
    return " + ".join(sorted(tags))


def habitat_tags(rows: "pd.DataFrame") -> dict[str, "Truths"]:
    """The rows of each habitat tag; tags that always go together are one."""
    tags_of = rows["habitat"].map(frozenset, na_action="ignore").dropna()
    having: dict[tuple[int, ...], list[str]] = {}
    for tag in sorted(frozenset().union(*tags_of)):
        having.setdefault(tuple(tags_of.index[[tag in tags for tags in tags_of]]), []).append(tag)
    return {together(tags): rows.index.to_series().isin(has) for has, tags in having.items()}


def sides(rows: "pd.DataFrame", factor: Factor) -> list[tuple[str, str, "Truths", "Truths"]]:
    """Who is held against whom: two groups, each of several against the others, a tag against elsewhere.

    Each as (group, against, rows of the first, rows of the second).
    """
    labels, groups = factor.labels, factor.groups
    if factor.name == "habitat":
        return [(tag, "elsewhere", has, labels.notna() & ~has) for tag, has in habitat_tags(rows).items()]
    if len(groups) == 2:
        return [(groups[0], groups[1], labels == groups[0], labels == groups[1])]
    return [(group, "the others", labels == group, labels.notna() & (labels != group)) for group in groups]
