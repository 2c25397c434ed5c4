"""Tables and figures of the section."""

from collections.abc import Mapping, Sequence

import numpy as np

from benchwater import plots
from benchwater.ledger import midnight
from benchwater.ledger.costs import BaitCost
from benchwater.ledger.stock import table_unit
from benchwater.plugin import Bench, Figure, Season, Table
from benchwater.units import heading_unit
from benchwater.words import day_words, make_columns, make_table

from .compute import Account, Bought, Costs

FEWEST_BARS, MOST_CURVES = 2, 4
MOST_BARS = 16
BARS = ("material", "rejects", "mold's share so far")
PER_BUILD = make_columns(
    *(("build", "Build"), ("material", "Material", "money"), ("rejects_share", "Rejects", "money")),
    *(
        ("mold_share", "Molds, so far", "money"),
        ("cost", "Cost", "money"),
        ("bought_price", "Bought", "money"),
    ),
    *(("saving", "Saving", "money"), ("low", "Low", "money"), ("high", "High", "money")),
)
BY_MOLD = make_columns(
    *(("mold", "Mold"), ("price", "Price", "money"), ("made", "Good castings", "pieces")),
    *(("saved", "Saved", "money"), ("remaining", "Still to save", "money")),
)
SPENT = make_columns(
    *(("item", "Item"), ("received", "Received"), ("spent", "Spent", "money"), ("unit", "Unit")),
    hidden="unit",
    unit_from={"received": "unit"},
)


def tables(found: Costs, bench: Bench, whole_season: bool) -> tuple[Table, ...]:
    """Cost by build, accounts by mold, and purchases."""
    return (
        _builds_table(found.baits, whole_season),
        _molds_table(found.accounts, whole_season),
        _spent_table(found.bought, bench),
    )


def figures(found: Costs, season: Season) -> tuple[Figure, ...]:
    """Cost by build against the bought price, and how far each mold has paid for itself."""
    return (
        *_cost_figure(season.bench, found.baits),
        *_break_even_figure(season, found.accounts, found.baits),
    )


def _builds_table(baits: Mapping[str, BaitCost], whole_season: bool) -> Table:
    rows = []
    for name, bait in baits.items():
        parts = [each and each.estimate for each in (bait.material, bait.rejects)]
        saving = bait.saving
        limits = (saving.estimate, saving.low, saving.high) if saving is not None else (None, None, None)
        cost = bait.cost.estimate if bait.cost is not None else None
        rows.append((name, *parts, bait.mold_share, cost, bait.build.bought_price, *limits))
    note = "Saving is the shop's price less the cost; low to high is what the logs leave possible. The "
    note += "molds' share falls with each casting."
    names, title, most = " ".join(PER_BUILD), "What one bait costs", 40 if whole_season else 0
    return make_table("per_build", title, names, rows, PER_BUILD, note=note, print_rows=most)


def _molds_table(accounts: Sequence[Account], whole_season: bool) -> Table:
    rows = [
        (a.mold.name, a.mold.price, a.castings, a.saved if a.gain else None, a.remaining) for a in accounts
    ]
    note = "Saved counts dressed baits, not spare castings."
    names, title, most = " ".join(BY_MOLD), "What the molds have paid back", 40 if whole_season else 0
    return make_table("by_mold", title, names, rows, BY_MOLD, note=note, print_rows=most)


def _spent_table(bought: Sequence[Bought], bench: Bench) -> Table:
    """What came in, by item."""
    return make_table(
        "spent",
        "What was bought",
        " ".join(SPENT),
        [(each.item.name, each.received, each.spent, each.item.unit) for each in bought],
        SPENT,
        print_units=[table_unit(bench, each.item) for each in bought],
    )


def _cost_figure(bench: Bench, baits: Mapping[str, BaitCost]) -> tuple[Figure, ...]:
    """Cost by its parts against the bought price, one bar a build."""
    bars, texts = [], []
    for name, bait in baits.items():
        if bait.material is not None and bait.make is not None and bait.cost is not None:
            tops = [part.estimate for part in (bait.material, bait.make, bait.cost)]
            bars.append((name, tops, bait.build.bought_price))
            bought = bench.show(bait.build.bought_price, "money")
            texts.append(f"{name} {bench.show(tops[-1], 'money')} (bought {bought})")
    if len(bars) < FEWEST_BARS:
        return ()
    every = bars
    dearest = sorted(range(len(bars)), key=lambda row: -bars[row][1][-1])[:MOST_BARS]
    bars, texts = [bars[row] for row in sorted(dearest)], [texts[row] for row in sorted(dearest)]
    figure, axes = plots.new_figure(plots.HALF_MM, 26 + 5 * max(6, len(bars)))
    names = [name for name, *_ in bars]
    for series in reversed(range(len(BARS))):  # the longest first, so that each shorter one lies on it
        plots.bars(
            axes,
            names,
            [tops[series] for _, tops, _ in bars],
            series=series,
            label=BARS[series],
            pale=series == 2,
        )
    shops = [(bought, row) for row, (*_, bought) in enumerate(bars) if bought is not None]
    prices, rows = [bought for bought, _ in shops], [row for _, row in shops]
    plots.points(axes, prices, rows, series=3, label="a bought one")
    plots.legend(axes)
    axes.set_xlabel(heading_unit("money", system=bench.system, currency=bench.currency))
    axes.set_xlim(left=0)
    compared = [(tops[-1], bought) for _, tops, bought in every if bought is not None]
    cheaper = sum(made < bought for made, bought in compared)
    drawn = "" if len(bars) == len(every) else f" The {len(bars)} dearest"
    alt = f"{cheaper} of {len(compared)} builds cost less to make than to buy{'.' if drawn else ''}"
    alt += f"{drawn}: {', '.join(texts)}."
    title = "What one bait costs, and a bought one"
    return (Figure(id="cost", title=title, alt=alt, svg=plots.to_svg(figure)),)


def _break_even_figure(
    season: Season, accounts: Sequence[Account], baits: Mapping[str, BaitCost]
) -> tuple[Figure, ...]:
    """What each mold has saved so far as a share of its price, day by day, against the whole of it."""
    drawn = [(each, each.mold.price) for each in accounts if each.mold.price and len(each.steps)]
    drawn = sorted(drawn, key=lambda each: (-each[0].castings, each[0].mold.name))[:MOST_CURVES]
    if not drawn:
        return ()
    figure, axes = plots.new_figure(plots.HALF_MM, 26 + 5 * min(MOST_BARS, max(6, len(baits))))
    start, end = midnight(season.start), midnight(season.end)
    ends, texts = [], []
    for series, (account, price) in enumerate(drawn):
        begin, close = np.array([[start], [end]], dtype="datetime64[us]")
        days = np.concatenate([begin, np.maximum(account.steps.when, begin), close])
        saved_by = np.cumsum(np.concatenate([[0.0], account.steps.number, [0.0]]))
        kept = plots.thinned_steps(days, saved_by)
        plots.steps(axes, days[kept], 100 * saved_by[kept] / price, series=series)
        ends.append((100 * float(saved_by[-1]) / price, account.mold.name))
        share = f"{account.mold.name} has saved {season.bench.show(account.saved / price, '1')} of its price"
        paid = account.day if account.remaining == 0 else None
        texts.append(f"{share}, paid by {day_words(paid, season.end)}" if paid else f"{share}, not yet paid")
    top = max(110.0, *(1.05 * share for share, _ in ends))
    axes.set_ylim(min(0.0, *(share for share, _ in ends)), top)
    plots.reference_line(axes, "paid", y=100)
    plots.date_axis(axes)
    axes.set_ylabel("saved, % of the mold's price")
    plots.name_ends(axes, end, ends)
    alt = f"{'; '.join(texts)}."
    title = "How far each mold has paid for itself"
    return (Figure(id="break_even", title=title, alt=alt[0].upper() + alt[1:], svg=plots.to_svg(figure)),)
