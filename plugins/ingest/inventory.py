"""The inventory log: one row per movement or count of an item.

    date,item,move,amount,cost,uncertainty,note
    2026-04-01,alloy,counted,11 lb 4 oz,,,
    2026-04-03,hook-2,received,100,22.00,,two packs

The metal of rejects and sprues goes back to the pot: it never left the store, so it needs no row. An insert
leaves when it is cast in, good or bad; one cut out of a reject and kept is `recovered`.
"""

from collections.abc import Iterable, Mapping

from benchwater.plugin import Bench, Column, LogKind, RowProblem, hookimpl, phrases

MOVES = ("received", "counted", "used", "discarded", "recovered")


MOVE_PHRASES = (
    (
        "received",
        phrases(
            "bought, buy, buying, got, get, purchased, purchase, arrived, delivered, delivery, "
            "gift, gifted, given to me, was given, got as gift, in, came, came in, restock, "
            "restocked, stock in, receive, recieved, recived, recd, rec'd, picked up, new, added, "
            "add, acquired, bougth, baught, purchased new"
        ),
    ),
    (
        "counted",
        phrases(
            "have, count, counting, inventory, on hand, stocktake, stock take, weighed, weigh, "
            "left, left over, remaining, what is left, still have, on the shelf, in stock, audit, "
            "there is, there are, have left, still there, counted up, weighed up, what i have, "
            "got left, balance, remain, remains, remainder, countd"
        ),
    ),
    ("used", phrases("use, used up, uses, using, consumed, consume, tied up, used it, usd")),
    (
        "discarded",
        phrases(
            "threw out, thrown out, threw away, thrown away, throw out, throw away, tossed, toss, "
            "tossed out, trash, trashed, dumped, dump, binned, bin, scrapped, spoiled, spoilt, "
            "spilled, spilt, spill, waste, wasted, dross, skimmed, skimmings, garbage, chucked, "
            "chucked out, discard, junked, went bad, rubbish, thrown, ruined, disposed, disposed "
            "of, discareded"
        ),
    ),
    (
        "recovered",
        phrases(
            "reclaimed, reclaim, got back, recycled, recycle, salvaged, salvage, cut out, "
            "recover, reused, reuse, brought home, came back, rescued, recoverd, retrieved"
        ),
    ),
)


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
        Column(
            name="date",
            meaning="day of the movement or count",
            kind="date",
            needed=True,
            everyday=phrases(
                "day, when, dated, date of move, on, dat, dte, bought on, date bought, purchase date, "
                "counted on, entry date"
            ),
        ),
        Column(
            name="item",
            meaning="an item in bench.toml",
            kind="name",
            needed=True,
            refers_to="item",
            everyday=phrases(
                "what, what it is, thing, things, stuff, product, article, part, supply, supplies, stock "
                "item, material, materials, item name, name, goods, which, itme, itm, iten, ingredient, "
                "component"
            ),
        ),
        Column(
            name="move",
            meaning="received, counted, used, discarded or recovered",
            kind="word",
            needed=True,
            words=MOVES,
            also=("movement",),
            word_phrases=MOVE_PHRASES,
            everyday=phrases(
                "what, in or out, in out, action, what happened, what i did, what did i do, did what, "
                "what was done, type, type of move, kind, kind of move, transaction, transaction type, "
                "event, change, entry, why, movment, mvoe, moved, activity, in/out, operation, direction, "
                "doing, happened"
            ),
        ),
        Column(
            name="amount",
            meaning="quantity with unit, or a plain count for counted items",
            kind="amount",
            needed=True,
            also=("qty", "quantity"),
            everyday=phrases(
                "how many, how much, number, number of, count, pcs, pieces, weight, amt, amonut, ammount, "
                "amout, qnty, quanity, quantiy, pc, size of move, how much or how many, amount moved, "
                "volume, num, cnt"
            ),
        ),
        Column(
            name="cost",
            meaning="money paid for the row",
            kind="money",
            also=("paid", "price paid"),
            everyday=phrases(
                "money, spent, total price, total cost, money spent, paid total, total paid, what it "
                "cost, what i paid, cost me, bill, receipt total, amount paid, usd, dollars, eur, euros, "
                "gbp, pounds sterling, $, how much money, cots, csot, i paid, expense"
            ),
        ),
        Column(
            name="uncertainty",
            meaning="standard uncertainty of the amount",
            kind="spread",
            everyday=phrases(
                "plus minus, plus or minus, give or take, error, accuracy, margin, +/-, how sure, "
                "tolerance, std uncertainty, standard uncertainty, uncert, uncertanty, uncertainity"
            ),
        ),
        Column(
            name="note",
            meaning="free text",
            kind="text",
            also=("notes", "remark", "remarks"),
            everyday=phrases(
                "comment, comments, memo, details, observation, observations, what else, other notes, "
                "nots, misc, extra notes, supplier, shop, store, vendor, bought from, from where, where "
                "from"
            ),
        ),
    ),
    check=check_row,
)


@hookimpl
def log_kinds() -> Iterable[LogKind]:
    """The inventory log."""
    return [INVENTORY]
