"""Shows the temperatures over a limit, and the standing tables of cautions, limits and rules."""

from collections.abc import Sequence

from benchwater.plugin import Table, TableColumn

from .compute import (
    Caution,
    Exceedance,
    ExposureLimit,
    TackleRule,
    bench_cautions,
    exposure_limits,
    tackle_rules,
)


def exceedance_table(found: Sequence[Exceedance]) -> Table:
    """Returns every temperature that passed a limit."""
    columns = (
        TableColumn(name="date", label="Date"),
        TableColumn(name="what", label="What"),
        TableColumn(name="value", label="Read", unit="degC"),
        TableColumn(name="limit", label="Limit", unit="degC"),
        TableColumn(name="source", label="Whose limit"),
    )
    rows = tuple((each.date, each.what, each.value, each.limit, each.source) for each in found)
    return Table(
        id="exceedances", title="Temperatures over a limit", columns=columns, rows=rows, print_rows=12
    )


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
    rows: Sequence[Caution | ExposureLimit | TackleRule],
    shown: str,
    hidden: str,
    note: str = "",
) -> Table:
    """Returns a table of reference rows: fields `shown` with their heading, and `hidden` ones."""
    headings = [each.split(" ", 1) for each in shown.split("|")]
    columns = [TableColumn(name=name, label=label) for name, label in headings]
    columns += [TableColumn(name=name, label=name, hidden=True) for name in hidden.split()]
    cells = tuple(tuple(getattr(row, column.name) or None for column in columns) for row in rows)
    return Table(id=id, title=title, columns=tuple(columns), rows=cells, note=note)
