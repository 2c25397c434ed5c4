"""The Season of a report: the rows up to its end, and nothing later."""

from benchwater.gather.spans import Spans
from benchwater.plugin.bench import Bench
from benchwater.plugin.days import between
from benchwater.plugin.season import Season
from benchwater.read.outcome import Reading


def gather(reading: Reading, bench: Bench, spans: Spans) -> Season:
    """Everything the logs hold before the end of the report."""
    season = spans.season
    logs = {name: between(table, None, season.end) for name, table in reading.tables.items()}
    return Season(bench, logs, season.start, season.end)
