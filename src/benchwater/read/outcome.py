"""What reading a folder returns: tables of the rows used, and why each other row, cell or file is not."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pandas as pd

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
_PROBLEM = ("file", "line", "column", "value", "why", "reason")


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

    def not_read(self, file: str, more: str = "") -> "NotRead":
        """The account of a file that is not read for it."""
        return NotRead(file=file, why=f"{self}{more}", asks=self.asks)


def marks_totals(text: str) -> bool:
    """Return whether a cell marks its row as one of totals."""
    return text.casefold().rstrip(": ") in TOTALS


@dataclass(frozen=True, slots=True, kw_only=True)
class SetAside:
    """A row or cell that could not be used: where, the cell as written, and why.

    `reason` is from a closed set. `amount` is how much a row set aside is about, where that can be read: its
    count, or for a row on an item the amount in the item's canonical `unit`. `values` are the cells of a row
    set aside that could be read, by the table's column names.
    """

    file: str
    line: int
    column: str
    value: str
    why: str
    reason: str
    log: str
    amount: float | None = None
    unit: str = ""
    values: tuple[tuple[str, Any], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Repeat:
    """Rows of `file` that an earlier file already holds, as runs of lines such as `2-14, 17`."""

    file: str
    lines: str
    rows: int
    first_in: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """One log: every row it holds is used, a repeat of another file's, or set aside.

    `path` is the file it stands in, where `file` names a sheet of a workbook.
    """

    file: str
    sha256: str
    log: str
    rows: int
    used: int
    repeated: int
    set_aside: int
    cells_set_aside: int = 0
    dialect: str = ""
    path: str = ""

    @property
    def of_file(self) -> str:
        """The file that it stands in."""
        return self.path or self.file

    def __post_init__(self) -> None:
        """Rows seen = rows used + rows repeated + rows set aside, always."""
        if self.rows != self.used + self.repeated + self.set_aside:
            raise AssertionError(f"{self.file}: {self.rows} rows do not add up")


@dataclass(frozen=True, slots=True, kw_only=True)
class NotRead:
    """A file that is no log, or could not be read, and why.

    `asks` pairs headings with the columns that they may be.
    """

    file: str
    why: str
    asks: tuple[tuple[str, tuple[str, ...]], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadAs:
    """A heading or word of a file, as written, that was taken for a known one."""

    file: str
    written: str
    read_as: str


@dataclass(frozen=True, slots=True, kw_only=True)
class UnreadColumn:
    """A column that is none of its log's, by its heading as written, and the columns it may be meant for.

    `could_be` says that its cells could be of some column that the log does not have.
    """

    file: str
    column: str
    may_be: tuple[str, ...] = ()
    could_be: bool = False

    @property
    def question(self) -> str:
        """A sentence for the maker about a column that may be a known one."""
        names = " or ".join(f"`{name}`" for name in self.may_be)
        return (
            f"`{self.column}` of {self.file} was not read: is it {names}? Then put "
            f'`"{self.column}" = "{self.may_be[0]}"` under [words.columns] in bench.toml'
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckProblem:
    """How a log's own check of a row failed first in a file; the rows it failed on are used unchecked."""

    log: str
    file: str
    line: int
    why: str
    detail: str


@dataclass(frozen=True, kw_only=True)
class Reading:
    """Everything one folder gave. `tables` holds one table a log kind, see `Season.log`.

    `cells_set_aside` are unknown values in rows that count. `fallbacks` says in words which documented
    units stood in for bare numbers, `questions` asks about what was not taken.
    """

    tables: Mapping[str, "pd.DataFrame"]
    sources: tuple[Source, ...]
    set_aside: tuple[SetAside, ...]
    repeats: tuple[Repeat, ...]
    not_read: tuple[NotRead, ...]
    fallbacks: tuple[str, ...] = ()
    check_problems: tuple[CheckProblem, ...] = ()
    cells_set_aside: tuple[SetAside, ...] = ()
    read_as: tuple[ReadAs, ...] = ()
    unread_columns: tuple[UnreadColumn, ...] = ()
    questions: tuple[str, ...] = ()

    @cached_property
    def tables_set_aside(self) -> Mapping[str, "pd.DataFrame"]:
        """One table for each log kind with rows set aside, see `Season.rows_set_aside`."""
        import pandas as pd

        found = {}
        for log, table in self.tables.items():
            rows = [
                {name: getattr(entry, name) for name in _PROBLEM} | dict(entry.values)
                for entry in self.set_aside
                if entry.log == log and entry.reason != Reason.TOTALS.name.lower()
            ]
            if rows:
                frame = pd.DataFrame(rows, columns=list(dict.fromkeys([*table.columns, *_PROBLEM])))
                numbers = [
                    name
                    for name in table.columns
                    if pd.api.types.is_numeric_dtype(table[name].dtype) and name != "line"
                ]
                found[log] = frame.astype({"date": "datetime64[us]"} | dict.fromkeys(numbers, "float64"))
        return found

    @property
    def column_questions(self) -> tuple[str, ...]:
        return tuple(each.question for each in self.unread_columns if each.may_be)

    @property
    def holds_rows(self) -> bool:
        return any(source.used for source in self.sources)
