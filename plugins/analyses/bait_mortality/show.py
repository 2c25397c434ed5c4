"""Tables and figures of the section."""

import math
from collections.abc import Iterator
from typing import Any

import numpy as np
import pandas as pd

from benchwater import plots
from benchwater.ledger.bait_lives import habitat_tags
from benchwater.plugin import Bench, Cell, Figure, Table
from benchwater.statistics.rates import ratio_of_totals
from benchwater.words import known, make_columns, make_table

from .compute import Mortality

Row = tuple[Cell, ...]
MOST_ON_PAPER, MOST_TAGGED = 10, 1000
COLUMNS = make_columns(
    *(("time_h", "in use", "h"), ("at_risk", "followed"), ("bait_hours", "hours fished", "h", 1)),
    *(("survival", "still in use", "1"), ("incidence", "share", "1", 0), ("rate", "lost per hour", "1/h", 2)),
    *(
        ("tag", "tag"),
        ("first_day", "first day"),
        ("last_day", "last day"),
        ("in_use_h", "hours in use", "h", 1),
    ),
    *(("ratio", "ratio", None, 1), ("p", "p", "p"), ("p_adjusted", "p adjusted", "p")),
)


def tables(found: Mortality) -> tuple[Table, ...]:
    """What becomes of a bait, rates, comparisons, losses by cause, tagged baits, and the curves drawn."""
    return (
        _cause_summary(found),
        _rates(found),
        _contrasts(found),
        _losses(found),
        *_tagged(found),
        *_curves(found),
    )


def figures(found: Mortality, bench: Bench) -> tuple[Figure, ...]:
    """The share still in use over hours, and the share ended by each cause where any bait ended."""
    survival = _survival_figure(found, bench)
    return (survival, _causes_figure(found, bench)) if found.causes else (survival,)


def _cause_summary(found: Mortality) -> Table:
    lives, horizon = found.lives["all"], found.horizon_h
    body: list[Row] = []
    for code, (cause, baits) in enumerate(found.causes.items(), start=1):
        share = lives.incidence[code].at(horizon)
        body.append((cause, baits, horizon, *known(share.estimate, share.low, share.high)))
    left = lives.survival.at(horizon)
    body.append(("still in use", None, horizon, *known(left.estimate, left.low, left.high)))
    note = "Baits that ended in these days, and the share that comes to each end by that time in use."
    columns = "cause baits time_h incidence low high"
    return make_table(
        "cause_summary", "What becomes of a bait", columns, body, COLUMNS, limits_of="incidence", note=note
    )


def _rates(found: Mortality) -> Table:
    """Losses per bait-hour, of all and by each group of each factor."""
    rows = found.summed
    parts: list[tuple[str, str, pd.Series[bool]]] = [("all", "all", rows["count"] > 0)]
    for factor in found.factors:
        if factor.name == "habitat":
            parts += [("habitat", tag, has) for tag, has in habitat_tags(rows).items()]
        elif len(groups := factor.groups) > 1:
            parts += [(factor.name, group, factor.labels == group) for group in groups]
    body: list[Row] = []
    ended, fished, trips = (rows[name].to_numpy() for name in ("ended", "hours", "trip_number"))
    for name, group, members in parts:
        own = members.to_numpy(dtype=bool)
        lost, hours = (np.bincount(trips[own], values[own]) for values in (ended, fished))
        rate = ratio_of_totals(lost[hours > 0], hours[hours > 0]) if hours.any() else None
        limits = (rate.ratio, rate.low, rate.high) if rate else (None, None, None)
        body.append((name, group, float(hours.sum()), int(lost.sum()), *limits))
    note = "Two baits out for an hour are two hours fished; lost counts the worn with them. Low and high are "
    note += "95 % limits. Habitat tags overlap; a factor with one group is left out."
    columns = "factor group bait_hours lost rate low high"
    return make_table(
        "rates",
        "How fast baits end",
        columns,
        body,
        COLUMNS,
        limits_of="rate",
        note=note,
        print_rows=60,
        paper_rows=MOST_ON_PAPER,
    )


def _contrasts(found: Mortality) -> Table:
    """Every comparison with its ratio, at 95 % and as adjusted; JSON only."""
    columns = "factor group against ratio low high p p_adjusted level adjusted_low adjusted_high"
    columns += " confounded_by trips"
    body: list[Row] = []
    for c in found.contrasts:
        ratios = (*known(c.rates.ratio, *c.limits), c.rates.p, c.p_adjusted, 1 - c.alpha, *known(*c.adjusted))
        doubt = c.doubt.factor if c.doubt else None
        body.append((c.name, c.group, c.against, *ratios, doubt, c.rates.trips))
    note = "Ratio of the rates of group and against, low and high its 95 % limits."
    if found.skipped:
        note += f" Too little to compare: {', '.join(found.skipped)}."
    return make_table(
        "contrasts",
        "Rates held against each other",
        columns,
        body,
        COLUMNS,
        limits_of="ratio",
        note=note,
        print_rows=0,
    )


def _losses(found: Mortality) -> Table:
    rows = found.rows
    baits = (
        rows[rows["ended"] > 0]
        .astype({"fate": object})
        .groupby(["fate", "cause"], as_index=False)[["ended"]]
        .sum()
    )
    baits = baits.sort_values(["fate", "ended", "cause"], ascending=[True, False, True])
    body = [(str(fate), str(cause), int(n)) for fate, cause, n in baits.itertuples(index=False)]
    return make_table("losses", "Baits lost and worn", "fate cause baits", body, COLUMNS, print_rows=12)


def _tagged(found: Mortality) -> Iterator[Table]:
    """What became of each bait that bore a tag; no table where none did."""
    rows = found.rows[found.rows["bait"].notna()]
    last = rows.drop_duplicates(["build", "bait", "life"], keep="last").sort_values(
        ["bait", "first_day", "build"]
    )
    words = {name: last[name].tolist() for name in ("bait", "build", "fate", "cause")}
    days = [_written(last[name]) for name in ("first_day", "date")]
    causes = [cause or None for cause in words["cause"]]
    cells = (words["bait"], words["build"], *days, last["time"].tolist(), words["fate"], causes)
    body = list(zip(*cells, strict=True))
    if body:
        yield make_table(
            "tagged",
            "What became of each tagged bait",
            "tag build first_day last_day in_use_h fate cause",
            body,
            COLUMNS,
            note="Hours from new, also before these days. A tag that goes on after a loss is a new bait.",
            print_rows=MOST_TAGGED,
            paper_rows=0,
        )


def _written(days: "pd.Series[Any]") -> list[str]:
    """Each day as `2026-04-05`."""
    of_row, different = pd.factorize(days.dt.normalize())
    return list(map(different.strftime("%Y-%m-%d").tolist().__getitem__, of_row))


def _curves(found: Mortality) -> tuple[Table, Table]:
    """Every step of the curves; JSON only."""
    survival: list[Row] = []
    incidence: list[Row] = []
    for group, both in found.lives.items():
        km = both.survival
        steps = (v.tolist() for v in (km.time, km.n_risk, km.n_event, km.share, km.low, km.high))
        survival += [(group, *step[:3], *known(*step[3:])) for step in zip(*steps, strict=True)]
        for cause, aj in zip(found.causes, both.incidence.values(), strict=True):
            steps = (v.tolist() for v in (aj.time, aj.share, aj.low, aj.high))
            incidence += [(group, cause, step[0], *known(*step[1:])) for step in zip(*steps, strict=True)]
    columns = "group time_h at_risk lost survival low high"
    title = "Share still in use"
    still = make_table("survival", title, columns, survival, COLUMNS, limits_of="survival", print_rows=0)
    columns = "group cause time_h incidence low high"
    title = "Share ended by each cause"
    ended = make_table("causes", title, columns, incidence, COLUMNS, limits_of="incidence", print_rows=0)
    return still, ended


def _survival_figure(found: Mortality, bench: Bench) -> Figure:
    """The share still in use over hours, with and without a leader where both are known."""
    lives, horizon = found.lives, found.horizon_h
    names = [name for name in lives if name != "all"] or ["all"]
    figure, ax = plots.new_figure(plots.HALF_MM, 52 + 4 * len(names))
    ticks, shares = _ticks(horizon), []
    for series, name in enumerate(names):
        curve, label = lives[name].survival, name if name != "all" else "all baits"
        last = min(horizon, curve.known_to)
        shown = curve.time <= last
        y, low, high = (np.r_[1.0, v[shown], v[shown][-1:]] for v in (curve.share, curve.low, curve.high))
        x = np.r_[curve.observed_from, curve.time[shown], [last] if shown.any() else []]
        plots.steps(ax, x, y, low=low, high=high, series=series, label=label)
        at_risk = lives[name].records.at_risk(np.asarray(ticks))
        plots.rows_below(ax, [(label, [str(baits) for baits in at_risk])])
        shares += [f"{label} {bench.show(curve.at(t).estimate, '1')} at {t:.3g} h" for t in (last / 2, last)]
    ax.set(xticks=ticks, xlabel="hours in use", ylabel="of 100 baits, still in use", ylim=(0, 1.02))
    ax.set_yticks([0, 0.25, 0.5, 0.75, 1], ["0", "25", "50", "75", "100"])
    plots.legend(ax)
    alt = f"Still in use, with 95 % bands: {', '.join(shares)}."
    title = "How long baits stay in use, and how many were followed"
    return Figure(id="survival", title=title, alt=alt, svg=plots.to_svg(figure))


def _causes_figure(found: Mortality, bench: Bench) -> Figure:
    """The share that each cause has ended, stacked over hours in use."""
    lives, horizon = found.lives["all"], found.horizon_h
    figure, ax = plots.new_figure(plots.HALF_MM, 60)
    shown = lives.survival.time <= horizon
    x = np.r_[lives.survival.observed_from, lives.survival.time[shown], horizon]
    parts, said = [], []
    for cause, curve in zip(found.causes, lives.incidence.values(), strict=True):
        top = curve.at(horizon).estimate
        parts.append(np.r_[0.0, curve.share[shown], top])
        said += [f"{cause} {bench.show(top, '1', 0)}"] if top else []
    left = bench.show(max(0.0, 1 - sum(float(part[-1]) for part in parts)), "1", 0)
    ax.set(xticks=_ticks(horizon), xlabel="hours in use", ylabel="of 100 baits", ylim=(0, 1))
    ax.set_yticks([0, 0.25, 0.5, 0.75, 1], ["0", "25", "50", "75", "100"])
    plots.stacked(ax, x, parts, list(found.causes), step=True, rest="still in use")
    alt = f"After {horizon:.3g} h in use: {', '.join([*said, f'still in use {left}'])}."
    return Figure(id="causes", title="What ends them", alt=alt, svg=plots.to_svg(figure))


def _ticks(horizon: float) -> list[float]:
    step = next((s for s in (0.1, 0.25, 0.5, 1.0, 2.0, 5.0, 10.0) if horizon / s <= 8), 20.0)
    return [step * n for n in range(math.floor(horizon / step) + 1)]
