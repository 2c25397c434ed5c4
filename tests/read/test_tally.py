"""The printed tally sheet, typed box by box into a file, gives the castings that its marks stand for."""

from collections import Counter

import pytest

from benchwater.read.bench_file import parse_bench
from benchwater.read.folder import read_folder
from benchwater.sheets.labels import mold_tallies
from small_bench import read_files, shipped_kinds

BENCH = parse_bench(
    """
[bench]
name = "Tally"
units = "us"
[items.lead]
kind = "lead"
[molds.ball]
material = "lead"
[[molds.ball.cavities]]
name = "1/16"
mass = "1/16 oz"
per_fill = 2
[[molds.ball.cavities]]
name = "1/8"
mass = "1/8 oz"
[molds.spoon]
material = "lead"
cavities = ["1/2"]
"""
).bench
OUTCOMES = {"|": "good", "x": "reject", "o": "blank"}


def read(folder, text):
    return read_files(folder, {"tally.csv": text}, bench=BENCH)


def castings(reading, *columns):
    table = reading.tables["pour"]
    rows = table[list(columns)].astype(object).where(table[list(columns)].notna(), None)
    found: Counter[tuple[object, ...]] = Counter()
    for row, count in zip(rows.itertuples(index=False, name=None), table["count"], strict=True):
        found[row] += count
    return found


def test_the_boxes_of_every_sheet_come_back_as_the_castings_marked(tmp_path):
    pour = next(kind for kind in shipped_kinds() if kind.name == "pour")
    expected: Counter[tuple[object, ...]] = Counter()
    for sheet in mold_tallies(pour, BENCH):
        (fills, *_) = sheet.blocks
        lines = [",".join(["date", "mold", "fill", sheet.temperature, *sheet.places, "flaw"])]
        for fill in fills[:12]:
            marks = ["o" if fill < 3 else "|xo|"[(fill * 7 + at) % 4] for at in range(len(sheet.places))]
            flaw = "short fill" if "x" in marks else ""
            lines.append(",".join(["2026-05-01", sheet.mold, str(fill), str(200 + fill), *marks, flaw]))
            for place, mark in zip(sheet.places, marks, strict=True):
                key = (sheet.mold, place, fill, OUTCOMES[mark], flaw if mark == "x" else None)
                expected[key] += 1
        (tmp_path / f"{sheet.mold}.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    reading = read_folder(tmp_path, shipped_kinds(), BENCH)
    assert [*reading.set_aside, *reading.cells_set_aside, *reading.not_read, *reading.unread_columns] == []
    assert castings(reading, "mold", "cavity", "fill", "outcome", "flaw") == expected
    assert reading.tables["pour"]["mold_temp_c"].notna().all()


HEAD = "date,mold,fill,mold_temp,1/16,1/16,1/8,flaw\n"


@pytest.mark.parametrize(
    ("cells", "expected"),
    [
        ("|,|,x,flash", {("1/16", "good", None): 2, ("1/8", "reject", "flash"): 1}),
        (
            "good,bad,blank,flash",
            {("1/16", "good", None): 1, ("1/16", "reject", "flash"): 1, ("1/8", "blank", None): 1},
        ),
        (
            "|,wrinkled,x,flash",
            {("1/16", "good", None): 1, ("1/16", "reject", "cold shut"): 1, ("1/8", "reject", "flash"): 1},
        ),
        ("○,O,✗,", {("1/16", "blank", None): 2, ("1/8", "reject", None): 1}),
        ("||,|x,,", {("1/16", "good", None): 3, ("1/16", "reject", None): 1}),
    ],
)
def test_a_box_may_hold_marks_or_words(tmp_path, cells, expected):
    reading = read(tmp_path, HEAD + f"2026-05-01,ball,4,310 F,{cells}\n")
    assert castings(reading, "cavity", "outcome", "flaw") == expected
    assert [*reading.set_aside, *reading.cells_set_aside] == []


def test_a_line_without_a_mark_is_named_and_a_box_of_another_word_is_set_aside(tmp_path):
    reading = read(
        tmp_path, HEAD + "2026-05-01,ball,1,,|,|,|,\n2026-05-01,ball,2,,,,,\n2026-05-01,ball,3,,|,|,hm,\n"
    )
    assert castings(reading, "cavity") == {("1/16",): 4, ("1/8",): 1}
    assert ("lines 3", "fills without a casting") in {
        (each.written, each.read_as) for each in reading.read_as
    }
    assert [(each.line, each.value) for each in reading.set_aside] == [(4, "hm")]


def test_counts_under_two_columns_of_one_cavity_are_summed(tmp_path):
    reading = read(tmp_path, "date,mold,outcome,1/16,1/16,1/8\n2026-05-01,ball,good,9,4,3\n")
    assert castings(reading, "cavity", "outcome") == {("1/16", "good"): 13, ("1/8", "good"): 3}
