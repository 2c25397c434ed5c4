"""Logs read by column are the logs read row by row: the same tables, rows set aside, repeats and notes."""

import itertools
import random
import shutil
from pathlib import Path
from unittest import mock

import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from benchwater.plugin import Column, LogKind, RowProblem
from benchwater.read import outcome
from benchwater.read import records as module
from benchwater.read.bench_file import load_bench
from benchwater.read.folder import read_folder
from benchwater.read.headers import recognise
from benchwater.read.outcome import FileError
from benchwater.read.records import Record, read_body
from read.row_by_row import read_folder_row_by_row, read_row_by_row, records
from read.test_dialects_property import HABITS, ROWS, written
from small_bench import read_files, shipped_kinds, small_bench

DEMO = Path(__file__).resolve().parents[2] / "sample_logs"
RELAXED = settings(
    derandomize=True,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)


def assert_same(reading, slow):
    assert set(reading.tables) == set(slow.tables)
    for name, table in reading.tables.items():
        pd.testing.assert_frame_equal(table, slow.tables[name], check_exact=True)
    for entries, expected in (
        (reading.set_aside, slow.set_aside),
        (reading.cells_set_aside, slow.cells_set_aside),
    ):
        told = [(entry.file, entry.line, entry.column, entry.value, entry.reason) for entry in entries]
        assert told == expected
    assert [(r.file, r.lines, r.rows, r.first_in) for r in reading.repeats] == slow.repeats
    assert set(reading.fallbacks) == slow.fallbacks


def compare(folder, files, keep=()):
    data = {name: text if isinstance(text, bytes) else text.encode() for name, text in files.items()}
    reading = read_files(folder, data, keep_repeats=keep)
    refused = {entry.file for entry in reading.not_read}
    readable = {name: text for name, text in sorted(data.items()) if name not in refused}
    assert_same(reading, read_row_by_row(readable, shipped_kinds(), small_bench(), keep))
    return reading


def test_the_demo_season_is_the_same(tmp_path):
    folder = tmp_path / "demo"
    shutil.copytree(DEMO, folder, ignore=shutil.ignore_patterns("earlier", "reports"))
    bench = load_bench(folder).bench
    reading = read_folder(folder, shipped_kinds(), bench)
    names = [source.file for source in reading.sources]
    assert len(names) == 12
    assert_same(reading, read_folder_row_by_row(folder, names, shipped_kinds(), bench))


@pytest.mark.slow
@settings(RELAXED, max_examples=200)
@given(rows=ROWS, habits=HABITS)
def test_every_mixture_of_habits_is_the_same(tmp_path, rows, habits):
    compare(tmp_path, {"log.csv": written(rows, habits)})


CELLS = {
    "date": ["2026-05-01", "2026-05-02 08:30", "03/04/2026", "", "Total", "Sum:", "soon", "2026/5/1"],
    "mold": ["round-jig", "Round-Jig", "", "round-gig"],
    "cavity": ["1/8", " 1/8", "Jan-08", ""],
    "outcome": ["good", "REJECT", "blank", "fine", ""],
    "count": ["1", "2", "", "0", "-1", "1.5", "two", "1,000"],
    "fill": ["1", "", "x"],
    "mold_temp": ["350", "350 F", "176.5C", "2000", "hot", "", "350,5"],
    "melt_temp": ["700", "", "1600 F"],
    "mass": ["7.1", "1/4 oz", "3/0", "", "7,1"],
    "flaw": ["", "flash", "short-fill", "odd"],
    "material": ["", "alloy", "black", "lead"],
    "session": ["", "Eve", "eve", "EVE", " "],
    "weather": ["", "05", "NA", "nan", "1e5", "True", "word"],
    "note": ["", " two  words ", '"', '""', 'a "b" c', '"quoted, ""so"""', '"open', "\u00bd", "x" * 2001],
}  # fmt: skip
STOCK_CELLS = {
    "date": ["2026-05-01", "2026-05-02", ""],
    "item": ["alloy", "hook-2", "Hook-2", "black", "", "hook-9"],
    "move": ["received", "counted", "used", "?"],
    "amount": ["3", "3 lb", "2.5", "3 fl oz", "", "10 pcs"],
    "cost": ["", "$4.00", "4", "-1"],
    "uncertainty": ["", "1 g", "0.5", "much"],
    "note": ["", "a", "b"],
}


def log(draw_from, rows, rng, wide):
    lines = [",".join(draw_from)]
    for _ in range(rows):
        cells = [rng.choice(of) if rng.random() < 0.25 else of[0] for of in draw_from.values()]
        cells += [rng.choice(["", "", "x"]) for _ in range(rng.choice([0, 0, 0, wide]))]
        lines.append(",".join(cells[: rng.choice([len(cells), len(cells), 9])]))
        if rng.random() < 0.1:
            lines.append(rng.choice(["", " ", ",,,", '""', " , "]))
    return rng.choice(["\n", "\r\n", "\r"]).join(lines) + rng.choice(["", "\n"])


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(60))
def test_logs_with_everything_wrong_in_them_are_the_same(tmp_path, seed):
    rng = random.Random(seed)
    wide = rng.choice([1, 2, 3, 9])
    files = {f"pour-{number}.csv": log(CELLS, rng.choice([3, 40]), rng, wide) for number in range(3)}
    files |= {"copy.csv": files["pour-1.csv"], "stock.csv": log(STOCK_CELLS, 40, rng, 2)}
    files |= {"more stock.csv": log(STOCK_CELLS, 40, rng, 2)}
    keep = rng.choice([(), ("copy.csv",), ("pour-0.csv", "stock.csv"), ("*",)])
    reading = compare(tmp_path, files, keep)
    assert len(reading.sources) == 6


@pytest.mark.slow
@settings(RELAXED, max_examples=300)
@given(
    text=st.text(alphabet='ab1 ,;\t"\n\r\x00\x0b\x1c\u2028\ufeff½', max_size=80),
    separator=st.sampled_from(",;\t"),
)
def test_columns_hold_the_records_whatever_the_text(text, separator):
    wanted = list(records(text, separator))
    plain = text.replace("\r\n", "\n").replace("\r", "\n")
    for width, small in itertools.product((1, 3), (0, module.SMALL)):
        with mock.patch.object(module, "SMALL", small):
            found = read_body(plain, separator, width, first_line=1)
        rows = [found.record(row) for row in range(len(found.lines))]
        assert [short(record) for record in rows] == [short(record) for record in wanted]


def short(record: Record) -> Record:
    cells = [cell.strip() for cell in record.cells]
    while cells and not cells[-1]:
        cells.pop()
    return record._replace(cells=tuple(cells))


def test_a_text_is_split_the_same_in_one_stretch_and_in_many(monkeypatch):
    text = (
        "\n".join(f"{n},{n % 7},{'x' if n % 11 else ''}" for n in range(500)) + '\n1,"2",3\n007,True,1.50\n'
    )
    monkeypatch.setattr(module, "SMALL", 0)
    at_once = read_body(text, ",", 3, first_line=2)
    monkeypatch.setattr(module, "_CHUNK_BYTES", 64)
    in_many = read_body(text, ",", 3, first_line=2)
    assert [at_once.record(row) for row in range(502)] == [in_many.record(row) for row in range(502)]
    assert at_once.record(501).cells[:3] == ("007", "True", "1.50")


def test_digits_are_never_taken_for_numbers(tmp_path):
    """pandas turns a category of digits into numbers by itself, and `05` into 5."""
    text = "date,mold,cavity,outcome,weather\n2026-05-02,round-jig,1/8,good,05\n"
    assert read_files(tmp_path, {"pour.csv": text}).tables["pour"].loc[0, "weather"] == "05"


def test_a_check_is_asked_for_every_combination_of_what_it_looks_at(tmp_path):
    """It looks at `c` only where `b` is 1, and at everything where `b` is 2."""

    def check(row, bench):
        if row["b"] == 1 and row["c"] == 3:
            yield RowProblem(column="c", why="is 3 where b is 1")
        if row["b"] == 2 and dict(row)["d"] is not None:
            yield RowProblem(column="d", why="is there where b is 2")

    columns = [Column(name="date", meaning="day", kind="date", needed=True)]
    columns += [Column(name=name, meaning=name, kind="count") for name in "bcd"]
    kind = LogKind(name="own", title="Own", columns=tuple(columns), known_by=("date", "b"), check=check)
    rng = random.Random(3)
    rows = [[rng.choice(["", "1", "2", "3"]) for _ in "bcd"] for _ in range(200)]
    text = "date,b,c,d\n" + "\n".join(f"2026-05-01,{','.join(row)}" for row in rows)
    (tmp_path / "own.csv").write_text(text)
    reading = read_folder(tmp_path, [kind], small_bench())
    assert_same(reading, read_row_by_row({"own.csv": text.encode()}, [kind], small_bench()))
    wrong = [n for n, (b, c, d) in enumerate(rows) if (b, c) == ("1", "3") or (b == "2" and d)]
    assert not reading.set_aside
    assert [entry.line - 2 for entry in reading.cells_set_aside] == wrong


def test_a_hostile_file_stops_early(monkeypatch):
    monkeypatch.setattr(module, "MOST_ROWS", 5)
    monkeypatch.setattr(module, "MOST_LINES", 20)
    monkeypatch.setattr(module, "SMALL", 0)
    with pytest.raises(FileError, match="6 rows"):
        read_body("a,b\n" * 6, ",", 2, first_line=1)
    with pytest.raises(FileError, match="21 lines"):
        read_body("\n" * 21, ",", 2, first_line=1)
    with pytest.raises(FileError, match="on line 2"):
        recognise("date,mold\n" + "x" * (outcome.LONGEST_LINE + 1), shipped_kinds())


def test_two_columns_of_one_heading_that_no_log_knows_are_both_kept_and_named(tmp_path):
    reading = read_files(
        tmp_path,
        {"p.csv": "date,mold,cavity,outcome,sky,sky\n2026-05-02,round-jig,1/8,good,rain,sun\n"},
    )
    assert reading.tables["pour"][["sky", "sky (column 6)"]].to_numpy().tolist() == [["rain", "sun"]]
    assert [each.column for each in reading.unread_columns] == ["sky", "sky (column 6)"]
