"""The demo season kept in other shapes gives the same rows, whatever shapes are mixed."""

import io
import random
from collections import defaultdict
from functools import cache
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
import xlsxwriter

from benchwater.read.bench_file import load_bench
from benchwater.read.folder import read_folder
from small_bench import shipped_kinds

DEMO = Path(__file__).parents[2] / "sample_logs"
UNITS = {"_c": " [C]", "_g": " [g]", "_h": " [h]", "_mm": " [mm]"}
OUTCOMES = {"good": "good", "reject": "bad", "blank": "blank"}


@cache
def demo():
    """The bench, and the rows of its last season: those before are in other columns."""
    bench = load_bench(DEMO).bench
    tables = read_folder(DEMO, shipped_kinds(), bench).tables
    return bench, {log: table[table["date"] >= "2026-03-01"] for log, table in tables.items()}


def written(value):
    if isinstance(value, tuple):
        return "; ".join(value)
    if isinstance(value, pd.Timestamp):
        return f"{value:%Y-%m-%d %H:%M}" if value != value.normalize() else f"{value:%Y-%m-%d}"
    if value is None or value != value:
        return ""
    return str(int(value)) if isinstance(value, float) and value == int(value) else str(value)


def records(log):
    """The rows of a log as texts by canonical heading; amounts with the unit they are held in."""
    bench, tables = demo()
    kind = next(kind for kind in shipped_kinds() if kind.name == log)
    found = []
    for row in tables[log].astype(object).to_dict("records"):
        cells = {}
        for column in kind.columns:
            suffix = column.frame_name.removeprefix(column.name)
            cells[column.name + UNITS.get(suffix, "")] = written(row[column.frame_name])
        if log == "inventory":
            unit = bench.items[row["item"]].unit
            for name in ("amount", "uncertainty"):
                cells[name] = cells[name] and f"{cells[name]} {unit}"
        found.append(cells)
    return found


def side_by_side(rows, word, number, names, only):
    """One record for rows that differ in a word and its number alone; what only one word may have is kept."""
    lines: list[Any] = []
    taken: defaultdict[Any, set[Any]] = defaultdict(set)
    by_key: dict[Any, Any] = {}
    for row in rows:
        rest = {name: text for name, text in row.items() if name not in {word, number, *only}}
        key = tuple(rest.items())
        line = by_key.get(key)
        mass = row.get("mass [g]", "")
        if line is None or row[word] in taken[id(line)] or mass or (number == "amount" and row.get("cost")):
            line = dict.fromkeys(names.values(), "") | rest | dict.fromkeys(only, "")
            lines.append(line)
            if not mass:
                by_key[key] = line
        taken[id(line)].add(row[word])
        line[names[row[word]]] = row[number] or "1"
        for name, words in only.items():
            if row[word] in words:
                line[name] = row[name]
    return lines


def by_cavity(rows):
    """One record for the cavities of a mold in one fill and outcome, a column for each."""
    lines: list[Any] = []
    by_key: dict[Any, Any] = {}
    sizes = list(dict.fromkeys(row["cavity"] for row in rows))
    for row in rows:
        rest = {name: text for name, text in row.items() if name not in {"cavity", "count"}}
        key = tuple(rest.items())
        if row["mass [g]"] or key not in by_key or by_key[key][row["cavity"]]:
            by_key[key] = dict.fromkeys(sizes, "") | rest
            lines.append(by_key[key])
        by_key[key][row["cavity"]] = row["count"]
        if row["mass [g]"]:
            del by_key[key]
    return lines


def shaped(log, rows, choice):
    if log == "pour" and choice == 1:
        return side_by_side(rows, "outcome", "count", OUTCOMES, {"flaw": ("reject",)})
    if log == "pour" and choice == 2:
        return by_cavity(rows)
    if log == "inventory" and choice:
        words = {"received": "in", "used": "out", "counted": "left", "discarded": "discarded"}
        own = [row for row in rows if row["move"] in words and not row["uncertainty"]]
        rest = [row for row in rows if row not in own]
        made = side_by_side(own, "move", "amount", words, {"cost": ("received",)})
        return made, rest
    return rows


def as_lines(rows):
    names = list(dict.fromkeys(name for row in rows for name in row))
    return [names, *([row.get(name, "") for name in names] for row in rows)]


def as_text(lines):
    out = io.StringIO()
    pd.DataFrame(lines).to_csv(out, index=False, header=False)
    return out.getvalue()


def write(folder, seed):
    """Write the season in shapes and files drawn by a seed."""
    draw = random.Random(seed)
    blocks = []
    for log in ("pour", "inventory", "finishing", "fishing", "catch"):
        made = shaped(log, records(log), draw.randrange(3))
        blocks += [(log, block) for block in (made if isinstance(made, tuple) else (made,)) if block]
    place = draw.choice(["files", "sections", "workbook", "everything"])
    if place == "sections":
        text = "\n".join(f"{log.title()}\n{as_text(as_lines(rows))}" for log, rows in blocks)
        (folder / "season.csv").write_text(text, encoding="utf-8")
    elif place == "workbook":
        with xlsxwriter.Workbook(folder / "season.xlsx") as book:
            for number, (log, rows) in enumerate(blocks):
                sheet = book.add_worksheet(f"{log} {number}")
                for at, line in enumerate(as_lines(rows)):
                    for column, text in enumerate(line):
                        is_number = at and text.replace(".", "", 1).isdigit()
                        sheet.write(at, column, float(text) if is_number else text)
    elif place == "everything":
        of_log: dict[str, Any] = {}
        for log, rows in blocks:
            of_log.setdefault(log, rows)
        rows = [{"what": log} | row for log, own in of_log.items() for row in own]
        (folder / "season.csv").write_text(as_text(as_lines(rows)), encoding="utf-8")
        blocks = [(log, rows) for log, rows in blocks if of_log[log] is not rows]
    if place in {"files", "everything"}:
        for number, (log, rows) in enumerate(blocks):
            (folder / f"{log}-{number}.csv").write_text(as_text(as_lines(rows)), encoding="utf-8")
    return place


def plain_rows(table):
    columns = [name for name in table.columns if name not in {"file", "line", "weather"}]
    cells = table[columns].astype(object)
    return sorted(tuple(map(compared, row)) for row in cells.itertuples(index=False))


def compared(value):
    number = isinstance(value, float) and value == value
    return " ".join((f"{value:.6g}" if number else written(value)).split())


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(12))
def test_the_demo_in_drawn_shapes_gives_the_same_rows(tmp_path, seed):
    bench, tables = demo()
    write(tmp_path, seed)
    reading = read_folder(tmp_path, shipped_kinds(), bench, keep_repeats=["*"])
    assert (reading.not_read, reading.set_aside, reading.cells_set_aside) == ((), (), ())
    for log, table in tables.items():
        assert plain_rows(reading.tables[log]) == plain_rows(table), log
