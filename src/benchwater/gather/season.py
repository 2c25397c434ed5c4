"""The Season of a report: the rows up to its end, and nothing later."""

from typing import TYPE_CHECKING

from benchwater.gather.spans import Spans
from benchwater.plugin.bench import Bench
from benchwater.plugin.season import Season
from benchwater.read.outcome import Reading

if TYPE_CHECKING:
    import pandas as pd


def gather(reading: Reading, bench: Bench, spans: Spans) -> Season:
    """Everything the logs hold before the end of the report."""
    span = spans.season
    whole = Season(bench, reading.tables, span.start, span.end)
    logs = {kind: _used_words(whole.before(kind, span.end), table) for kind, table in reading.tables.items()}
    return Season(bench, logs, span.start, span.end)


def _used_words(rows: "pd.DataFrame", table: "pd.DataFrame") -> "pd.DataFrame":
    """Some rows of a table, without the categories that its other rows alone hold."""
    if len(rows) == len(table):
        return rows
    words = [name for name in rows.columns if rows[name].dtype == "category"]
    return rows.assign(**{name: rows[name].cat.remove_unused_categories() for name in words})
