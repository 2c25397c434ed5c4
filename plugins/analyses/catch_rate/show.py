"""Tables and figures of the section."""

from collections.abc import Sequence

from benchwater import plots
from benchwater.ledger.trips import ALL
from benchwater.plugin import Cell, Figure, Table
from benchwater.units import figures as in_figures
from benchwater.words import counted, make_columns, make_table

from .catch_rates import RateContrast
from .compute import FACTORS, MOST_COMPARED, PER_HOUR, CatchRates, Rates, printable_limits

RATES = make_columns(
    *(("factor", "Factor"), ("group", "Group"), ("species", "Species"), ("effort_h", "Hours fished", "h", 1)),
    *(("fish", "Fish", "pieces"), ("rate", "Rate", PER_HOUR, 2), ("low", "Low"), ("high", "High")),
)
CONTRASTS = make_columns(
    *(("factor", "Factor"), ("group", "Group"), ("against", "Against"), ("ratio", "Ratio", None, 2)),
    *(("low", "Low"), ("high", "High"), ("p", "p", "p"), ("p_adjusted", "p adjusted", "p")),
    *(("level", "Level", "1"), ("adjusted_low", "Adjusted low"), ("adjusted_high", "Adjusted high")),
)


def tables(found: CatchRates) -> tuple[Table, ...]:
    """The rate of every group, and the comparisons."""
    return _rate_table(found.rates), _contrast_table(found.contrasts)


def _rate_table(rates: Rates) -> Table:
    """Printed: all fish of every group, and each species over all baits. Species by build: JSON only."""
    keys = [(factor, group, ALL) for factor in FACTORS for group in rates.groups(factor)]
    keys += [(ALL, ALL, name) for name in rates.trips.species_names()]
    printed = len(keys)
    keys += [
        ("build", build, name) for build in rates.groups("build") for name in rates.trips.species_names()
    ]
    rows: list[tuple[Cell, ...]] = []
    for key in keys:
        rate = rates.rate(*key)
        rows.append((*key, rate.total_x, int(rate.total_y), rate.ratio, *printable_limits(rate)))
    note = "Low and high are 95 % limits; a dash is one that so few trips cannot give. "
    note += "Those of a single trip are of that trip alone. "
    note += "A bait with several habitat tags counts under each."
    names, title, most = " ".join(RATES), "Fish per hour of fishing", min(printed, 40)
    return make_table("cpue", title, names, rows, RATES, limits_of="rate", note=note, print_rows=most)


def _contrast_table(found: Sequence[RateContrast]) -> Table:
    rows = [
        (*row[:6], row.p, row.p_adjusted, 1 - row.alpha, row.adjusted_low, row.adjusted_high) for row in found
    ]
    note = "Ratio of the rates; builds on the trips that used both. Left out are pairs with too few trips "
    note += f"to tell, and any beyond the {MOST_COMPARED} builds and waters fished most."
    names, title = " ".join(CONTRASTS), "Builds and waters compared"
    return make_table("contrasts", title, names, rows, CONTRASTS, limits_of="ratio", note=note, print_rows=0)


def figures(rates: Rates) -> tuple[Figure, ...]:
    """Builds, and habitats where any are logged, each with its interval."""
    drawn = [_figure(rates, "build", "cpue", "build")]
    if len(rates.groups("habitat")) > 1:
        drawn.append(_figure(rates, "habitat", "cpue:habitat", "habitat"))
    return tuple(drawn)


def _figure(rates: Rates, factor: str, id: str, word: str) -> Figure:
    builds = rates.groups(factor, MOST_COMPARED)
    each = [rates.rate(factor, build) for build in builds]
    widest = 2 * max(rate.ratio for rate in each) or max(rate.high for rate in each)
    values, lows = [rate.ratio for rate in each], [rate.low for rate in each]
    highs = [min(rate.high, widest) for rate in each]
    figure, axes = plots.new_figure(plots.HALF_MM, 13 + 4.6 * max(6, len(builds)))
    plots.interval_points(axes, range(len(builds)), values, lows, highs, horizontal=True)
    plots.named_rows(axes, builds)
    for row, rate in enumerate(each):
        if rate.high > widest:
            end = f"to {in_figures(rate.high, significant=2)} »" if rate.high <= 5 * widest else "»"
            plots.beside(axes, end, widest, row)
    axes.set_xlim(-0.02 * max(highs), 1.03 * max(highs))
    axes.set_xlabel("fish per hour of fishing")
    best, worst = (f"{builds[at]} {in_figures(each[at].ratio, significant=2)}" for at in (0, -1))
    alt = f"Fish per hour of fishing of {counted(len(builds), word)} with 95 % intervals: highest {best}"
    alt += f", lowest {worst}." if len(builds) > 1 else "."
    return Figure(id=id, title=f"Fish per hour by {word}", alt=alt, svg=plots.to_svg(figure))
