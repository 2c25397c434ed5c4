"""The bytes of the canonical tables in memory: as pandas counts them, and with each text counted once.

pandas counts a text for every cell that says it, though all cells that say the same share one.
"""

import sys
from pathlib import Path

from benchwater.pipeline import read_workspace

TABLES = read_workspace(Path(sys.argv[1])).reading.tables
TEXTS = {
    id(cell): sys.getsizeof(cell)
    for table in TABLES.values()
    for name in table.columns
    if table[name].dtype.kind == "O"
    for cell in table[name]
}
CELLS = sum(int(table.memory_usage().sum()) for table in TABLES.values())
print(sum(int(table.memory_usage(deep=True).sum()) for table in TABLES.values()), CELLS + sum(TEXTS.values()))
