"""The section's plots: the stock of the main metal by the book, and where that metal went."""

from collections.abc import Sequence
from math import isfinite

import numpy as np

from benchwater.ledger import midnight
from benchwater.plugin import Figure, Season

from .lines import Line

POUND_G = 453.59237


def stock_figure(lines: Sequence[Line], season: Season) -> tuple[Figure, ...]:
    """The stock of the metal that most was poured of: the book from each count on, and the counts."""
    metals = [line for line in lines if line.item.kind == "metal" and line.chain is not None]
    main = max(metals, key=lambda line: line.balance.flows.get("in_castings", 0.0), default=None)
    if main is None or main.chain is None or main.item.unit != "g":
        return ()
    from benchwater import plots

    size, label = (POUND_G, "lb") if season.bench.system == "us" else (1000.0, "kg")
    counts, name = main.chain.counts, main.item.name
    figure, axes = plots.new_figure(plots.HALF_MM, 62)
    ends = [*(count.moment for count in counts[1:]), midnight(season.end)]
    for number, (count, end) in enumerate(zip(counts, ends, strict=True)):
        moved = main.book.ledger.between(count.moment, end)
        moved = moved.take(np.argsort(moved.when, kind="stable"))
        begin, close = np.array([[count.moment], [end]], dtype="datetime64[us]")
        days = np.concatenate([begin, moved.when, close])
        stock = np.cumsum(np.concatenate([[count.amount], moved.amount, [0.0]]) / size)
        drawn = plots.thinned_steps(days, stock)
        plots.steps(axes, days[drawn], stock[drawn], label="" if number else "by the book")
    found = [count.amount / size for count in counts]
    plots.points(axes, [count.moment for count in counts], found, series=1, label="counted")
    plots.date_axis(axes)
    plots.legend(axes)
    axes.set_ylabel(f"{name}, {label}")
    axes.set_ylim(bottom=0)
    gaps = [abs(main.chain.gap(stretch)) for stretch in range(len(counts) - 1)]
    widest = gaps.index(max(gaps))
    alt = (
        f"The book of {name} misses its count most on {main.day(counts[widest + 1].day)}, by "
        f"{season.bench.show(gaps[widest], 'g')}. Drawn is its stock from each of {len(counts)} "
        "counts to the next."
    )
    title = f"Stock of {name} by the book, and counted"
    return (Figure(id="stock", title=title, alt=alt, svg=plots.to_svg(figure)),)


def flow_figure(lines: Sequence[Line], season: Season) -> tuple[Figure, ...]:
    """Where the metal that most was poured of came from and went, from its first count to its last."""
    metals = [line for line in lines if line.item.kind == "metal" and isfinite(line.balance.unaccounted)]
    main = max(metals, key=lambda line: line.balance.flows.get("in_castings", 0.0), default=None)
    if main is None or not main.balance.flows.get("in_castings"):
        return ()
    from benchwater import plots

    balance, unit, name = main.balance, main.item.unit, main.item.name
    off = balance.unaccounted if main.verdict in {"missing", "surplus"} else 0.0
    flows, show = balance.flows, season.bench.show

    def stream(word: str, amount: float, odd: bool = False) -> plots.Flow:
        return plots.Flow(f"{word}\n{show(amount, unit)}", amount, odd)

    into = [
        stream("at the start", balance.opening),
        stream("bought", flows.get("received", 0.0)),
        stream("melted back", flows.get("recovered", 0.0)),
        stream("came in\nwithout a row", -off, odd=True),
    ]
    out = [
        stream("good castings", flows["in_castings"]),
        stream("used", flows.get("used", 0.0)),
        stream("thrown away", flows.get("discarded", 0.0)),
        stream("went without a row", off, odd=True),
        stream("counted at the end", balance.counted),
    ]
    figure, axes = plots.new_figure(plots.HALF_MM, 62)
    plots.flow(axes, into, out, name)
    told = [each.name.replace("\n", " ") for each in (*into, *out) if each.amount > 0]
    odd = [each.name.replace("\n", " ") for each in (*into, *out) if each.odd and each.amount > 0]
    text = f"{odd[0].capitalize()} of {name}. " if odd else f"What went into and out of the {name} agrees. "
    text += f"Its season: {', '.join(told)}."
    title = f"Where the {name} came from, and what became of it"
    return (Figure(id="flow", title=title, alt=text, svg=plots.to_svg(figure)),)
