"""What several analyses work out of the logs: each table or number is one function of a season, cached.

| module | tables | numbers by name, and rules |
|---|---|---|
| `castings` | `castings`, `coatings` | what a casting weighs, how many were made, which baits hold lead |
| `fills` | `poured_in`, `fills_of` | the sessions of a mold by fill |
| `stock` | `stock_movements`, `stock_counts` | stock on hand, steps of scales, masses of coats |
| `pieces` | `piece_moves` | castings and baits on hand, shared out among builds |
| `made` | | baits dressed, and when |
| `costs` | | prices paid, the cost of a bait |
| `bait_lives` | `rows_in_use`, `sum_equal_rows` | factors that sort baits |
| `trips` | `trips_of` | the months that are fished |
| `log_rows` | `rows_left_open` | pictures that rows name |
| `fish` | | published weights and lengths, rows in doubt |
| `labels` | | tags of baits, names of trials |

A table is a pandas DataFrame with plain numbers in canonical units and categories for words. Its function
says what each column means. What concerns one item, casting or build at a time is a mapping by its name.
Both are shared, so take copies of what you change.
"""

from collections.abc import Callable, Hashable, Sequence
from datetime import date, datetime, time, timedelta
from typing import TYPE_CHECKING, Any, Concatenate, ParamSpec, TypeVar
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import ArrayLike, NDArray

from benchwater.plugin.season import Season, Span
from benchwater.words import MONTHS

if TYPE_CHECKING:
    import pandas as pd

_Result = TypeVar("_Result")
_Arguments = ParamSpec("_Arguments")
_OfSeason = Callable[Concatenate[Season, _Arguments], _Result]
LOSSES = ("lost", "worn")
"""The fates that are losses: a bait given away or sold is gone, and was not lost."""
LEAVING = ("given", "sold", "discarded")
"""The moves by which finished baits leave the bench, and are no losses."""


def computed_once(compute: _OfSeason[_Arguments, _Result]) -> _OfSeason[_Arguments, _Result]:
    """Decorate a function of a season so that it runs once for each season and further arguments.

    The results live as long as the season. They are shared, so callers must not change them.
    """
    results: WeakKeyDictionary[Season, dict[Hashable, _Result]] = WeakKeyDictionary()

    def cached(season: Season, /, *args: _Arguments.args, **kwargs: _Arguments.kwargs) -> _Result:
        of_season = results.setdefault(season, {})
        key = (args, tuple(sorted(kwargs.items())))
        if key not in of_season:
            of_season[key] = compute(season, *args, **kwargs)
        return of_season[key]

    cached.__doc__ = compute.__doc__
    return cached


def log_table(
    season: Season, kind: str, words: Sequence[str] = (), numbers: Sequence[str] = ()
) -> "pd.DataFrame":
    """Rows of a log up to the report's end: `date`, `words` as categories and `numbers` as floats.

    It has no row where the log was not kept.
    """
    import pandas as pd

    dtypes: dict[str, Any] = {"date": "datetime64[us]"}
    dtypes |= dict.fromkeys(words, "category") | dict.fromkeys(numbers, "float64")
    log = season.log(kind) if season.holds(kind) else pd.DataFrame(columns=list(dtypes))
    return pd.DataFrame({name: log[name].astype(dtype) for name, dtype in dtypes.items()}, copy=False)


def rows_by(table: "pd.DataFrame", *columns: str) -> dict[Any, NDArray[np.int64]]:
    """Positions of the rows of each group, groups in order of first appearance.

    A key is a value of the one column, or a tuple of the values of several. A row where one is missing is in
    no group.
    """
    by = columns[0] if len(columns) == 1 else list(columns)
    groups: dict[Any, Any] = dict(table.groupby(by, observed=True, sort=False).indices)
    return dict(sorted(groups.items(), key=lambda group: int(group[1][0])))


@computed_once
def recent(season: Season, *kinds: str) -> Span:
    """The last two months of a season, labelled `June and July`: what an action's `worth` is counted over.

    They are the month of the report's last day and the month before it; where the logs `kinds` hold no row of
    these, the last two months in which they hold one. Never before the season's start.
    """
    held = [season.log(kind)["date"] for kind in kinds if season.holds(kind)]
    months = sorted({month for dates in held for month in (dates.dt.year * 12 + dates.dt.month - 1).unique()})
    last_day = season.end - timedelta(days=1)
    last = last_day.year * 12 + last_day.month - 1
    chosen = [last - 1, last]
    if not set(chosen) & set(months):
        chosen = months[-2:] or chosen
    first = max(date(chosen[0] // 12, chosen[0] % 12 + 1, 1), season.start)
    behind = min(date((chosen[-1] + 1) // 12, (chosen[-1] + 1) % 12 + 1, 1), season.end)
    names = dict.fromkeys(MONTHS[month % 12] for month in (first.year * 12 + first.month - 1, chosen[-1]))
    return Span(name="period", label=" and ".join(names), start=min(first, behind), end=behind)


def midnight(day: date) -> datetime:
    """The moment a day begins."""
    return datetime.combine(day, time())


def sum_in_order(values: ArrayLike) -> float:
    """The sum of `values` (n,) added one by one, 0 without any.

    numpy's own sum adds in pairs. Where a large part is subtracted afterwards the rounding shows, so every
    place adds in the same order.
    """
    array = np.asarray(values, dtype=np.float64)
    return float(np.cumsum(array)[-1]) if array.size else 0.0


def sums_by(rows: "pd.DataFrame", amount: str, *keys: str) -> dict[Any, float]:
    """The sum of the column `amount` for each value of a key column, or each tuple of values of several.

    In order of first appearance; a row without a key is in no sum.
    """
    by = keys[0] if len(keys) == 1 else list(keys)
    sums: dict[Any, float] = rows.groupby(by, observed=True, sort=False)[amount].sum().to_dict()
    return sums
