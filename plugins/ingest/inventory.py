"""The inventory log: one row per movement or count of an item.

    date,item,move,amount,cost,uncertainty,note
    2026-04-01,alloy,counted,11 lb 4 oz,,,
    2026-04-03,hook-2,received,100,22.00,,two packs

The metal of rejects and sprues goes back to the pot: it never left the store, so it needs no row. An insert
leaves when it is cast in, good or bad; one cut out of a reject and kept is `recovered`.

A row whose `item` is a finished bait is a row of the `builds` log:

    2026-05-31,perch-grub,counted,12,,,in the box
    2026-06-02,perch-grub,sold,2,9.00,,
"""

from collections.abc import Iterable, Mapping
from pathlib import Path

from benchwater.plugin import Bench, Column, LogKind, RowProblem, SideBySide, hookimpl, with_everyday_words

MOVES = ("received", "counted", "used", "discarded", "recovered")
BAIT_MOVES = ("received", "counted", "given", "sold", "discarded")


def check_row(row: Mapping[str, object], bench: Bench) -> Iterable[RowProblem]:
    """Money is paid for what is received; nothing else has a cost."""
    if row["cost"] is not None and row["move"] != "received":
        yield RowProblem(
            column="cost",
            why=f"stands on a row that is `{row['move']}`, and only what is `received` costs money",
        )


INVENTORY = LogKind(
    name="inventory",
    title="Inventory log",
    columns=(
        Column(name="date", meaning="day of the movement or count", kind="date", needed=True),
        Column(name="item", meaning="an item in bench.toml", kind="name", needed=True, refers_to="item"),
        Column(
            name="move",
            meaning="received, counted, used, discarded or recovered",
            kind="word",
            needed=True,
            words=MOVES,
            also=("movement",),
        ),
        Column(
            name="amount",
            meaning="quantity with unit, or a plain count for counted items",
            kind="amount",
            needed=True,
            also=("qty", "quantity"),
        ),
        Column(name="cost", meaning="money paid for the row", kind="money", also=("paid", "price paid")),
        Column(name="uncertainty", meaning="standard uncertainty of the amount", kind="spread"),
        Column(name="note", meaning="free text", kind="text", also=("notes", "remark", "remarks")),
    ),
    check=check_row,
    side_by_side=SideBySide(
        word="move",
        number="amount",
        only=(("cost", ("received",)),),
        zero_counts=("counted",),
        headings=(("used", ("out", "went out", "taken out")),),
    ),
    also_called=("stock", "inventory", "stores", "shopping", "bought", "purchase", "supplies"),
)


def check_bait_row(row: Mapping[str, object], bench: Bench) -> Iterable[RowProblem]:
    """Money goes for what is received, and comes for what is sold."""
    if row["cost"] is not None and row["move"] not in {"received", "sold"}:
        yield RowProblem(
            column="cost",
            why=f"stands on baits that were `{row['move']}`: only what is `received` or `sold` has a price",
        )


BUILDS = LogKind(
    name="builds",
    title="Inventory log: finished baits",
    part_of="inventory",
    columns=(
        Column(name="date", meaning="day of the move or count", kind="date", needed=True),
        Column(
            name="build",
            meaning="a finished bait in bench.toml",
            kind="name",
            needed=True,
            refers_to="build",
        ),
        Column(
            name="move",
            meaning="received (bought or given), counted, given (away), sold or discarded",
            kind="word",
            needed=True,
            words=BAIT_MOVES,
        ),
        Column(name="amount", meaning="how many baits", kind="count", needed=True),
        Column(name="cost", meaning="money paid for the row, or got where it is sold", kind="money"),
        Column(name="note", meaning="free text", kind="text"),
    ),
    check=check_bait_row,
)


@hookimpl
def log_kinds() -> Iterable[LogKind]:
    """The inventory log, and its rows about finished baits."""
    here = Path(__file__).parent
    return [
        with_everyday_words(INVENTORY, here / "inventory.toml"),
        with_everyday_words(BUILDS, here / "builds.toml"),
    ]
