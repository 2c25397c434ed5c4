"""Shows the batches with their verdict, and flaws by the temperature of the piece."""

from benchwater.plugin import Table
from benchwater.words import make_columns, make_table

from .compute import Batches

MOST_LISTED = 12
BATCH_COLUMNS = make_columns(
    *(("date", "Date"), ("coat", "Coat"), ("count", "Pieces", "pieces")),
    *(("cure_temp_c", "Oven", "degC"), ("cure_min", "Cure, min")),
    ("verdict", "Held against the coat's window"),
)
FLAW_COLUMNS = make_columns(
    *(("flaw", "Flaw"), ("low_c", "From", "degC"), ("high_c", "To below", "degC")),
    *(("pieces", "Pieces", "pieces"), ("rejects", "With it", "pieces"), ("rate", "Share", "1")),
    *(("low", "Low", "1"), ("high", "High", "1")),
)


def all_tables(batches: Batches) -> tuple[Table, ...]:
    """Returns the batches, and flaws by temperature where enough batches have one."""
    return (_batches(batches), _by_temperature(batches)) if batches.dip_flaws else (_batches(batches),)


def _batches(batches: Batches) -> Table:
    names = ["date", "coat", "count", "cure_temp_c", "cure_time_h", "verdict"]
    rows = batches.all[names].itertuples(index=False)
    return make_table(
        "batches",
        "Batches and their cure",
        " ".join(BATCH_COLUMNS),
        [
            (day.date(), coat, int(count), temp, time * 60, verdict)
            for day, coat, count, temp, time, verdict in rows
        ],
        BATCH_COLUMNS,
        note="The verdict is the coat's alone: a head may melt at a cure that is right for its powder.",
        print_rows=60,
        paper_rows=None if len(batches.all) <= MOST_LISTED else 0,
    )


def _by_temperature(batches: Batches) -> Table:
    """Flaws of dipping by the temperature of the piece, in steps of the unit that the bench prints."""
    us, rows = batches.season.bench.system == "us", []
    for flaw in batches.dip_flaws:
        for each in flaw.bins:
            low, high = ((edge - 32) / 1.8 if us else edge for edge in (each.low, each.high))
            share = (each.share.estimate, each.share.low, each.share.high)
            rows.append((flaw.flaw, low, high, each.trials, each.events, *share))
    significant = any(flaw.p_adjusted is not None and flaw.p_adjusted < 0.05 for flaw in batches.dip_flaws)
    return make_table(
        "by_part_temp",
        "Flaws of dipping by the temperature of the piece",
        " ".join(FLAW_COLUMNS),
        rows,
        FLAW_COLUMNS,
        note=""
        if significant
        else "As far as these batches show, no flaw comes more often on cooler or hotter pieces.",
    )
