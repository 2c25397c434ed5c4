"""What Table Schema 2.0 asks of a descriptor, and of a CSV file that conforms; written from its text.

Only what benchwater uses: fields matched by name, the types below, and these constraints.
"""

import csv
import io
import re
from datetime import datetime
from typing import Any

TYPES = {"string", "integer", "number", "datetime"}
MATCHES = {"exact", "equal", "subset", "superset", "partial"}
CONSTRAINTS = {
    "string": {"required", "enum", "pattern"},
    "integer": {"required", "enum", "minimum", "maximum"},
    "number": {"required", "enum", "minimum", "maximum"},
    "datetime": {"required", "enum", "minimum", "maximum"},
}
NUMBER = re.compile(r"[+-]?[0-9]+(\.[0-9]+)?([eE][+-]?[0-9]+)?")


def descriptor_faults(schema: dict[str, Any]) -> list[str]:
    faults = []
    names = [field.get("name") for field in schema["fields"]]
    if not names or len(set(names)) != len(names):
        faults.append(f"names: {names}")
    if schema["fieldsMatch"] not in MATCHES or schema["missingValues"] != [""]:
        faults.append(f"{schema['fieldsMatch']}, {schema['missingValues']}")
    for field in schema["fields"]:
        name, kind = field["name"], field["type"]
        if not isinstance(name, str) or kind not in TYPES or not field["description"].strip():
            faults.append(f"{field}")
        for rule, value in field.get("constraints", {}).items():
            if rule not in CONSTRAINTS[kind]:
                faults.append(f"{name}: {rule} of a {kind}")
            if rule == "required" and value is not True:
                faults.append(f"{name}: required is {value!r}")
            if rule == "enum" and not (value and len(set(value)) == len(value)):
                faults.append(f"{name}: enum {value}")
            if rule == "pattern":
                re.compile(value)
                if re.search(r"\(\?|\\[^.]", value):
                    faults.append(f"{name}: its pattern is beyond XML Schema's regular expressions")
    return faults


def file_faults(schema: dict[str, Any], text: str) -> list[str]:
    rows = list(csv.reader(io.StringIO(text, newline="")))
    header, cells = rows[0], rows[1:]
    fields = {field["name"]: field for field in schema["fields"]}
    faults = []
    if schema["fieldsMatch"] in {"equal", "subset"} and not set(fields) <= set(header):
        faults.append(f"no column {sorted(set(fields) - set(header))}")
    if schema["fieldsMatch"] == "equal" and not set(header) <= set(fields):
        faults.append(f"unknown column {sorted(set(header) - set(fields))}")
    for number, row in enumerate(cells, start=2):
        if len(row) != len(header):
            faults.append(f"row {number}: {len(row)} cells")
        faults += [
            f"row {number}, {name}: {cell!r}"
            for name, cell in zip(header, row, strict=False)
            if name in fields and not cell_conforms(fields[name], cell)
        ]
    return faults


def cell_conforms(field: dict[str, Any], cell: str) -> bool:
    rules = field.get("constraints", {})
    if cell == "":
        return not rules.get("required", False)
    if field["type"] in {"integer", "number"}:
        if not (NUMBER.fullmatch(cell) if field["type"] == "number" else re.fullmatch("[+-]?[0-9]+", cell)):
            return False
        value = float(cell)
        return bool(rules.get("minimum", value) <= value <= rules.get("maximum", value))
    if field["type"] == "datetime":
        try:
            datetime.strptime(cell, field["format"])
        except ValueError:
            return False
    if "pattern" in rules and not re.fullmatch(rules["pattern"], cell):
        return False
    return cell in rules.get("enum", [cell])
