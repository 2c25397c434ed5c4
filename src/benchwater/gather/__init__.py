"""Gather: from log tables to the Season and the spans a report looks at."""
