"""The season: everything the logs hold up to the end of the report, and the spans a report looks at."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import TYPE_CHECKING, Any, Literal

from benchwater.plugin.bench import Bench

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """Days from `start` up to, not including, `end`."""

    name: Literal["period", "season"]
    label: str
    start: date
    end: date


class Season:
    """Read-only: every table handed out is a copy of its own, so no analysis can disturb its neighbour.

    `start` is the first day of the season, `end` the day after the last one of the report. Rows later
    than `end` are not here: a report of May knows nothing of June. Rows earlier than `start` are, for
    what was on hand or in use when the season began.
    """

    def __init__(
        self,
        bench: Bench,
        logs: Mapping[str, "pd.DataFrame"],
        start: date,
        end: date,
        set_aside: Mapping[str, "pd.DataFrame"] | None = None,
    ) -> None:
        """`logs` holds one table a log kind, columns as `LogKind.frame_columns` names them.

        `set_aside` holds those of the rows set aside, see `rows_set_aside`.
        """
        self.bench = bench
        self.start = start
        self.end = end
        self._logs = dict(logs)
        self._set_aside = dict(set_aside or {})

    def log(self, kind: str) -> "pd.DataFrame":
        """All rows of one log kind up to the report's end, in order of date, file and line.

        Columns: `date` (datetime64, day or day and time), each declared column in its canonical unit
        (`mold_temp_c`, `mass_g`, `fished_h`, ...), extra columns as words, `file` and `line`. A cell not
        recorded is missing (`NaN`, `None`), never zero. KeyError where no plugin brings a log of that kind.

        Columns of words are pandas categories of `str` in alphabetical order, so that `groupby` is quick;
        `== "good"`, `.isin`, `.isna()` and `.str` work as on text. Before you fill in, map, join or compare
        words, take `.astype("str")`; `value_counts` lists words of other rows too, as 0.
        """
        return self._table(kind).copy(deep=False)

    def rows(self, kind: str, span: Span) -> "pd.DataFrame":
        """The rows of one log kind whose date falls in the span."""
        return _between(self._table(kind), span.start, span.end)

    def before(self, kind: str, day: date) -> "pd.DataFrame":
        """The rows of one log kind before the start of that day."""
        return _between(self._table(kind), None, day)

    def rows_set_aside(self, kind: str, span: Span) -> "pd.DataFrame":
        """The rows of one log kind set aside that may fall in the span: of its days, or of no known day.

        Columns as `rows`, with what could be read of each row and the rest missing; `column`, `value` (the
        cell as written), `why` and `reason` say what was wrong with it. Rows of totals are not among them.
        """
        rows = self._set_aside.get(kind)
        if rows is None:
            return self._table(kind).iloc[:0].assign(column="", value="", why="", reason="")
        dates = rows["date"]
        inside = (dates >= _midnight(span.start)) & (dates < _midnight(span.end))
        return rows[inside | dates.isna()].reset_index(drop=True)

    def options(self, analysis: str) -> Mapping[str, Any]:
        """What the maker set for that analysis under `[plugins.ID]`, defaults filled in.

        Every option it declares is there; KeyError where no analysis of that id with options is loaded.
        """
        if analysis not in self.bench.plugin_options:
            raise KeyError(
                f"no analysis {analysis!r} with options is loaded (a test names its file: "
                "make_season(..., plugins=[FILE]))"
            )
        return self.bench.plugin_options[analysis]

    def holds(self, kind: str) -> bool:
        """Whether any row of that kind was used."""
        return kind in self._logs and len(self._logs[kind]) > 0

    @property
    def columns(self) -> frozenset[str]:
        """The columns of all logs."""
        return frozenset(str(column) for table in self._logs.values() for column in table.columns)

    def _table(self, kind: str) -> "pd.DataFrame":
        if kind not in self._logs:
            raise KeyError(f"there is no log {kind!r} (there are: {', '.join(sorted(self._logs))})")
        return self._logs[kind]


def _between(table: "pd.DataFrame", start: date | None, end: date) -> "pd.DataFrame":
    """The rows of a log's table before `end`, from the start of `start` on, as a table of its own.

    Rows in order of date are not copied before somebody writes to them (pandas' copy-on-write).
    """
    dates, behind = table["date"], _midnight(end)
    if dates.is_monotonic_increasing:
        first = 0 if start is None else dates.searchsorted(_midnight(start))
        rows = table.iloc[first : dates.searchsorted(behind)]
    else:
        rows = table[(dates < behind) & (True if start is None else dates >= _midnight(start))]
    return rows.reset_index(drop=True)


def _midnight(day: date) -> datetime:
    return datetime(day.year, day.month, day.day)
