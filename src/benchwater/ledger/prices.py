"""What an item costs: the moving average of what was paid for it, else the price that bench.toml states."""

from collections.abc import Mapping
from datetime import datetime
from math import isfinite
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from benchwater.ledger import computed_once, log_table, midnight, rows_by, sum_in_order
from benchwater.ledger.made import spoilt_share
from benchwater.ledger.stock import stock_counts, stock_movements
from benchwater.plugin.season import Season

if TYPE_CHECKING:
    import pandas as pd


@computed_once
def unit_prices(season: Season, up_to: datetime) -> Mapping[str, float | None]:
    """What one canonical unit (1 g, 1 mL, 1 piece) of every item costs, by what was received before `up_to`.

    Perpetual weighted average (cost formula of IAS 2, paragraphs 25 and 27, from memory): each receipt with a
    cost averages with the stock on hand just before it, at the average it then has. That stock is the last
    count rolled forward by the season's books, or what the rows add up to where nothing was counted yet, and
    never below 0. Stock that no receipt has priced (the opening, gifts, what was recovered) takes the average
    in force: the first receipt with a cost is the price of all that was there before it. Counts and what
    leaves do not move the average. An item no receipt of which states a cost falls back on the price per pack
    of bench.toml; None where that says nothing either.
    """
    table = log_table(season, "inventory", ("item", "move"), ("amount", "cost"))
    receipts = table[(table["move"] == "received") & (table["date"] < up_to)]
    columns = [receipts[name].to_numpy() for name in ("date", "amount", "cost")]
    rows, levels = rows_by(receipts, "item"), _Levels(season)
    prices: dict[str, float | None] = {}
    for name, item in season.bench.items.items():
        when, amounts, costs = (column[rows.get(name, slice(0))] for column in columns)
        average: float | None = None
        latest, earlier, received = np.datetime64("NaT"), 0.0, 0.0
        for moment, amount, cost in zip(when, amounts.tolist(), costs.tolist(), strict=True):
            earlier = earlier + received if moment == latest else 0.0
            latest, received = moment, amount
            if not isfinite(cost) or amount <= 0:
                continue
            before = 0.0 if average is None else levels.before(name, moment) + earlier
            average = ((average or 0.0) * before + cost) / (before + amount)
        if average is None and item.price is not None and item.pack:
            average = item.price / item.pack
        prices[name] = average
    return prices


def cost_of_reject(season: Season, mold: str, cavity: str) -> float | None:
    """What one reject of this cavity costs by its insert, at the report's end: 0 where it takes none.

    The insert at its `unit_prices`, as far as it is lost with the reject (`spoilt_share`); the metal goes
    back to the pot. None where nothing tells the price.
    """
    insert = season.bench.cavity(mold, cavity).insert
    if insert is None:
        return 0.0
    price = unit_prices(season, midnight(season.end))[insert]
    return None if price is None else price * spoilt_share(season, insert)


class _Levels:
    """The stock of each item just before a moment: the last count rolled forward, or the sum of its rows.

    A movement of unknown size is left to the next count.
    """

    def __init__(self, season: Season) -> None:
        counts = stock_counts(season)
        moved = stock_movements(season)
        moved = moved[moved["amount"].notna()]
        self._counts = _by_item(counts[~counts["replaced"]], "moment")
        self._moved = _by_item(moved, "date")
        self._known: dict[tuple[str, np.datetime64], float] = {}

    def before(self, item: str, moment: np.datetime64) -> float:
        """Never below 0."""
        if (item, moment) not in self._known:
            counted, found = self._counts.get(item, _NOTHING)
            moved, amounts = self._moved.get(item, _NOTHING)
            last = int(counted.searchsorted(moment, side="right")) - 1
            begin = int(moved.searchsorted(counted[last])) if last >= 0 else 0
            since = sum_in_order(amounts[begin : int(moved.searchsorted(moment))])
            self._known[item, moment] = max(0.0, (float(found[last]) if last >= 0 else 0.0) + since)
        return self._known[item, moment]


_InTime = tuple[NDArray[np.datetime64], NDArray[np.float64]]
_NOTHING: _InTime = np.zeros(0, dtype="datetime64[us]"), np.zeros(0)


def _by_item(table: "pd.DataFrame", time: str) -> dict[str, _InTime]:
    """Times in order, and amounts, by item."""
    table = table.sort_values(time, kind="stable")
    when, amounts = table[time].to_numpy(), table["amount"].to_numpy()
    return {item: (when[rows], amounts[rows]) for item, rows in rows_by(table, "item").items()}
