"""The section's tables: their columns, titles and notes."""

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from benchwater.ledger.bait_lives import Factor, habitat_tags
from benchwater.plugin import Cell, Table, TableColumn
from benchwater.words import known, make_columns, make_table

from .bait_contrasts import Contrast

if TYPE_CHECKING:
    import pandas as pd

    from benchwater.ledger.bait_lives import Truths

    from .followed_stretch import Lives

Row = tuple[Cell, ...]
MOST_ON_PAPER, MOST_COMPARED_ON_PAPER = 10, 6
COLUMNS = make_columns(
    *(("time_h", "in use", "h"), ("at_risk", "followed"), ("bait_hours", "fished", "h", 1)),
    *(("survival", "still in use", "1"), ("incidence", "share", "1"), ("rate", "rate", "1/h", 3)),
    *(("ratio", "ratio", None, 1), ("p", "p", "p"), ("p_adjusted", "p adjusted", "p")),
    *(("within", "within", None, 1), ("within_low", "low", None, 1), ("within_high", "high", None, 1)),
)
COLUMNS["confounded_by"] = TableColumn(name="confounded_by", label="not apart from", hidden=True)


def cause_summary(causes: dict[str, int], lives: "Lives", horizon: float) -> Table:
    """The share that comes to each end within the hours followed."""
    body: list[Row] = []
    for code, (cause, baits) in enumerate(causes.items(), start=1):
        share = lives.incidence.at(horizon, code)
        body.append((cause, baits, horizon, *known(share.estimate, share.low, share.high)))
    left = lives.survival.at(horizon)
    body.append(("still in use", None, horizon, *known(left.estimate, left.low, left.high)))
    note = "Baits that ended in these days, and the share that comes to each end by that time in use."
    columns = "cause baits time_h incidence low high"
    return make_table(
        "cause_summary", "What becomes of a bait", columns, body, COLUMNS, limits_of="incidence", note=note
    )


def rates_table(rows: "pd.DataFrame", factors: Sequence[Factor]) -> Table:
    """Ends per bait-hour, of all and by each group of each factor."""
    from benchwater.statistics.rates import poisson_rate

    parts: list[tuple[str, str, Truths]] = [("all", "all", rows["count"] > 0)]
    for factor in factors:
        if factor.name == "habitat":
            parts += [("habitat", tag, has) for tag, has in habitat_tags(rows).items()]
        elif len(groups := factor.groups) > 1:
            parts += [(factor.name, group, factor.labels == group) for group in groups]
    body: list[Row] = []
    ended, fished = rows["ended"].to_numpy(), rows["hours"].to_numpy()
    for name, group, members in parts:
        own = members.to_numpy(dtype=bool)
        ends, hours = int(ended[own].sum()), float(fished[own].sum())
        rate = poisson_rate(ends, hours) if hours > 0 else None
        limits = (rate.estimate, rate.low, rate.high) if rate else (None, None, None)
        body.append((name, group, hours, ends, *limits))
    note = (
        "Fished is in bait-hours, lost counts the worn with them; low and high are 95 % limits. Habitat tags "
    )
    note += "overlap; a factor with one group is left out."
    columns = "factor group bait_hours lost rate low high"
    return make_table(
        *("rates", "How fast baits end", columns, body, COLUMNS),
        limits_of="rate",
        note=note,
        print_rows=60,
        paper_rows=MOST_ON_PAPER,
    )


def contrasts_table(contrasts: Sequence[Contrast], skipped: Sequence[str]) -> Table:
    """Every comparison with its ratio, crude and among like trips."""
    columns = "factor group against ratio low high p p_adjusted within within_low within_high"
    columns += " confounded_by"
    body: list[Row] = []
    for c in contrasts:
        crude, within = c.rates.crude, c.rates.within
        ratios = (crude.ratio, crude.low, crude.high), (within.ratio, within.low, within.high)
        shown = (*ratios[0], crude.p_central, c.p_adjusted, *ratios[1], c.confounder or None)
        body.append((c.name, c.group, c.against, *shown))
    note = (
        "Ratio of the rates of group and against, low and high its 95 % limits. Within: among like trips, of "
    )
    note += "one habitat (for habitat and water: with and without leader apart)."
    if skipped:
        note += f" Too little to compare: {', '.join(skipped)}."
    return make_table(
        "contrasts",
        "Rates held against each other",
        columns,
        body,
        COLUMNS,
        limits_of="ratio",
        note=note,
        print_rows=40,
        paper_rows=MOST_COMPARED_ON_PAPER,
    )


def losses_table(rows: "pd.DataFrame") -> Table:
    """Baits lost and worn by cause."""
    baits = rows[rows["ended"] > 0].groupby(["fate", "cause"], as_index=False)[["ended"]].sum()
    baits = baits.sort_values(["fate", "ended", "cause"], ascending=[True, False, True])
    body = [(str(fate), str(cause), int(n)) for fate, cause, n in baits.itertuples(index=False)]
    return make_table("losses", "Baits lost and worn", "fate cause baits", body, COLUMNS, print_rows=12)


def curve_tables(lives: dict[str, "Lives"], causes: Iterable[str]) -> tuple[Table, Table]:
    """The curves behind the plots, step by step; data only."""
    survival: list[Row] = []
    incidence: list[Row] = []
    for group, both in lives.items():
        km, aj = both.survival, both.incidence
        steps = (v.tolist() for v in (km.time, km.n_risk, km.n_event, km.survival, km.low, km.high))
        survival += [(group, *step[:3], *known(*step[3:])) for step in zip(*steps, strict=True)]
        for row, cause in enumerate(causes):
            steps = (v.tolist() for v in (aj.time, aj.incidence[row], aj.low[row], aj.high[row]))
            incidence += [(group, cause, step[0], *known(*step[1:])) for step in zip(*steps, strict=True)]
    columns = "group time_h at_risk lost survival low high", "group cause time_h incidence low high"
    return (
        make_table(
            *("survival", "Share still in use", columns[0], survival, COLUMNS),
            limits_of="survival",
            print_rows=0,
        ),
        make_table(
            *("causes", "Share ended by each cause", columns[1], incidence, COLUMNS),
            limits_of="incidence",
            print_rows=0,
        ),
    )
