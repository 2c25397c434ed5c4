"""Tables and figures of the section."""

from collections.abc import Sequence

from benchwater import plots
from benchwater.ledger.stock import table_unit
from benchwater.plugin import Bench, Card, CardLine, Cell, Figure, Span, Table
from benchwater.words import counted, listed, make_columns, make_table

from .compute import LookBack, Plan
from .findings import MOST_NAMED, cost_words, how_long, packs, promise, years_on_hand

MOST_DRAWN = 16
COLUMNS = make_columns(
    *(
        (name, name.capitalize())
        for name in ("build", "mold", "cavity", "coat", "fills", "needed", "lacking", "ended")
    ),
    *(("on_hand", "On hand"), ("expected_losses", "Losses expected", None, 1), ("target_stock", "Target")),
    *(("to_make", "To make"), ("yielded", "Good castings", None, 1), ("surplus", "Surplus", None, 1)),
    *(("planned_hours", "Hours planned", "h", 1), ("fished_hours", "Hours fished", "h", 1)),
)
PARTS = make_columns(
    *(("item", "Item"), ("needed", "Needed"), ("on_hand", "On hand"), ("packs", "Packs")),
    *(("cost", "Cost", "money"), ("unit", "Unit")),
    hidden="unit",
    unit_from={"needed": "unit", "on_hand": "unit"},
)


def tables(plan: Plan, bench: Bench) -> tuple[Table, ...]:
    """Baits to have, and castings on hand; fills and parts where anything can be foreseen."""
    planned = () if plan.thin else (_fills_table(plan), _buy_table(plan, bench))
    return (_demand_table(plan), *planned, _pieces_table(plan))


def card(plan: Plan, bench: Bench, span: Span) -> Card:
    """What to pour, finish and buy, each beside what is on hand: to pin up above the pot."""
    resting = [f"{mold} (enough for {how_long(months)})" for mold, months in years_on_hand(plan).items()]
    pours = [f"{counted(fills, 'fill')} of {mold}" for mold, fills in plan.pour.fills.items() if fills]
    baits = [f"{need.to_make} {need.build.name}" for need in plan.to_make]
    buys = [f"{packs(p, bench)} ({cost_words(p, bench)})" for p in plan.to_buy]
    done = bool(pours or baits or buys)
    lines = [
        CardLine(
            label="Pour",
            text=listed(pours, MOST_NAMED) + (", after warming up" if pours else "nothing"),
            findings=("plan", "fills"),
        ),
        CardLine(label="Finish", text=listed(baits, MOST_NAMED) or "nothing", findings=("plan",)),
        CardLine(label="Buy", text=listed(buys, MOST_NAMED) or "nothing", findings=("plan", "spend")),
    ]
    if plan.waiting:
        waits = listed([" ".join(casting) for casting in plan.waiting], MOST_NAMED)
        lines.insert(0, CardLine(label="First", text=f"get {waits} to work", findings=("mold_first",)))
    if resting:
        lines.append(CardLine(label="Pour none of", text=listed(resting, MOST_NAMED), findings=("enough",)))
    text = promise(plan, bench, span, done=done)
    lines.append(CardLine(label="How sure", text=text, findings=("plan",)))
    boxes = (_box_table(plan), _buy_table(plan, bench, "card_buy", "Buy"))
    return Card(
        id="pour", title="What to pour and buy", order=20, lines=tuple(lines), tables=boxes, wide=True
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


def _buy_table(
    plan: Plan, bench: Bench, id: str = "buy", title: str = "Parts of the plan, and packs to buy"
) -> Table:
    parts = plan.parts
    return make_table(
        id,
        title,
        " ".join(PARTS),
        [(p.item.name, p.needed, p.on_hand, p.packs, p.cost, p.item.unit) for p in parts],
        PARTS,
        print_units=[table_unit(bench, p.item) for p in parts],
        print_rows=sum(p.needed != 0 for p in parts),
        paper_rows=0 if id == "buy" else None,
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
