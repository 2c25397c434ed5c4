"""The bytes of the canonical tables in memory, as pandas counts them, and of the process that reads them."""

import sys
from pathlib import Path

from benchwater.pipeline import read_workspace

TABLES = read_workspace(Path(sys.argv[1])).reading.tables
print(sum(int(table.memory_usage(deep=True).sum()) for table in TABLES.values()))
