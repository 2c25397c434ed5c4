"""What an item costs: the moving average of what was paid for it, else the price that bench.toml states."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import cache, partial
from math import isfinite

import numpy as np

from benchwater.ledger import computed_once, midnight, sum_in_order
from benchwater.ledger.log_columns import Rows, grouped, moments, numbers
from benchwater.ledger.made import spoilt_share
from benchwater.ledger.stock import Ledger
from benchwater.ledger.stock_books import keep_books
from benchwater.plugin.season import Season

FROM_RECEIPTS = "receipts"
FROM_BENCH = "bench.toml price"
NO_PRICE = "no price"
_NO_ROWS: Rows = np.zeros(0, dtype=np.int64)


@dataclass(frozen=True, slots=True)
class UnitPrice:
    """The price of one canonical unit of an item (1 g, 1 mL, 1 piece), None where nothing tells it.

    `source` is `FROM_RECEIPTS`, `FROM_BENCH` or `NO_PRICE`. `receipts` counts those that state a cost;
    `received` is all that came in, with or without a cost, and `spent` the money paid for it.
    """

    per_unit: float | None
    source: str
    receipts: int
    received: float = 0.0
    spent: float = 0.0


@computed_once
def unit_prices(season: Season, up_to: datetime) -> Mapping[str, UnitPrice]:
    """The price of every item of the bench, from what was received before `up_to`.

    Perpetual weighted average (cost formula of IAS 2, paragraphs 25 and 27, from memory): each receipt with a
    cost averages with the stock on hand just before it, at the average it then has. That stock is the last
    count rolled forward by the season's books, or what the rows add up to where nothing was counted yet, and
    never below 0. Stock that no receipt has priced (the opening, gifts, what was recovered) takes the average
    in force, or that of the first receipt with a cost. Counts and what leaves do not move the average. An
    item no receipt of which states a cost falls back on the price per pack of bench.toml.
    """
    books, _ = keep_books(season)
    when, amounts, costs = (
        moments(season, "inventory"),
        *(numbers(season, "inventory", n) for n in ("amount", "cost")),
    )
    of_item = grouped(season, "inventory", "item", "move").rows
    prices = {}
    for name, book in books.items():
        rows = of_item.get((name, "received"), _NO_ROWS)
        rows = rows[when[rows] < np.datetime64(up_to)]
        received, spent = sum_in_order(amounts[rows]), 0.0
        average, source, costed, today = None, NO_PRICE, 0, (datetime.min, 0.0)
        stock_before = cache(partial(_stock_before, book.ledger))
        for moment, amount, cost in zip(
            *(column[rows].tolist() for column in (when, amounts, costs)), strict=True
        ):
            earlier_today = today[1] if today[0] == moment else 0.0
            today = (moment, earlier_today + amount)
            if not isfinite(cost) or amount <= 0:
                continue
            before = 0.0 if average is None else stock_before(moment) + earlier_today
            average = ((average or 0.0) * before + cost) / (before + amount)
            costed, spent, source = costed + 1, spent + cost, FROM_RECEIPTS
        if average is None and book.item.price is not None and book.item.pack:
            average, source = book.item.price / book.item.pack, FROM_BENCH
        prices[name] = UnitPrice(average, source, costed, received, spent)
    return prices


def cost_of_reject(season: Season, mold: str, cavity: str) -> float | None:
    """What one reject of this cavity costs by its insert, at the report's end: 0 where it takes none.

    The insert at its `unit_prices`, as far as it is lost with the reject (`spoilt_share`); the metal goes
    back to the pot. None where nothing tells the price.
    """
    insert = season.bench.cavity(mold, cavity).insert
    if insert is None:
        return 0.0
    price = unit_prices(season, midnight(season.end))[insert].per_unit
    return None if price is None else price * spoilt_share(season, insert)


def _stock_before(ledger: Ledger, when: datetime) -> float:
    """What was on hand just before that moment; a movement of unknown size is left to the next count."""
    last = ledger.last_count(up_to=when)
    since, amount = (last.moment, last.amount) if last else (datetime.min, 0.0)
    moved = ledger.between(since, when).amount
    return max(0.0, amount + sum_in_order(moved[np.isfinite(moved)]))
