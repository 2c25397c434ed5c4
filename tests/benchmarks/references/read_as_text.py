"""The reference for reading: pandas reads the same files as text, on one thread. FOLDER"""

import sys
from pathlib import Path

import pandas as pd

pd.set_option("mode.max_threads", 1)
TABLES = [pd.read_csv(path, dtype=str) for path in sorted(Path(sys.argv[1]).glob("*.csv"))]
print(sum(len(table) for table in TABLES))
