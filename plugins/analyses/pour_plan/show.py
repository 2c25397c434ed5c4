"""Tables and figures of the section."""

from collections.abc import Mapping, Sequence
from datetime import date

from benchwater import plots
from benchwater.ledger.stock import table_unit
from benchwater.plugin import Bench, Card, CardLine, Cell, Figure, Span, Table
from benchwater.words import counted, listed, make_columns, make_table

from .ahead import SeasonAhead, by_words, promise_ahead, spend_ahead, when_words, work_text
from .compute import LookBack, Part, Plan
from .findings import MOST_NAMED, cost_words, how_long, packs, promise, years_on_hand

MOST_DRAWN = 16
BUY = "Parts of the plan, and packs to buy"
COLUMNS = make_columns(
    *((name, name.capitalize()) for name in "build mold cavity coat fills needed lacking ended".split()),
    *((name, name.capitalize()) for name in "until evening evenings by work what".split()),
    *(("on_hand", "On hand"), ("expected_losses", "Losses expected", None, 1), ("target_stock", "To have")),
    *(("to_make", "To make"), ("yielded", "Good castings", None, 1), ("surplus", "Surplus", None, 1)),
    *(("planned_hours", "Hours planned", "h", 1), ("fished_hours", "Hours fished", "h", 1)),
    *(("hours", "Hours", "h", 0), ("amount", "How many")),
)
PARTS = make_columns(
    *(("item", "Item"), ("needed", "Needed"), ("on_hand", "On hand"), ("packs", "Packs")),
    *(("cost", "Cost", "money"), ("order_by", "Order by"), ("unit", "Unit")),
    hidden="unit",
    unit_from={"needed": "unit", "on_hand": "unit"},
)


def tables(plan: Plan, bench: Bench) -> tuple[Table, ...]:
    """Baits to have, and castings on hand; fills and parts where anything can be foreseen."""
    planned = () if plan.thin else (_fills_table(plan), _parts_table(plan.parts, bench, "buy", BUY))
    return (_demand_table(plan), *planned, _pieces_table(plan))


def card(plan: Plan, bench: Bench, span: Span) -> Card:
    """What to pour, finish and buy, each beside what is on hand: to pin up above the pot."""
    resting = [f"{mold} (enough for {how_long(months)})" for mold, months in years_on_hand(plan).items()]
    pours = [f"{counted(fills, 'fill')} of {mold}" for mold, fills in plan.pour.fills.items() if fills]
    baits = [f"{need.to_make} {need.build.name}" for need in plan.to_make]
    buys = [f"{packs(p, bench)} ({cost_words(p, bench)})" for p in plan.to_buy]
    done = bool(pours or baits or buys)
    waits = listed([" ".join(casting) for casting in plan.waiting], MOST_NAMED)
    lines = _lines(
        ("First", f"get {waits} to work" if waits else "", "mold_first"),
        ("Pour", listed(pours, MOST_NAMED) + (", after warming up" if pours else "nothing"), "plan fills"),
        ("Finish", listed(baits, MOST_NAMED) or "nothing", "plan"),
        ("Buy", listed(buys, MOST_NAMED) or "nothing", "plan spend"),
        ("Pour none of", listed(resting, MOST_NAMED), "enough"),
        ("How sure", promise(plan, bench, span, done=done), "plan"),
    )
    boxes = (_box_table(plan), _parts_table(plan.parts, bench, "card_buy", "Buy"))
    return Card(id="pour", title="What to pour and buy", order=20, lines=lines, tables=boxes, wide=True)


def _lines(*lines: tuple[str, str, str]) -> tuple[CardLine, ...]:
    """Lines of a card from (label, text, findings separated by spaces), those without a text left out."""
    return tuple(
        CardLine(label=label, text=text, findings=tuple(findings.split()))
        for label, text, findings in lines
        if text
    )


def _box_table(plan: Plan) -> Table:
    """Every cavity that a build takes: bare castings on hand, those lacking, and the fills that give them."""
    pour = plan.pour
    rows: list[tuple[Cell, ...]] = [
        (*casting, plan.pieces.bodies.get((*casting, None), 0), needed, pour.fills.get(casting[0], 0))
        for casting, needed in pour.needed.items()
    ]
    return _table("card_pour", "Pour", "mold cavity on_hand lacking fills", rows)


def losses_table(found: LookBack) -> Table:
    """Losses foreseen at the start of a month, and what happened, by build."""
    rows: list[tuple[Cell, ...]] = []
    for outlook in found.outlooks:
        foreseen = (None, None) if found.thin else (outlook.expected, outlook.at(found.level))
        name = outlook.build.name
        rows.append((name, outlook.hours, *foreseen, found.hours[name], found.ended[name]))
    columns = "build planned_hours expected_losses target_stock fished_hours ended"
    return _table("losses", "Losses foreseen at the start, and what happened", columns, rows)


def _table(id: str, title: str, columns: str, rows: Sequence[tuple[Cell, ...]], note: str = "") -> Table:
    paper = None if id == "losses" else 0  # the card and the picture have the others
    return make_table(id, title, columns, rows, COLUMNS, note=note, print_rows=60, paper_rows=paper)


def _demand_table(plan: Plan) -> Table:
    foreseen = not plan.thin
    rows: list[tuple[Cell, ...]] = []
    for need in plan.needs:
        ahead = (need.outlook.expected, need.target, need.to_make) if foreseen else (None, None, None)
        rows.append((need.build.name, need.on_hand, *ahead))
    idle = [need.build.name for need in plan.needs if not (need.outlook.hours or need.outlook.left_out)]
    note = "A build without a coat has every bare casting of its head on hand that no other needs."
    note += f" No hours are planned for {listed(idle, MOST_NAMED)}." if idle and foreseen else ""
    if earlier := sum(plan.pieces.earlier.values()):
        note += f" {counted(earlier, 'casting')} used so far must be from before the logs began."
    title = "Baits: on hand, and to have" if foreseen else "Baits on hand"
    return _table("demand", title, "build on_hand expected_losses target_stock to_make", rows, note)


def _fills_table(plan: Plan) -> Table:
    pour = plan.pour
    rows = [
        (cast[0], pour.fills[cast[0]], cast[1], given, pour.needed[cast], given - pour.needed[cast])
        for cast, given in pour.yielded.items()
    ]
    return _table("fills", "Fills", "mold fills cavity yielded needed surplus", rows)


def _parts_table(
    parts: Sequence[Part],
    bench: Bench,
    id: str,
    title: str,
    order_by: Mapping[str, date | None] | None = None,
) -> Table:
    """Parts and packs to buy, those not needed last; with the day to order them by where that is given."""
    names = list(PARTS)
    if order_by is None:
        names.remove("order_by")
    rows = []
    for part in parts:
        days = () if order_by is None else (order_by.get(part.item.name),)
        cells = (part.item.name, part.needed, part.on_hand, part.packs, part.cost)
        rows.append((*cells, *days, part.item.unit))
    return make_table(
        id,
        title,
        " ".join(names),
        rows,
        PARTS,
        print_units=[table_unit(bench, part.item) for part in parts],
        print_rows=sum(part.needed != 0 for part in parts),
        paper_rows=0,
    )


def _pieces_table(plan: Plan) -> Table:
    bodies = plan.pieces.bodies.items()
    rows = [(mold, cavity, coat or "bare", count) for (mold, cavity, coat), count in bodies]
    note = "Those on baits are among them."
    return _table("pieces", "Castings on hand", "mold cavity coat on_hand", rows, note)


def figures(plan: Plan) -> tuple[Figure, ...]:
    """Baits on hand and losses expected, of the builds that lose most."""
    needs = [need for need in plan.needs if need.on_hand is not None]
    needs = sorted(needs, key=lambda need: -need.outlook.expected)[:MOST_DRAWN]
    if not needs:
        return ()
    names, outlooks = [need.build.name for need in needs], [need.outlook for need in needs]
    figure, axes = plots.new_figure(plots.HALF_MM, 24 + 5.5 * max(4, len(needs)))
    low, high = ([outlook.at(level) for outlook in outlooks] for level in (1 - plan.level, plan.level))
    on_hand = [need.on_hand or 0 for need in needs]
    most = max(
        2, *(2 * each for each in high), *sorted(on_hand)[:-1]
    )  # one long bar does not flatten the others
    plots.bars(axes, names, on_hand, series=2, label="on hand", most=most)
    middle, label = [outlook.expected for outlook in outlooks], "losses to expect, up to the target"
    plots.interval_points(axes, range(len(needs)), middle, low, high, series=1, label=label, horizontal=True)
    plots.legend(axes)
    axes.set_xlabel("baits")
    each = [f"{need.build.name} {need.on_hand} and {need.outlook.expected:.1f}" for need in needs]
    short = [need.build.name for need in needs if need.to_make]
    alt = f"Short of what the month may take: {listed(short)}. " if short else "No build is short. "
    alt += f"Baits on hand, and losses expected in the coming month: {listed(each)}."
    title = "On hand, and what the coming month may take"
    return (Figure(id="stock_and_losses", title=title, alt=alt, svg=plots.to_svg(figure)),)


def ahead_card(ahead: SeasonAhead, bench: Bench, span: Span) -> Card:
    """The season ahead on one page: losses, work, money, how sure, and the tables of all of it."""
    mean, low, high = ahead.losses
    begin = by_words(ahead.evenings[0].by, span) if ahead.evenings else ""
    lost = f"about {mean:.0f} baits ({low} to {high}) from {when_words(ahead, span)}"
    lines = _lines(
        ("May be lost", lost, "losses_ahead"),
        ("Work", work_text(ahead), "season_plan evenings"),
        ("Begin", begin, "evenings"),
        ("Cost", spend_ahead(ahead, bench).text, "spend_ahead"),
        ("How sure", promise_ahead(ahead, bench, span), "season_plan"),
    )
    columns = "build hours on_hand expected_losses target_stock to_make"
    baits = [(name, *row) for name, _, *row in _baits(ahead) if row[-1]]
    pours = [
        (mold, fills, sum(mold in each.amounts for each in ahead.evenings if each.work == "pour"))
        for mold, fills in ahead.plan.pour.fills.items()
        if fills
    ]
    boxes = (
        _table("card_demand", "Baits to make", columns, baits),
        _parts_table(ahead.plan.to_buy, bench, "card_shopping", "To buy", ahead.order_by),
        _table("card_evenings", "To pour", "mold fills evenings", pours),
    )
    tables = tuple(table for table in boxes if table.rows)
    return Card(id="season_ahead", title="The season ahead", order=70, lines=lines, tables=tables, wide=True)


def ahead_tables(ahead: SeasonAhead, bench: Bench) -> tuple[Table, ...]:
    """Baits to have, what to buy and when to order it, and the evenings of work."""
    columns = "build until hours on_hand expected_losses target_stock to_make"
    parts = [part for part in ahead.plan.parts if part.needed != 0]
    evenings = [
        (number, evening.by, evening.work, name, amount)
        for number, evening in enumerate(ahead.evenings, start=1)
        for name, amount in evening.amounts.items()
    ]
    return (
        _table("demand", "Baits to have", columns, _baits(ahead)),
        _parts_table(parts, bench, "buy", "To buy", ahead.order_by),
        _table("evenings", "Evenings of work", "evening by work what amount", evenings),
    )


def _baits(ahead: SeasonAhead) -> list[tuple[Cell, ...]]:
    rows: list[tuple[Cell, ...]] = []
    for need in ahead.plan.needs:
        outlook = need.outlook
        stock = (need.on_hand, outlook.expected, need.target, need.to_make)
        rows.append((need.build.name, ahead.until, outlook.hours, *stock))
    return rows
