"""The Season of a report: the rows up to its end, and nothing later."""

from datetime import date
from typing import TYPE_CHECKING

from benchwater.gather.spans import Spans
from benchwater.plugin.bench import Bench
from benchwater.plugin.days import between
from benchwater.plugin.season import Season
from benchwater.read.outcome import Reading

if TYPE_CHECKING:
    import pandas as pd


def gather(reading: Reading, bench: Bench, spans: Spans) -> Season:
    """Everything the logs hold before the end of the report."""
    season = spans.season
    logs = {name: _up_to(table, season.end) for name, table in reading.tables.items()}
    return Season(bench, logs, season.start, season.end)


def _up_to(table: "pd.DataFrame", end: date) -> "pd.DataFrame":
    """The rows before `end`, without the categories that later rows alone hold."""
    rows = between(table, None, end)
    if len(rows) == len(table):
        return rows
    words = [name for name in rows.columns if rows[name].dtype == "category"]
    return rows.assign(**{name: rows[name].cat.remove_unused_categories() for name in words})
