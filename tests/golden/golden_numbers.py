"""The golden numbers and sentences of the demo: of its season and two of its months. Written by running this.

.venv/bin/python tests/tasks.py golden
"""

import json
import math
import re
from collections.abc import Iterator
from hashlib import sha256
from pathlib import Path
from typing import Any

from benchwater.analyse.report import Report
from benchwater.pipeline import Request, make_report, read_workspace
from benchwater.render.json_twin import render_json

HERE = Path(__file__).parent
FILE = HERE / "numbers.json"
ROOT = HERE.parents[1]
MONTHS: dict[str, str | None] = {"season": None, "2026-05": "2026-05", "2026-07": "2026-07"}
_LARGEST_TABLE = 60
_NUMBER = re.compile(r"\d+(?:\.\d+)?")
_OF_FINDING = "id span group value low high n unit level more".split()
_SAID = frozenset("text because why unsaid title alt label labels note methods caption".split())


def numbers(report: Report) -> dict[str, Any]:
    """By section: findings, tables (of long ones the sums), the actions with their worth, what figures draw,
    and marks of how each table is printed and of each sentence."""
    twin = json.loads(render_json(report))
    drawn = {
        section.id: [
            [figure.id, round(sum(map(float, _NUMBER.findall(figure.svg))))]
            for part in section.parts
            for figure in part.section.figures
        ]
        for section in report.sections
    }
    printed = {
        section.id: [
            [table.id, mark(str((table.columns, table.print_units, table.print_rows, table.paper_rows)))]
            for part in section.parts
            for table in (
                *part.section.tables,
                *(each for card in part.section.cards for each in card.tables),
            )
        ]
        for section in report.sections
    }
    found: dict[str, Any] = {
        section["id"]: {
            "status": section["status"],
            "findings": [[finding[name] for name in _OF_FINDING] for finding in section["findings"]],
            "tables": {
                table["id"]: [table["columns"], *table["rows"]]
                for table in section["tables"]
                if len(table["rows"]) <= _LARGEST_TABLE
            },
            "long tables": {
                table["id"]: [len(table["rows"]), *_sums(table)]
                for table in section["tables"]
                if len(table["rows"]) > _LARGEST_TABLE
            },
            "actions": [
                [action[name] for name in ("id", "worth", "urgent", "holds")] for action in section["actions"]
            ],
            "figures": drawn[section["id"]],
            "printed": printed[section["id"]],
            "sentences": [mark(sentence) for sentence in _said(section)],
        }
        for section in twin["sections"]
    }
    found["rows"] = {source["file"]: [source["rows"], source["used"]] for source in twin["sources"]}
    found["vitals"] = [
        [vital["id"], *([month["value"], month["n"]] for month in (*vital["months"], vital["season"]))]
        for vital in twin["vitals"]
    ]
    found["ranked actions"] = {"sentences": [mark(sentence) for sentence in _said(twin["actions"])]}
    return found


def sentences(report: Report) -> dict[str, str]:
    """Every sentence of a report by its mark."""
    twin = json.loads(render_json(report))
    return {mark(sentence): sentence for sentence in _said([twin["sections"], twin["actions"]])}


def mark(sentence: str) -> str:
    """Return a few digits that are other ones for another sentence."""
    return sha256(sentence.encode("utf-8")).hexdigest()[:6]


def _said(value: Any, *, is_said: bool = False) -> Iterator[str]:
    if isinstance(value, dict):
        for name, each in value.items():
            yield from _said(each, is_said=is_said or name in _SAID)
    elif isinstance(value, list):
        for each in value:
            yield from _said(each, is_said=is_said)
    elif is_said and isinstance(value, str):
        yield value


def _sums(table: dict[str, Any]) -> Iterator[list[Any]]:
    for column, cells in zip(table["columns"], zip(*table["rows"], strict=True), strict=True):
        known = [cell for cell in cells if cell is not None]
        if any(isinstance(cell, str) for cell in known):
            yield [column, mark("\n".join(map(str, known)))]
        else:
            yield [column, len(known), math.fsum(known)]


if __name__ == "__main__":
    demo = read_workspace(ROOT / "sample_logs", workspace_plugins=False)
    requests = {label: Request(month=month, whole_season=month is None) for label, month in MONTHS.items()}
    golden = {label: numbers(make_report(demo, request)) for label, request in requests.items()}
    FILE.write_text(json.dumps(golden, ensure_ascii=False, separators=(",", ":")) + "\n", encoding="utf-8")
