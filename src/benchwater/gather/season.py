"""The Season of a report: the rows up to its end, and nothing later."""

from datetime import datetime

from benchwater.gather.spans import Spans
from benchwater.plugin.bench import Bench
from benchwater.plugin.season import Season
from benchwater.read.outcome import Reading


def gather(reading: Reading, bench: Bench, spans: Spans) -> Season:
    """Everything the logs hold before the end of the report."""
    end = datetime(spans.season.end.year, spans.season.end.month, spans.season.end.day)
    logs = {name: table[table["date"] < end].reset_index(drop=True) for name, table in reading.tables.items()}
    return Season(bench, logs, spans.season.start, spans.season.end)
