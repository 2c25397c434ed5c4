"""The section's tables: their columns, titles and notes."""

from collections.abc import Iterator

from benchwater.plugin import Table
from benchwater.words import make_columns, make_table

from .draft import ENOUGH_SESSIONS, Draft

COLUMNS = make_columns(
    *(("mold", "Mold"), ("cavity", "Cavity"), ("flaw", "Flaws"), ("session", "Session"), ("fill", "Fill")),
    *(("low_c", "From", "degC"), ("high_c", "To", "degC"), ("temp_c", "Mold", "degC")),
    *(("measured_c", "Measured", "degC"), ("estimated_c", "Estimated", "degC")),
    *(("castings", "Castings"), ("rejects", "Bad castings"), ("rate", "Bad", "1")),
    *((name, name.title(), "1") for name in ("low", "high", "center", "lower", "upper")),
    *(("signal", "Beyond limits"), ("p_adjusted", "p at equal temperature", "p")),
)
MOST_SESSIONS = 10
# id, rows printed, columns, title, note
TABLES = (
    ("by_temperature", 24, "mold low_c high_c castings rejects rate low high", "By mold temperature", ""),
    (
        *("by_estimated", 12, "mold low_c high_c castings rejects rate low high"),
        *("Without a thermometer: by estimated mold temperature", "By heat balance, not by reading."),
    ),
    ("curve", 0, "mold temp_c flaw rate low high", "Fitted share of flaws by mold temperature", ""),
    (
        *("by_cavity", 24, "mold cavity castings rejects rate low high p_adjusted", "By cavity"),
        "p: against the other cavities of the mold, adjusted for all that were compared.",
    ),
    (
        *("sessions", 60, "session castings rejects rate center lower upper signal", "By session"),
        f"Judged where a mold has {ENOUGH_SESSIONS} sessions or more.",
    ),
    (
        *("mold_heat", 0, "session fill measured_c estimated_c", "Mold temperature, measured and estimated"),
        "Estimated by heat balance from the first fill of the session onward.",
    ),
)


def made_tables(draft: Draft, note: str) -> Iterator[Table]:
    """The tables that have rows; `note` goes with the first."""
    for name, print_rows, columns, title, said in TABLES:
        if rows := draft.tables[name]:
            said = note if name == "by_temperature" else said
            paper_rows = {"by_estimated": 0, "sessions": MOST_SESSIONS}.get(name)
            yield make_table(
                *(name, title, columns, rows, COLUMNS),
                note=said,
                print_rows=print_rows,
                paper_rows=paper_rows,
            )
