"""The golden numbers of the demo: of its season and two of its months. Written again by running this.

.venv/bin/python tests/tasks.py golden
"""

import json
import re
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
_OF_FINDING = "id span group value low high n more".split()


def numbers(report: Report) -> dict[str, Any]:
    """By section: findings, tables that are not long, the actions with their worth, and what figures draw."""
    twin = json.loads(render_json(report))
    drawn = {
        section.id: [
            [figure.id, round(sum(map(float, _NUMBER.findall(figure.svg))))]
            for part in section.parts
            for figure in part.section.figures
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
            "actions": [[action["id"], action["worth"]] for action in section["actions"]],
            "figures": drawn[section["id"]],
        }
        for section in twin["sections"]
    }
    found["rows"] = {source["file"]: [source["rows"], source["used"]] for source in twin["sources"]}
    return found


if __name__ == "__main__":
    demo = read_workspace(ROOT / "sample_logs", workspace_plugins=False)
    requests = {label: Request(month=month, whole_season=month is None) for label, month in MONTHS.items()}
    golden = {label: numbers(make_report(demo, request)) for label, request in requests.items()}
    FILE.write_text(json.dumps(golden, ensure_ascii=False, separators=(",", ":")) + "\n", encoding="utf-8")
