"""Compose what to buy and the evenings of work for the season ahead, as lists to tick."""

from dataclasses import dataclass
from typing import Any

from benchwater.plugin.bench import Bench
from benchwater.plugin.section import Section, Table
from benchwater.words import counted, day_words

_DOES = {"pour": "{} fills of {}", "coat": "{} pieces with {}"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Errand:
    """One item to buy: how much, what it costs (empty where not known), and by when to order it."""

    item: str
    much: str
    cost: str
    order_by: str


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkLists:
    """The two lists: `errands`, and evenings as (number, latest day, what is done).

    `said` are the sentences of the plan: losses to expect, the work, and how sure it is to do.
    """

    said: tuple[str, ...]
    errands: tuple[Errand, ...]
    total: str
    evenings: tuple[tuple[int, str, str], ...]
    baits: tuple[tuple[str, int], ...]


def work_lists(section: Section, bench: Bench) -> WorkLists:
    """Return the lists of a section `season_ahead` that has a plan."""
    tables = {table.id: table for table in (*section.tables, *section.cards[0].tables)}
    bought = _rows(tables.get("card_shopping"))
    by_evening: dict[int, tuple[str, str, list[str]]] = {}
    for row in _rows(tables["evenings"]):
        day = day_words(row["by"], row["by"].replace(year=1))
        _, _, done = by_evening.setdefault(row["evening"], (day, row["work"], []))
        done.append(_DOES[row["work"]].format(row["amount"], row["what"]))
    costs = [row["cost"] for row in bought if row["cost"] is not None]
    return WorkLists(
        said=tuple(each.text for each in section.findings if each.id in {"season_plan", "losses_ahead"}),
        errands=tuple(
            Errand(
                item=row["item"],
                much=counted(row["packs"], "pack")
                if row["packs"]
                else bench.show(row["needed"] - max(0.0, row["on_hand"]), row["unit"], item=row["item"]),
                cost=bench.show(row["cost"], "money") if row["cost"] is not None else "",
                order_by=day_words(row["order_by"], row["order_by"].replace(year=1))
                if row["order_by"]
                else "",
            )
            for row in bought
        ),
        total=bench.show(sum(costs), "money") if costs else "",
        evenings=tuple(
            (number, day, f"{'Pour' if work == 'pour' else 'Coat'} {' and '.join(done)}")
            for number, (day, work, done) in by_evening.items()
        ),
        baits=tuple((row["build"], row["to_make"]) for row in _rows(tables["demand"]) if row["to_make"]),
    )


def _rows(table: Table | None) -> list[dict[str, Any]]:
    if table is None:
        return []
    names = [column.name for column in table.columns]
    return [dict(zip(names, row, strict=True)) for row in table.rows]
