"""Shows the temperatures over a limit, and the standing tables of cautions, limits and rules."""

from collections.abc import Sequence

from benchwater.plugin import Bench, Table
from benchwater.words import make_columns, make_table

from .compute import Exceedance, Reference, bench_cautions, exposure_limits, tackle_rules
from .findings import held_at

EXCEEDANCES = make_columns(
    *(("date", "Date"), ("what", "What"), ("value", "Read", "degC")),
    *(("limit", "Limit to the degree", "degC"), ("held_at", "Limit"), ("source", "Whose limit")),
    hidden="limit",
)


def exceedance_table(found: Sequence[Exceedance], bench: Bench) -> Table:
    """Returns every temperature that passed a limit."""
    rows = [
        (each.date, each.what, each.value, each.limit, held_at(bench, each.limit), each.source)
        for each in found
    ]
    names, title = " ".join(EXCEEDANCES), "Temperatures over a limit"
    return make_table("exceedances", title, names, rows, EXCEEDANCES, print_rows=12)


def standing_tables() -> tuple[Table, ...]:
    """Returns the cautions, the limits and the rules, as their data files hold them."""
    return (
        _read_table("cautions", "Every time", bench_cautions(), "about About|what What to do", "source"),
        _read_table(
            "published_limits",
            "Published limits, for scale",
            exposure_limits(),
            "what Of|whose Whose|limit Limit|since Since|source Read in",
            "value unit checked",
            "For workplaces, in air measured over a shift: nothing was measured here. No lead level is safe.",
        ),
        _read_table(
            "tackle_rules",
            "Examples of published rules on lead tackle: check your own",
            tackle_rules(),
            "place Where|rule What it covers|jig_heads Jig heads|dated Date|source Source",
            "checked",
            "They differ by mass or length, < or ≤, sale or use, jig heads and paint, and they change. Only "
            "your own rule says whether a bait may be sold or fished; this report never does. Secondary: "
            "read in a text that reports the rule.",
        ),
    )


def _read_table(
    id: str,
    title: str,
    rows: Sequence[Reference],
    shown: str,
    hidden: str,
    note: str = "",
) -> Table:
    """Returns a table of reference rows: fields `shown` with their heading, and `hidden` ones."""
    headings = [(name, label) for name, _, label in (each.partition(" ") for each in shown.split("|"))]
    columns = make_columns(*headings, *((name, name) for name in hidden.split()), hidden=hidden)
    cells = [tuple(row[name] or None for name in columns) for row in rows]
    return make_table(id, title, " ".join(columns), cells, columns, note=note, paper_rows=0)
