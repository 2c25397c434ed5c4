"""The JSON twin: the numbers of the page in canonical units, to 10 digits, for other programs."""

import json
import math
from collections.abc import Mapping, Sequence
from datetime import date
from functools import cache
from typing import Any, TypeAlias, cast

from benchwater.analyse.report import MonthVital, RankedAction, Report, ReportSection, VitalSeries
from benchwater.analyse.run import merged_actions, section_photos
from benchwater.plugin.season import Span
from benchwater.plugin.section import Card, Finding, Table, TableColumn
from benchwater.render.cards import section_cards
from benchwater.render.sections import section_methods
from benchwater.render.text import iso, plain, span_title

FORMAT = 1
Json: TypeAlias = "str | int | float | bool | list[Json] | dict[str, Json] | None"

_JSON_TYPES = frozenset((str, int, bool, type(None)))
_NUMBERS = frozenset((float, type(None)))
_OF_ACTION = "id text because worth worth_unit urgent holds"
_OF_REFUSED = "file line column value why reason log amount unit"
_OF_SOURCE = "file sha256 log rows used repeated set_aside cells_set_aside dialect"


def render_json(report: Report) -> str:
    """Return the report as JSON text, keys in the order of the contract."""
    return (_written(_report(report)) + "\n").encode("utf-8", "replace").decode("utf-8")


class _Plain(list[Any]):
    """Rows or objects of plain cells, none nested and none empty."""


def _written(value: Json, line: str = "\n") -> str:
    """Return JSON as `json.dumps(value, indent=1)` does, plain rows on a line each; `line` starts the lines
    of the value's own brackets.

    The C encoder writes plain rows in one go with a line break after each cell; rows are then split at their
    brackets, which works because no encoded cell contains a line break.
    """
    inner = line + " "
    if not isinstance(value, dict | list) or not value:
        return _encoder(inner).encode(value)
    if isinstance(value, _Plain):
        text = _encoder("\n").encode(value)
        begins, ends = text[1], text[-2]
        rows = text[1:-1].replace(f"{ends},\n{begins}", f"{ends},\r{begins}")
        rows = rows.replace(",\n", ", ").replace("\r", inner)
        return f"[{inner}{rows}{line}]"
    if isinstance(value, dict):
        parts = [f"{_encoder(inner).encode(key)}: {_written(each, inner)}" for key, each in value.items()]
        return f"{{{inner}{f',{inner}'.join(parts)}{line}}}"
    return f"[{inner}{f',{inner}'.join(_written(each, inner) for each in value)}{line}]"


@cache
def _encoder(line: str) -> json.JSONEncoder:
    return json.JSONEncoder(ensure_ascii=False, allow_nan=False, separators=(f",{line}", ": "))


def _report(report: Report) -> Json:
    bench = report.bench
    return {
        "format": FORMAT,
        "version": report.version,
        "bench": bench.name,
        "currency": bench.currency,
        "period": {"label": report.label, "title": span_title(report.period), **_days(report.period)},
        "season": {"title": span_title(report.season), **_days(report.season)},
        "sources": _Plain(_fields(source, _OF_SOURCE) for source in report.sources),
        "set_aside": _Plain(_fields(row, _OF_REFUSED) for row in report.set_aside),
        "cells_set_aside": _Plain(_fields(cell, _OF_REFUSED) for cell in report.cells_set_aside),
        "read_as": [_fields(each, "file written read_as") for each in report.read_as],
        "unread_columns": [
            {**_fields(each, "file column"), "may_be": " or ".join(each.may_be) or None}
            for each in report.unread_columns
        ],
        "repeats": [_fields(each, "file lines rows first_in") for each in report.repeats],
        "not_read": [_fields(each, "file why") for each in report.not_read],
        "fallbacks": list(bench.fallbacks),
        "sections": [_section(section) for section in report.sections],
        "actions": [_ranked(ranked) for ranked in report.actions],
        "plugin_problems": [_fields(each, "origin name why") for each in report.plugin_problems],
        "vitals": [_vital(series) for series in report.vitals],
    }


def _vital(series: VitalSeries) -> Json:
    return {
        **_fields(series, "id label"),
        "section": series.section_id,
        **_fields(series, "unit better"),
        "months": [_month_vital(each) for each in series.months],
        "season": _month_vital(series.season),
    }


def _month_vital(each: MonthVital) -> Json:
    return {"label": each.span.label, **_days(each.span), "value": _value(each.value), "n": _value(each.n)}


def _section(section: ReportSection) -> Json:
    return {
        **_fields(section, "id title question origin status why"),
        "spans": [
            {
                "name": part.span.name,
                "title": span_title(part.span),
                **_days(part.span),
                **_fields(part.section, "status why unsaid"),
            }
            for part in section.parts
        ],
        "findings": [
            _finding(finding, part.span) for part in section.parts for finding in part.section.findings
        ],
        "tables": _tables(section),
        "figures": [
            {"id": figure.id, "span": part.span.name, **_fields(figure, "title alt svg")}
            for part in section.parts
            for figure in part.section.figures
        ],
        "photos": [_fields(photo, "file caption") for photo in section_photos(section)],
        "actions": [_plain_fields(action, _OF_ACTION) for action in merged_actions(section)],
        "cards": [_card(card) for card in section_cards(section)],
        "methods": list(section_methods(section)),
    }


def _finding(finding: Finding, span: Span) -> Json:
    return {
        "id": finding.id,
        "span": span.name,
        **_plain_fields(finding, "text value low high"),
        "level": None if finding.low is None and finding.high is None else finding.level,
        **_plain_fields(finding, "unit n group"),
        "more": {name: _value(cell) for name, cell in finding.more.items()},
    }


def _card(card: Card) -> Json:
    lines: list[Json] = [
        {**_fields(line, "label text"), "findings": list(line.findings)} for line in card.lines
    ]
    return {
        **_fields(card, "id title order warning"),
        "lines": lines,
        "tables": [table.id for table in card.tables],
    }


def _tables(section: ReportSection) -> list[Json]:
    """Return one table for each id, with the rows of all parts; those of cards too."""
    parts: dict[str, list[tuple[Span, Table]]] = {}
    for part in section.parts:
        own = {table.id for table in part.section.tables}
        on_cards = [table for card in part.section.cards for table in card.tables if table.id not in own]
        for table in (*part.section.tables, *on_cards):
            parts.setdefault(table.id, []).append((part.span, table))
    return [_merged(identity, tables) for identity, tables in parts.items()]


def _merged(identity: str, parts: list[tuple[Span, Table]]) -> Json:
    """Return one table whose first column is `span`; a column that only one part has is null in the other.

    It replaces a plugin's own column named `span`.
    """
    columns: dict[str, TableColumn] = {}
    for _, table in parts:
        for column in table.columns:
            if column.name != "span":
                columns.setdefault(column.name, column)
    rows = _Plain()
    for span, table in parts:
        index_of = {column.name: index for index, column in enumerate(table.columns)}
        cells, nothing = list(zip(*table.rows, strict=True)), (None,) * len(table.rows)
        of_column = [
            _values(cells[index_of[name]]) if cells and name in index_of else nothing for name in columns
        ]
        rows += zip((span.name,) * len(table.rows), *of_column, strict=True)
    first = parts[0][1]
    return {
        "id": identity,
        "title": first.title,
        "columns": ["span", *columns],
        "labels": {name: column.label for name, column in columns.items()},
        "units": {name: column.unit for name, column in columns.items() if column.unit is not None},
        "unit_from": {
            name: column.unit_from for name, column in columns.items() if column.unit_from is not None
        },
        "note": first.note,
        "rows": rows,
    }


def _ranked(ranked: RankedAction) -> Json:
    action = ranked.action
    return {
        **_fields(action, "text because"),
        "section": ranked.section_id,
        **_plain_fields(action, "worth worth_unit urgent id"),
        "state": ranked.state,
        "since": f"{ranked.since:%Y-%m}",
        "or_earlier": ranked.or_earlier,
        "span": {"label": ranked.span.label, **_days(ranked.span)},
    }


def _fields(item: object, names: str) -> dict[str, Json]:
    """Return the attributes with these names, which hold JSON values."""
    return {name: getattr(item, name) for name in names.split()}


def _plain_fields(item: object, names: str) -> dict[str, Json]:
    """Return the attributes with these names, numbers of a plugin among them, as JSON values."""
    return {name: _value(getattr(item, name)) for name in names.split()}


def _days(span: Span) -> Mapping[str, Json]:
    return {"start": iso(span.start), "end": iso(span.end)}


def rounded(value: float) -> float:
    """Return a number to 10 significant digits: those beyond differ by processor and Python version."""
    return float(f"{value:.10g}")


def _value(cell: object) -> Json:
    value = plain(cell)
    if isinstance(value, float):
        return rounded(value)
    return iso(value) if isinstance(value, date) else value


def _values(cells: Sequence[Any]) -> Sequence[Json]:
    """Return `_value` of each cell."""
    kinds = set(map(type, cells))
    if kinds <= _JSON_TYPES:
        return cast("Sequence[Json]", cells)
    if kinds <= _NUMBERS and all(map(math.isfinite, filter(None, cells))):
        return [cell and rounded(cell) for cell in cells]
    return [_value(cell) for cell in cells]
