"""The section's plots: how long baits stay in use, and what ends them."""

import math
from collections.abc import Iterable
from typing import TYPE_CHECKING

from benchwater import plots
from benchwater.plugin import Bench, Figure

if TYPE_CHECKING:
    from .followed_stretch import Lives


def survival_picture(lives: dict[str, "Lives"], horizon: float, bench: Bench) -> Figure:
    """The share still in use over hours, with and without a leader where both are known."""
    import numpy as np

    names = [name for name in lives if name != "all"] or ["all"]
    figure, ax = plots.new_figure(plots.HALF_MM, 52 + 4 * len(names))
    ticks, said = _ticks(horizon), []
    for series, name in enumerate(names):
        curve, label = lives[name].survival, name if name != "all" else "all baits"
        last = min(horizon, curve.observed_to) if curve.final_survival else horizon
        shown = curve.time <= last
        y, low, high = (np.r_[1.0, v[shown], v[shown][-1:]] for v in (curve.survival, curve.low, curve.high))
        x = np.r_[curve.observed_from, curve.time[shown], [last] if shown.any() else []]
        plots.steps(ax, x, y, low=low, high=high, series=series, label=label)
        at_risk = lives[name].records.at_risk(np.asarray(ticks))
        plots.rows_below(ax, [(label, [str(baits) for baits in at_risk])])
        said += [f"{label} {bench.show(curve.at(t).estimate, '1')} at {t:.3g} h" for t in (last / 2, last)]
    ax.set(xticks=ticks, xlabel="hours in use", ylabel="share still in use", ylim=(0, 1.02))
    plots.legend(ax)
    alt = f"Still in use, with 95 % bands: {', '.join(said)}."
    title = "How long baits stay in use, and how many were followed"
    return Figure(id="survival", title=title, alt=alt, svg=plots.to_svg(figure))


def causes_picture(causes: Iterable[str], lives: "Lives", horizon: float, bench: Bench) -> Figure:
    """The share that each cause has ended, stacked over hours in use."""
    import numpy as np

    incidence = lives.incidence
    figure, ax = plots.new_figure(plots.HALF_MM, 60)
    shown = incidence.time <= horizon
    x = np.r_[incidence.observed_from, incidence.time[shown], horizon]
    tops, parts = {}, []
    for series, cause in enumerate(causes):
        rising = incidence.incidence[series, shown]
        tops[cause] = float(rising[-1]) if len(rising) else 0.0
        parts.append(np.r_[0.0, rising, tops[cause]])
    left = f"still in use {bench.show(max(0.0, 1 - sum(tops.values())), '1', 0)}"
    ax.set(xticks=_ticks(horizon), xlabel="hours in use", ylabel="share of baits", ylim=(0, 1))
    names = [f"{cause} {bench.show(top, '1', 0)}" for cause, top in tops.items()]
    plots.stacked(ax, x, parts, names, step=True, rest=left)
    alt = f"After {horizon:.3g} h in use: {', '.join(names)}, {left}."
    return Figure(id="causes", title="What ends them", alt=alt, svg=plots.to_svg(figure))


def _ticks(horizon: float) -> list[float]:
    step = next((s for s in (0.1, 0.25, 0.5, 1.0, 2.0, 5.0, 10.0) if horizon / s <= 8), 20.0)
    return [step * n for n in range(math.floor(horizon / step) + 1)]
