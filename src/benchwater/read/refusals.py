"""Why a row or a file is not used: reasons from a closed set, and bounds that no honest log reaches."""

from enum import StrEnum

MOST_ROWS = 2_000_000
MOST_LINES = 4_000_000
LONGEST_LINE = 1024 * 1024
MOST_SET_ASIDE = 200_000
MOST_COLUMNS = 200
LONGEST_CELL = 2_000
MOST_LINES_IN_A_CELL = 40
DEEPEST_HEADER_ROW = 5
TOTALS = ("total", "totals", "sum", "subtotal", "grand total")
"""What marks a row of totals."""


class Reason(StrEnum):
    """The code of a row set aside."""

    MISSING = "a needed cell is empty"
    DATE = "not a date"
    DATE_ORDER = "a date whose order is not stated"
    NUMBER = "not a number"
    QUANTITY = "not a quantity"
    WORD = "not one of the allowed words"
    NAME = "not on the bench"
    TOO_MANY_CELLS = "more cells than the header has columns"
    TOO_LONG = "a cell that is too long"
    OPEN_QUOTE = "a quotation mark that is never closed"
    TOTALS = "a totals row"
    RULE = "a rule of this log"


class CellError(ValueError):
    """One cell that cannot be used: the reason's code and a sentence for the maker."""

    def __init__(self, reason: Reason, why: str) -> None:
        """`why` continues the sentence 'this cell ...'."""
        super().__init__(why)
        self.reason = reason
        self.why = why


class FileError(ValueError):
    """A file that cannot be read as a log; the message is a sentence for the maker.

    `asks` pairs headings with the needed columns that they may be.
    """

    def __init__(self, why: str, asks: tuple[tuple[str, tuple[str, ...]], ...] = ()) -> None:
        super().__init__(why)
        self.asks = asks


def marks_totals(text: str) -> bool:
    """Return whether a cell marks its row as one of totals."""
    return text.casefold().rstrip(": ") in TOTALS
