"""Applies a log's check of one row, called once for each combination of the values that it reads."""

import traceback
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass

from benchwater.plugin.bench import Bench
from benchwater.plugin.logs import RowProblem, Value
from benchwater.read.coded import Coded, constant_column, group_rows
from benchwater.supervisor import StoppedError, plugin_call
from benchwater.text import error_text

Check = Callable[[Mapping[str, Value], Bench], Iterable[RowProblem]]


@dataclass(frozen=True, slots=True)
class CheckFailure:
    """Why a check could not be applied to a row (by index), and the traceback if it raised."""

    row: int
    why: str
    detail: str


def check_rows(
    log: str, check: Check, columns: Mapping[str, Coded], rows: int, bench: Bench
) -> tuple[Coded, CheckFailure | None]:
    """Apply the check of a log to its rows (see `_check_rows`); one that would hold the run is left out."""
    try:
        with plugin_call(f"The check of the log {log}"):
            return _check_rows(check, columns, rows, bench)
    except StoppedError as error:
        return constant_column(rows, ()), CheckFailure(0, str(error), "") if rows else None


def _check_rows(
    check: Check, columns: Mapping[str, Coded], rows: int, bench: Bench
) -> tuple[Coded, CheckFailure | None]:
    """A column that holds the problems the check finds in each row, and the first failure of the check.

    The columns that the check reads are recorded; rows that are equal in all of them get the same answer, so
    the check sees one of them. A row on which it raises or returns something else than RowProblems has none.
    """
    checked_columns: set[str] = set()
    while True:
        groups = group_rows([columns[name] for name in sorted(checked_columns)], rows)
        read: set[str] = set()
        problems: list[tuple[RowProblem, ...]] = []
        failure: CheckFailure | None = None
        for row in groups.first.tolist():
            try:
                problems.append(_problems(check, _RecordingRow(columns, row, read), bench))
            except KeyboardInterrupt:
                raise
            except BaseException as error:
                problems.append(())
                if failure is None:
                    why = str(error) if isinstance(error, _AnswerError) else error_text(error)
                    failure = CheckFailure(row, why, traceback.format_exc())
            if not read <= checked_columns:
                break
        else:
            return Coded(groups.of_row, problems), failure
        checked_columns |= read


class _AnswerError(TypeError):
    """A check returned something else than RowProblems."""


def _problems(check: Check, row: "_RecordingRow", bench: Bench) -> tuple[RowProblem, ...]:
    answer: object = check(row, bench)
    if not isinstance(answer, Iterable):
        raise _AnswerError(f"it must return an iterable of RowProblem, not {answer!r}")
    found = []
    for problem in answer:
        if not (
            isinstance(problem, RowProblem)
            and isinstance(problem.column, str)
            and isinstance(problem.why, str)
        ):
            raise _AnswerError(f"it must return an iterable of RowProblem; one of them is {problem!r}")
        found.append(problem)
    return tuple(found)


class _RecordingRow(Mapping[str, Value]):
    """One row, which records which of its columns are read."""

    def __init__(self, columns: Mapping[str, Coded], row: int, read: set[str]) -> None:
        self._columns = columns
        self._row = row
        self._read = read

    def __getitem__(self, name: str) -> Value:
        column = self._columns[name]
        self._read.add(name)
        value: Value = column.value(self._row)
        return value

    def __iter__(self) -> Iterator[str]:
        self._read.update(self._columns)
        return iter(self._columns)

    def __len__(self) -> int:
        return len(self._columns)
