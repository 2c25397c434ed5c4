"""Compose what is filled in on a screen: the blank workbook of a bench, and the log page to tap on."""

import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from benchwater.plugin.bench import Bench
from benchwater.plugin.logs import Column, LogKind
from benchwater.sheets.compose import bare_unit, names_for

NAMES_SHEET = "names"
_ROWS = 1_000
_WIDEST, _NARROWEST = 24, 9
_LONGEST_MESSAGE = 250
_MADE = datetime(2000, 1, 1)
NEEDED_LOGS = ("pour", "fishing", "catch", "inventory")


def offered_words(
    column: Column, kind: LogKind, bench: Bench, part: LogKind | None = None
) -> tuple[str, ...]:
    """Return the words and names that a cell may hold, none where it is free.

    `part` is the log that holds some of the rows: a build may be named for an item there.
    """
    own = None if part is None else part.column("build" if column.refers_to == "item" else column.name)
    others = () if part is None or own is None else names_for(own, part, bench)
    return tuple(dict.fromkeys((*names_for(column, kind, bench), *others)))


def blank_workbook(kinds: Sequence[LogKind], bench: Bench) -> bytes:
    """An `.xlsx` workbook with the header of each log and its lists; the same bytes for the same bench.

    Cells of names are text, so that no program takes `1/8` for a day.
    """
    import xlsxwriter

    out = io.BytesIO()
    with xlsxwriter.Workbook(out, {"in_memory": True}) as book:
        book.set_properties({"title": f"Logs of {bench.name}", "created": _MADE})
        formats = {
            "head": book.add_format({"bold": True, "bottom": 1, "bg_color": "#EEEEEE"}),
            "date": book.add_format({"num_format": "yyyy-mm-dd"}),
            "text": book.add_format({"num_format": "@"}),
        }
        parts = {kind.part_of: kind for kind in kinds if kind.part_of}
        kinds = [kind for kind in kinds if not kind.part_of]
        sheets = {kind.name: book.add_worksheet(kind.name[:31]) for kind in kinds}
        names = book.add_worksheet(NAMES_SHEET)
        names.hide()
        lists: list[tuple[str, ...]] = []
        for kind in kinds:
            sheet = sheets[kind.name]
            sheet.freeze_panes(1, 1)
            for at, column in enumerate(kind.columns):
                sheet.write_string(0, at, column.name, formats["head"])
                number = formats["date" if column.kind == "date" else "text"]
                is_number = column.kind in {"count", "number", "money"}
                width = min(_WIDEST, max(_NARROWEST, len(column.name) + 2))
                sheet.set_column(at, at, width, None if is_number else number)
                words = offered_words(column, kind, bench, parts.get(kind.name))
                if words and words not in lists:
                    lists.append(words)
                sheet.data_validation(1, at, _ROWS, at, _validation(column, words, lists))
        for at, words in enumerate(lists):
            for row, word in enumerate(words):
                names.write_string(row, at, word, formats["text"])
    return out.getvalue()


def _validation(
    column: Column, words: tuple[str, ...], lists: Sequence[tuple[str, ...]]
) -> Mapping[str, Any]:
    """A list to choose from, which warns and lets any other word stand; for the rest its meaning alone."""
    said = {"input_title": column.name[:32], "input_message": column.meaning[:_LONGEST_MESSAGE]}
    if not words:
        return {"validate": "any", **said}
    letters, at = "", lists.index(words) + 1
    while at:
        at, rest = divmod(at - 1, 26)
        letters = chr(65 + rest) + letters
    return {
        "validate": "list",
        "source": f"={NAMES_SHEET}!${letters}$1:${letters}${len(words)}",
        "error_type": "warning",
        "error_title": "Not on your bench",
        "error_message": "Keep it if you mean it; `benchwater check` asks what it is.",
        **said,
    }


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
