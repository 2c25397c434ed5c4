"""Bounds that no honest log reaches, so that a damaged or hostile file stops early."""

MOST_ROWS = 2_000_000
MOST_LINES = 4_000_000
LONGEST_LINE = 1024 * 1024
MOST_SET_ASIDE = 200_000
MOST_COLUMNS = 200
LONGEST_CELL = 2_000
MOST_LINES_IN_A_CELL = 40
DEEPEST_HEADER_ROW = 5
