"""What is said of the season ahead: findings, advice, tables and the card."""

from collections.abc import Iterator
from datetime import date
from math import floor, isnan

from benchwater.ledger.stock import table_unit
from benchwater.plugin import Action, Bench, Card, CardLine, Cell, Finding, Span, Table
from benchwater.words import MONTHS, counted, day_words, listed, make_columns, make_finding, make_table

from .ahead import AGE_WEIGHT, SPREAD_WEIGHT, USUAL_SPREAD, SeasonAhead
from .findings import cost_words, packs

COLUMNS = make_columns(
    *(("build", "Build"), ("until", "Until"), ("on_hand", "On hand"), ("target_stock", "To have")),
    *(("expected_losses", "Losses expected", None, 1), ("to_make", "To make"), ("hours", "Hours", "h", 0)),
    *(("evening", "Evening"), ("by", "By"), ("work", "Work"), ("what", "What"), ("amount", "How many")),
    *(("mold", "Mold"), ("fills", "Fills"), ("evenings", "Evenings")),
)
SHOPPING = make_columns(
    *(("item", "Item"), ("needed", "Needed"), ("on_hand", "On hand"), ("packs", "Packs")),
    *(("cost", "Cost", "money"), ("order_by", "Order by"), ("unit", "Unit")),
    hidden="unit",
    unit_from={"needed": "unit", "on_hand": "unit"},
)
METHODS = (
    "Losses of the season ahead: each build's from every season logged, one of n years ago counted as "
    f"{AGE_WEIGHT:g} to the power of n of it (a power prior, Ibrahim & Chen 2000, Statistical Science "
    "15:46-60; the weight is a project choice, no source), with a gamma prior that the builds share (Clayton "
    "& Kaldor 1987, Biometrics 43:671-681). The rate is less sure by the scatter of trips (Pearson's "
    "chi-square over its degrees of freedom) and by what seasons differ: the moment estimate (the principle "
    f"of DerSimonian & Laird 1986, Controlled Clinical Trials 7:177-188), drawn to {100 * USUAL_SPREAD:g} % "
    f"as by {SPREAD_WEIGHT:g} seasons more (project choice, no source), as few seasons hardly tell. A "
    "bad season hits all builds at once; the promise takes them as independent, so that it holds more often "
    "(Esary, Proschan & Walkup 1967, Annals of Mathematical Statistics 38:1466-1474).",
    "Hours: `planned_hours` a month where bench.toml states them, else those of a month of fishing in the "
    "seasons logged, over the months of the year from the first to the last that is fished. Stock, targets, "
    "fills and parts are made as for the month ahead.",
    "Evenings: as many fills, and as many coated pieces, as the median evening of the logs, and as many "
    "days apart where so many days are left; counted back from the first "
    "day of the first month to be fished. Order by: the lead time before the first of them.",
)


def findings(ahead: SeasonAhead, bench: Bench, span: Span) -> Iterator[Finding]:
    """The work in a sentence, the losses, the evenings, the money, and what is not known."""
    plan = ahead.plan
    yield Finding(
        id="season_plan",
        text=f"{_work_text(ahead)} {_promise(ahead, bench, span)}",
        value=float(sum(need.to_make for need in plan.needs)),
        unit="pieces",
        n=plan.ends,
        more={"service_level": plan.level, "sure": plan.sure, "until": ahead.until},
        headline=True,
        ahead=True,
    )
    mean, low, high = ahead.losses
    seasons = counted(ahead.seasons.number, "season")
    text = f"About {mean:.0f} baits (somewhere between {low} and {high}) may go from {_when(ahead, span)}"
    text += f", by {seasons} and {counted(plan.ends, 'bait')} gone so far."
    if ahead.seasons.number == 1:
        text += " One season cannot show how much seasons differ, so the range is wide."
    more: dict[str, Cell] = {"seasons": ahead.seasons.number, "spread": ahead.seasons.spread}
    more |= {"scatter": ahead.seasons.scatter, "hours": ahead.hours}
    yield make_finding("losses_ahead", text, (mean, low, high), "baits", n=plan.ends, more=more)
    usual = sum(ahead.seasons.hours.values()) * len(ahead.months)
    text = f"This is for {bench.show(ahead.hours, 'h', 0)} of fishing, each bait's counted."
    if ahead.hours > 1.5 * usual > 0:
        text += (
            f" At the pace of {counted(ahead.seasons.number, 'season')} logged it would be "
            f"{bench.show(usual, 'h', 0)}: state fewer `planned_hours` in "
        )
        text += "bench.toml if you fish less, and the plan asks for less."
    yield Finding(id="hours_ahead", text=text, value=ahead.hours, unit="h", more={"usual_h": usual})
    n, first = len(ahead.evenings), ahead.evenings[0].by if ahead.evenings else None
    text = (
        f"{counted(n, 'evening')} of work, begin {_by(ahead.evenings[0].by, span)}."
        if n
        else "No evening of work."
    )
    yield Finding(
        id="evenings", text=text, value=float(n), unit="pieces", n=n, more={"first_by": first}, quiet=not n
    )
    yield _cost(ahead, bench)
    for mold in [" ".join(casting) for casting in plan.waiting]:
        text = f"Get {mold} to work first: no bait that needs it is in this plan."
        yield Finding(id="mold_first", text=text, group=mold)
    for name in [part.item.name for part in plan.parts if isnan(part.short)]:
        text = f"How much {name} to buy is not known: it was never counted, or no build gives the grams."
        yield Finding(id="not_known", text=text, group=name)


def actions(ahead: SeasonAhead, span: Span) -> tuple[Action, ...]:
    """Begin in time, where there is anything to make or to buy."""
    plan = ahead.plan
    if not ahead.evenings and not plan.to_buy:
        return ()
    orders = [day for day in ahead.order_by.values() if day is not None]
    text = "Get ready for next season: "
    if plan.to_buy:
        when = f" {_by(min(orders), span)}" if orders else ""
        text += f"order {listed([part.item.name for part in plan.to_buy], 4)}{when}"
        text += ", and " if ahead.evenings else "."
    if ahead.evenings:
        text += (
            f"begin the {counted(len(ahead.evenings), 'evening')} of work {_by(ahead.evenings[0].by, span)}."
        )
    mean, low, high = ahead.losses
    because = f"About {mean:.0f} baits ({low} to {high}) may go from {_when(ahead, span)}."
    spared = sum(need.spared(need.to_make) for need in plan.to_make)
    if spared <= 0:
        return (Action(id="season-ahead", text=text, because=because),)
    return (Action(id="season-ahead", text=text, because=because, worth=spared, worth_unit="baits"),)


def card(ahead: SeasonAhead, bench: Bench, span: Span) -> Card:
    """The season ahead on one page: losses, work, money, how sure, and the tables of all of it."""
    mean, low, high = ahead.losses
    lines = [
        CardLine(
            label="May be lost",
            text=f"about {mean:.0f} baits ({low} to {high}) from {_when(ahead, span)}",
            findings=("losses_ahead",),
        ),
        CardLine(label="Work", text=_work_text(ahead), findings=("season_plan", "evenings")),
        CardLine(label="Cost", text=_cost(ahead, bench).text, findings=("spend_ahead",)),
        CardLine(label="How sure", text=_promise(ahead, bench, span), findings=("season_plan",)),
    ]
    if ahead.evenings:
        line = CardLine(label="Begin", text=_by(ahead.evenings[0].by, span), findings=("evenings",))
        lines.insert(2, line)
    boxes = (
        _demand(ahead, "card_demand"),
        _shopping(ahead, bench, "card_shopping"),
        _evening_table(ahead, "card_evenings"),
    )
    tables = tuple(table for table in boxes if table.rows)
    return Card(
        id="season_ahead", title="The season ahead", order=70, lines=tuple(lines), tables=tables, wide=True
    )


def tables(ahead: SeasonAhead, bench: Bench) -> tuple[Table, ...]:
    """Baits to have, what to buy and when to order it, and the evenings of work."""
    return _demand(ahead, "demand"), _shopping(ahead, bench, "buy"), _evening_table(ahead, "evenings")


def _demand(ahead: SeasonAhead, id: str) -> Table:
    rows: list[tuple[Cell, ...]] = [
        (
            *(need.build.name, ahead.until, need.outlook.hours, need.on_hand),
            *(need.outlook.expected, need.target, need.to_make),
        )
        for need in ahead.plan.needs
        if id == "demand" or need.to_make
    ]
    title, columns = "Baits to have", "build until hours on_hand expected_losses target_stock to_make"
    if id != "demand":
        title, columns = "Baits to make", columns.replace("until ", "")
        rows = [(row[0], *row[2:]) for row in rows]
    return make_table(id, title, columns, rows, COLUMNS, print_rows=60, paper_rows=_on_paper(id))


def _shopping(ahead: SeasonAhead, bench: Bench, id: str) -> Table:
    parts = [part for part in ahead.plan.parts if part.needed != 0]
    parts = parts if id == "buy" else ahead.plan.to_buy
    rows: list[tuple[Cell, ...]] = [
        (
            *(part.item.name, part.needed, part.on_hand, part.packs, part.cost),
            *(ahead.order_by.get(part.item.name), part.item.unit),
        )
        for part in parts
    ]
    return make_table(
        id,
        "To buy",
        " ".join(SHOPPING),
        rows,
        SHOPPING,
        print_units=[table_unit(bench, part.item) for part in parts],
        print_rows=60,
        paper_rows=_on_paper(id),
    )


def _evening_table(ahead: SeasonAhead, id: str) -> Table:
    rows: list[tuple[Cell, ...]]
    if id == "evenings":
        rows = [
            (number, evening.by, evening.work, name, amount)
            for number, evening in enumerate(ahead.evenings, start=1)
            for name, amount in evening.amounts.items()
        ]
        columns = "evening by work what amount"
    else:
        rows = [
            (
                mold,
                fills,
                sum(mold in evening.amounts for evening in ahead.evenings if evening.work == "pour"),
            )
            for mold, fills in ahead.plan.pour.fills.items()
            if fills
        ]
        columns = "mold fills evenings"
    title = "Evenings of work" if id == "evenings" else "To pour"
    return make_table(id, title, columns, rows, COLUMNS, print_rows=60, paper_rows=_on_paper(id))


def _on_paper(id: str) -> int | None:
    return None if id.startswith("card_") else 0  # the card has them


def _work_text(ahead: SeasonAhead) -> str:
    plan = ahead.plan
    fills = sum(plan.pour.fills.values())
    coated = sum(need.to_make for need in plan.to_make if need.build.coat is not None)
    made = sum(need.to_make for need in plan.to_make)
    steps = []
    if fills:
        steps.append(f"pour {counted(fills, 'fill')} in {counted(ahead.count('pour'), 'evening')}")
    if coated:
        steps.append(f"coat {counted(coated, 'piece')} in {counted(ahead.count('coat'), 'evening')}")
    if made:
        steps.append(f"dress {counted(made, 'bait')}")
    if plan.to_buy:
        steps.append(f"buy {counted(sum(part.packs or 1 for part in plan.to_buy), 'pack')}")
    text = listed(steps) or "nothing to pour, make or buy: what is on hand lasts"
    return f"{text[0].upper()}{text[1:]}."


def _promise(ahead: SeasonAhead, bench: Bench, span: Span) -> str:
    sure = bench.show(floor(100 * ahead.plan.sure) / 100, "1", 0)
    return f"Then it is {sure} sure that no build runs out before {_day(ahead.until, span)}."


def _cost(ahead: SeasonAhead, bench: Bench) -> Finding:
    parts = ahead.plan.to_buy
    costs = [part.cost for part in parts if part.cost is not None]
    bought = listed([f"{packs(part, bench)} ({cost_words(part, bench)})" for part in parts], 5)
    spend = sum(costs)
    text = f"{bench.show(spend, 'money')} for {bought}." if parts else "Nothing is to be bought."
    more: dict[str, Cell] = {"unpriced": len(parts) - len(costs)}
    return Finding(
        id="spend_ahead", text=text, value=spend, unit="money", n=len(parts), more=more, quiet=not parts
    )


def _by(day: date, span: Span) -> str:
    """`by 3 January 2027`, or `now`."""
    return f"by {_day(day, span)}" if day > span.end else "now"


def _when(ahead: SeasonAhead, span: Span) -> str:
    """`March to October 2027`."""
    first, last = ahead.months[0], ahead.until
    start = "" if first.year == last.year else f" {first.year}"
    return f"{MONTHS[first.month - 1]}{start} to {MONTHS[last.month - 1]} {last.year}"


def _day(day: date, span: Span) -> str:
    return day_words(day, span.end)
