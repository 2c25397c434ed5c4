"""Compose what the log page offers to tap: molds and cavities, builds, items, words and units."""

from collections.abc import Sequence
from dataclasses import dataclass

from benchwater.plugin.bench import Bench
from benchwater.plugin.logs import Column, LogKind
from benchwater.sheets.compose import bare_unit

NEEDED_LOGS = ("pour", "fishing", "catch", "inventory")


class NoLogPageError(ValueError):
    """A log that the page writes is not declared by any plugin."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LogPage:
    """Everything on the page that depends on the bench, as plain data.

    `molds` maps each mold to its cavities, one name for each place in the mold (a cavity of which one fill
    makes two stands there twice). `items` maps each item to its unit. `headings` maps each log to the
    headings of its CSV, each with the unit of its bare numbers. `words` maps `log.column` to its words.
    """

    bench: str
    molds: dict[str, list[str]]
    builds: list[str]
    items: dict[str, str]
    headings: dict[str, dict[str, str]]
    words: dict[str, list[str]]
    currency: str


def needed_logs(kinds: Sequence[LogKind]) -> tuple[LogKind, ...]:
    """Return the logs of `NEEDED_LOGS`. Raises NoLogPageError where no plugin declares one of them."""
    by_name = {kind.name: kind for kind in kinds}
    missing = [name for name in NEEDED_LOGS if name not in by_name]
    if missing:
        raise NoLogPageError(
            f"this writes the {missing[0]} log, which no plugin declares (is it `off` in bench.toml?)"
        )
    return tuple(by_name[name] for name in NEEDED_LOGS)


def log_page_of(logs: Sequence[LogKind], bench: Bench) -> LogPage:
    """Return the log page of a bench; `logs` are its `needed_logs`."""
    return LogPage(
        bench=bench.name,
        molds={
            name: [cavity.name for cavity in mold.cavities.values() for _ in range(cavity.per_fill)]
            for name, mold in bench.molds.items()
        },
        builds=list(bench.builds),
        items={name: "" if item.unit == "pieces" else item.print_unit for name, item in bench.items.items()},
        headings={
            log.name: {column.name: _heading(column, log, bench) for column in log.columns} for log in logs
        },
        words={
            f"{log.name}.{column.name}": list(column.words)
            for log in logs
            for column in log.columns
            if column.kind == "word"
        },
        currency=bench.currency,
    )


def _heading(column: Column, log: LogKind, bench: Bench) -> str:
    """Return the heading; the page counts durations in minutes, and says the unit of amounts in each cell."""
    units = {"money": "", "duration": "min"}
    unit = units[column.kind] if column.kind in units else bare_unit(column, log, bench)
    return f"{column.name} [{unit}]" if unit else column.name
