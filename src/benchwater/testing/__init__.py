"""The test kit for plugin authors: a season from a few lines of bench.toml and CSV, and checks on a section.

`benchwater.testing.pytest_plugin` offers the fixture `run_report`, which makes a whole report.
"""

from benchwater.testing.seasons import MadeSeason, make_season, plugin_file
from benchwater.testing.sections import check_section, finding, records, table

__all__ = ["MadeSeason", "check_section", "finding", "make_season", "plugin_file", "records", "table"]
