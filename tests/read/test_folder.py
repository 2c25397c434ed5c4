import dataclasses
import os

import pandas as pd
import pytest

from benchwater.files import LARGEST_FILE_BYTES
from benchwater.read.folder import read_folder
from benchwater.read.outcome import LONGEST_CELL, Reason
from small_bench import read_files, shipped_kinds, small_bench, write_files

POUR = """\
date,mold,cavity,outcome,count,mold_temp,mass,note
2026-05-02,round-jig,1/8,good,2,350,7.1,"first, of the day"
2026-05-02,round-jig,1/8,reject,1,245.5,,short
2026-05-02,round-jig,1/8,good,2,350,7.1,"first, of the day"
"""

DIALECTS = {
    "plain": POUR.encode(),
    "windows line ends and a mark": b"\xef\xbb\xbf" + POUR.replace("\n", "\r\n").encode(),
    "utf-16": POUR.encode("utf-16"),
    "tabs": POUR.replace('"first, of the day"', "first; of the day")
    .replace(",", "\t")
    .replace(";", ",")
    .encode(),
    "semicolons and decimal commas": (
        b"date;mold;cavity;outcome;count;mold_temp;mass;note\n"
        b"2026-05-02;round-jig;1/8;good;2;350;7,1;first, of the day\n"
        b"2026-05-02;round-jig;1/8;reject;1;245,5;;short\n"
        b"2026-05-02;round-jig;1/8;good;2;350;7,1;first, of the day\n"
    ),
    "stray case, spaces, units in cells and heading, synonyms, ragged and blank lines": (
        b"\n Date , MOULD,Cavity ,Outcome, QTY ,Mold Temp [F],weight,Notes,,\n"
        b'2026-05-02,Round-Jig,1/8,GOOD,2,350 F,7.1 g,"first, of the day",,\n\n'
        b"2026-05-02,round-jig, 1/8 ,Reject,,245.5,,short\n"
        b'2026-05-02,round-jig,1/8,good,2,350\xc2\xb0F,7.1g,"first, of the day"\n'
    ),
    "a hint for spreadsheets above the header": b"sep=,\n" + POUR.encode(),
}


@pytest.mark.parametrize("data", DIALECTS.values(), ids=DIALECTS.keys())
def test_the_same_log_is_the_same_table_in_every_dialect(tmp_path, data):
    reading = read_files(tmp_path, {"a log.csv": data})
    assert not reading.set_aside
    table = reading.tables["pour"]
    assert table["count"].tolist() == [2, 1, 2]
    assert table["mold"].tolist() == ["round-jig"] * 3
    assert table["mold_temp_c"].tolist() == pytest.approx([176.6667, 118.6111, 176.6667], abs=1e-4)
    assert table["mass_g"].tolist() == pytest.approx([7.1, float("nan"), 7.1], nan_ok=True)
    assert table["note"].tolist() == ["first, of the day", "short", "first, of the day"]


SMALLEST = {
    Reason.MISSING: ("2026-05-02,round-jig,1/8,,1,,", "outcome", ""),
    Reason.DATE: ("yesterday,round-jig,1/8,good,1,,", "date", "yesterday"),
    Reason.DATE_ORDER: ("03/04/2026,round-jig,1/8,good,1,,", "date", "03/04/2026"),
    Reason.NUMBER: ("2026-05-02,round-jig,1/8,good,a few,,", "count", "a few"),
    Reason.WORD: ("2026-05-02,round-jig,1/8,iffy,1,,", "outcome", "iffy"),
    Reason.NAME: ("2026-05-02,rond-rig,1/8,good,1,,", "mold", "rond-rig"),
    Reason.TOO_MANY_CELLS: ("2026-05-02,round-jig,1/8,good,1,350,,10,6", "", "10"),
    Reason.TOO_LONG: (f"2026-05-02,round-jig,1/8,good,1,,{'x' * (LONGEST_CELL + 1)}", "note", None),
    Reason.OPEN_QUOTE: ('2026-05-02,round-jig,1/8,good,1,,"never closed', "", '"never closed'),
    Reason.TOTALS: ("Total,,,,12,,", "date", "Total"),
    Reason.RULE: ("2026-05-02,round-jig,1/8,good,0,,", "count", "0"),
}


@pytest.mark.parametrize("reason", [reason for reason in Reason if reason is not Reason.QUANTITY])
def test_each_reason_has_a_smallest_row_and_the_rows_around_it_are_used(tmp_path, reason):
    row, column, value = SMALLEST[reason]
    good = "2026-05-02,round-jig,1/8,good,1,,"
    text = f"date,mold,cavity,outcome,count,mold_temp,note\n{good}\n{row}\n{good}\n"
    reading = read_files(tmp_path, {"pour.csv": text})
    (entry,) = reading.set_aside
    assert (entry.file, entry.line, entry.column) == ("pour.csv", 3, column)
    assert entry.reason == reason.name.lower()
    assert value is None or entry.value == value
    assert entry.why
    (source,) = reading.sources
    assert (source.rows, source.used, source.set_aside) == (3, 2, 1)


@pytest.mark.parametrize(
    ("files", "expected"),
    [
        ({"pour.csv": "date,mold,cavity,outcome\n2026-05-02,rond-rig,1/8,good\n"}, "nearest: `round-jig`"),
        ({"pour.csv": "date,mold,cavity,outcome\n2026-05-02,round-jig,1/4,good\n"}, "it has `1/8`"),
        ({"pour.csv": "date,mold,cavity,outcome\n2026-05-02,round-jig,4-Jan,good\n"}, "spreadsheet"),
        ({"s.csv": "date,item,move,amount\n2026-05-02,hook-3,received,4\n"}, "nearest: `hook-2`"),
        ({"f.csv": "date,build,fished,fate\n2026-05-02,perch-club,1 h,kept\n"}, "nearest: `perch-grub`"),
    ],
)
def test_an_unknown_name_names_the_nearest_known_ones(tmp_path, files, expected):
    (entry,) = read_files(tmp_path, files).set_aside
    assert expected in entry.why


ALONE = [
    ("pour", "mold_temp", "hot"),
    ("pour", "melt_temp", "9000 F"),
    ("pour", "mass", "light"),
    ("pour", "fill", "third"),
    ("pour", "flaw", "wonky"),
    ("inventory", "cost", "a lot"),
    ("inventory", "uncertainty", "some"),
    ("finishing", "part_temp", "warm"),
    ("finishing", "cure_temp", "hot"),
    ("finishing", "cure_time", "a while"),
    ("finishing", "flaw", "wonky"),
    ("fishing", "cause", "gremlins"),
    ("fishing", "casts", "many"),
    ("catch", "length", "long"),
    ("catch", "mass", "heavy"),
    ("catch", "released", "perhaps"),
]
ROWS = {
    "pour": "2026-05-02,round-jig,1/8,reject,3",
    "inventory": "2026-05-02,hook-2,received,50",
    "finishing": "2026-05-02,round-jig,1/8,black,12",
    "fishing": "2026-05-02,perch-grub,2 h,lost,2",
    "catch": "2026-05-02,yellow perch,perch-grub,4",
}
HEADERS = {
    "pour": "date,mold,cavity,outcome,count",
    "inventory": "date,item,move,amount",
    "finishing": "date,mold,cavity,coat,count",
    "fishing": "date,build,fished,fate,count",
    "catch": "date,species,build,count",
}


@pytest.mark.parametrize(("log", "column", "cell"), ALONE)
def test_a_cell_that_does_not_decide_its_row_is_set_aside_alone(tmp_path, log, column, cell):
    reading = read_files(tmp_path, {"log.csv": f"{HEADERS[log]},{column}\n{ROWS[log]},{cell}\n"})
    (entry,) = reading.cells_set_aside
    assert (entry.file, entry.line, entry.column, entry.value) == ("log.csv", 2, column, cell)
    assert entry.why
    assert not reading.set_aside
    (source,) = reading.sources
    assert (source.rows, source.used, source.set_aside, source.cells_set_aside) == (1, 1, 0, 1)
    blank = read_files(tmp_path / "blank", {"log.csv": f"{HEADERS[log]},{column}\n{ROWS[log]},\n"})
    pd.testing.assert_frame_equal(reading.tables[log], blank.tables[log])


@pytest.mark.parametrize(
    ("log", "column", "cell"),
    [("finishing", "rejects", "few"), ("pour", "material", "mystery metal"), ("finishing", "rejects", "13")],
)
def test_a_cell_whose_loss_would_change_what_the_row_counts_sets_it_aside(tmp_path, log, column, cell):
    reading = read_files(tmp_path, {"log.csv": f"{HEADERS[log]},{column}\n{ROWS[log]},{cell}\n"})
    assert [(entry.column, entry.value) for entry in reading.set_aside] == [(column, cell)]
    assert not reading.cells_set_aside


def test_a_bait_lost_without_a_cause_is_lost_all_the_same(tmp_path):
    reading = read_files(tmp_path, {"f.csv": "date,build,fished,fate\n2026-05-02,perch-grub,1 h,lost\n"})
    assert not reading.set_aside
    assert not reading.cells_set_aside
    assert reading.tables["fishing"]["fate"].tolist() == ["lost"]


def test_a_cause_of_a_bait_that_was_kept_is_set_aside_alone(tmp_path):
    text = "date,build,fished,fate,cause\n2026-05-02,perch-grub,1 h,kept,snag\n"
    reading = read_files(tmp_path, {"f.csv": text})
    assert [(cell.column, cell.value, cell.reason) for cell in reading.cells_set_aside] == [
        ("cause", "snag", "rule")
    ]
    assert reading.tables["fishing"]["cause"].isna().tolist() == [True]


def test_a_cell_set_aside_in_a_row_that_is_not_used_is_told_with_the_row_alone(tmp_path):
    text = f"{HEADERS['pour']},mold_temp\n2026-05-02,round-jig,1/8,good,0,hot\n"
    reading = read_files(tmp_path, {"p.csv": text})
    (entry,) = reading.set_aside
    assert entry.column == "count"
    assert "`mold_temp`" in entry.why
    assert not reading.cells_set_aside


def test_a_second_problem_of_a_row_is_told_with_the_first(tmp_path):
    text = "date,mold,cavity,outcome,mold_temp\nyesterday,round-jig,1/8,iffy,hot\n"
    (entry,) = read_files(tmp_path, {"pour.csv": text}).set_aside
    assert "`outcome`" in entry.why
    assert "`mold_temp`" in entry.why


def test_a_row_set_aside_keeps_the_cells_that_could_be_read_for_the_season(tmp_path):
    write = "date,mold,cavity,outcome,count,mold_temp\n2026-05-02,round-jig,1/8,good,2,350\n"
    write += "2026-05-03,round-jig,1/8,sploosh,3,350\n?,round-jig,1/8,reject,x,\nTotal,,,,5,\n"
    reading = read_files(tmp_path, {"pour.csv": write})
    rows = reading.tables_set_aside["pour"]
    assert rows[["mold", "outcome", "count"]].astype(object).where(rows.notna(), None).values.tolist() == [
        ["round-jig", None, 3.0],
        ["round-jig", "reject", None],
    ]
    assert [str(day) for day in rows["date"]] == ["2026-05-03 00:00:00", "NaT"]
    assert rows[["line", "column", "value", "reason"]].values.tolist() == [
        [3, "outcome", "sploosh", "word"],
        [4, "date", "?", "date"],
    ]


def test_equal_rows_of_one_file_are_meant_and_those_of_a_second_file_are_repeats(tmp_path):
    cumulative = POUR + "2026-06-01,round-jig,1/8,good,1,350,,\n"
    reading = read_files(tmp_path, {"2026-05.csv": POUR, "all.csv": cumulative, "copy.csv": cumulative})
    assert len(reading.tables["pour"]) == 4
    assert [(repeat.file, repeat.lines, repeat.first_in) for repeat in reading.repeats] == [
        ("all.csv", "2-4", "2026-05.csv"),
        ("copy.csv", "2-4", "2026-05.csv"),
        ("copy.csv", "5", "all.csv"),
    ]
    assert [(source.rows, source.used, source.repeated) for source in reading.sources] == [
        (3, 3, 0),
        (4, 1, 3),
        (4, 0, 4),
    ]


def test_a_repeat_written_in_another_dialect_is_still_one(tmp_path):
    reading = read_files(tmp_path, {"a.csv": POUR, "b.csv": DIALECTS["semicolons and decimal commas"]})
    assert len(reading.tables["pour"]) == 3


def test_bench_toml_can_say_that_equal_rows_of_a_file_are_meant(tmp_path):
    assert (
        len(read_files(tmp_path, {"a.csv": POUR, "b.csv": POUR}, keep_repeats=("b.csv",)).tables["pour"]) == 6
    )


SMALL_HEADINGS = [
    "date,mold,cavity,outcome,count,mold_temp,mass,note",
    "Date,Mold,Cavity,Result,How many,Mold Temp [C],Weight,Weather",
    "date;mold;cavity;outcome;count;mold_temp;mass;said by",
    "date,mold,cavity,outcome,count,mold_temp,mass,note,note",
    "date,mold,outcome,count",
]
SMALL_ROWS = [
    "2026-05-{day:02},round-jig,1/8,good,2,350,7.1,warm",
    "{day}/5/2026,Round-Jig,1/8,reject,,about 245,~7,short",
    "5/{day},round-jig,1/8,short fill,1,180 C,,",
    "2026-05-{day:02},rond-rig,1/8,good,a few,350,7.1,rain",
    '2026-05-{day:02},round-jig,1/8,good,1,350,7.1,"first, of the day"',
    '2026-05-{day:02},",1/8,good,1,350,7.1,warm',
    "2026-05-{day:02},round-jig,1/8,good,1,350,7.1,warm,beyond,the columns",
    "total,,,,3,,,",
    "2026-05-{day:02},round-jig,1/8,good,1,9000,7.1,cold",
    "2026-05-{day:02},round-jig 1/8,,good,2,350,7.1,",
]


def test_a_file_is_read_the_same_beside_many_others(tmp_path):
    files = {}
    for number in range(20):
        heading = SMALL_HEADINGS[number % 5]
        rows = [
            SMALL_ROWS[(number // 5 * 3 + row) % 10].format(day=1 + number % 28)
            for row in range(1 + number % 3)
        ]
        marks = str.maketrans(",", ";") if ";" in heading else {}
        files[f"{number:03} of 2026.csv"] = "\n".join([heading, *(row.translate(marks) for row in rows), ""])
    whole = read_files(tmp_path / "all", files, keep_repeats=("*",))
    alone = []
    for name, text in files.items():
        folder = write_files(tmp_path / name.removesuffix(".csv"), {name: text})
        never_seen = [dataclasses.replace(kind) for kind in shipped_kinds()]
        alone.append(read_folder(folder, never_seen, small_bench(), keep_repeats=("*",)))
    for remarks in ("sources", "set_aside", "cells_set_aside", "not_read", "read_as", "unread_columns"):
        told = [each for reading in alone for each in getattr(reading, remarks)]
        assert told
        assert list(getattr(whole, remarks)) == told
    assert whole.fallbacks == tuple(sorted({each for reading in alone for each in reading.fallbacks}))
    assert {each for reading in alone for each in reading.questions} <= set(whole.questions)
    each_read = pd.concat([reading.tables["pour"].astype("object") for reading in alone])
    expected = each_read.sort_values(["date", "file", "line"], kind="stable").reset_index(drop=True)
    table = whole.tables["pour"].astype("object")
    pd.testing.assert_frame_equal(table, expected[table.columns], check_dtype=False)


def test_every_file_that_is_no_log_is_listed_with_its_reason(tmp_path):
    (tmp_path / "folder.csv").mkdir(parents=True)
    (tmp_path / "loop").symlink_to(tmp_path)
    (tmp_path / "gone.csv").symlink_to(tmp_path / "nowhere")
    with (tmp_path / "huge.csv").open("wb") as handle:
        handle.truncate(LARGEST_FILE_BYTES + 1)
    reading = read_files(
        tmp_path,
        {
            "empty.csv": "",
            "shopping.csv": "what,where\nmilk,shop\n",
            "nearly.csv": "date,mold,outcome\n",
            "both.csv": "date,build,fished,fate,species,count\n2026-05-01,x,1,kept,perch,3\n",
            "twice.csv": "date,mold,cavity,outcome,mass,weight\n",
            "oddunit.csv": "date,mold,cavity,outcome,mold_temp [oz]\n",
            "binary.csv": b"\x00\x01\x02\x03" * 10,
            "picture.jpg": b"\xff\xd8",
            "headeronly.csv": "date,mold,cavity,outcome\n",
            "reports/old.csv": POUR,
            ".hidden.csv": POUR,
            "notes.md": "# notes",
        },
    )
    why = {entry.file: entry.why for entry in reading.not_read}
    assert set(why) == {
        "folder.csv", "gone.csv", "huge.csv", "empty.csv", "shopping.csv", "nearly.csv", "both.csv",
        "twice.csv", "oddunit.csv", "binary.csv", "picture.jpg",
    }  # fmt: skip
    assert "`cavity`" in why["nearly.csv"]
    assert "is `count` of baits or of fish?" in why["both.csv"]
    assert "two columns" in why["twice.csv"]
    assert [source.file for source in reading.sources] == ["headeronly.csv"]


def test_a_file_that_may_not_be_opened_is_listed(tmp_path):
    path = tmp_path / "locked.csv"
    path.write_text(POUR)
    path.chmod(0)
    if os.access(path, os.R_OK):
        pytest.skip("this user may open anything")
    (entry,) = read_files(tmp_path, {}).not_read
    assert entry.file == "locked.csv"


def test_logs_are_never_written_to(tmp_path):
    read_files(tmp_path, {"pour.csv": POUR})
    assert (tmp_path / "pour.csv").read_text() == POUR
    assert [path.name for path in tmp_path.iterdir()] == ["pour.csv"]


def test_extra_columns_are_handed_on_as_text(tmp_path):
    text = "date,mold,cavity,outcome,weather,mold_temp_c\n2026-05-02,round-jig,1/8,good,05,NA\n"
    table = read_files(tmp_path, {"pour.csv": text}).tables["pour"]
    assert table.loc[0, "weather"] == "05"
    assert table.loc[0, "extra_mold_temp_c"] == "NA"


def test_bare_numbers_read_by_a_documented_default_are_told(tmp_path):
    text = "date,build,fished,fate\n2026-05-02,perch-grub,2,kept\n"
    reading = read_files(tmp_path, {"f.csv": text})
    assert reading.tables["fishing"].loc[0, "fished_h"] == 2.0
    assert any("`fished`" in fallback for fallback in reading.fallbacks)


@pytest.mark.parametrize(
    ("species", "asked"),
    [
        (
            ["perch", "perch", "yellow perch"],
            "2 rows of the catch log name the species `perch`, and 1 `yellow perch`",
        ),
        (["bass", "white bass", "rock bass"], "1 row of the catch log names the species `bass`"),
        (["walleye", "yellow perch", "perca flavescens"], ""),
        (["perch", "perch"], ""),
    ],
)
def test_a_name_that_another_holds_with_a_word_more_is_asked_about(tmp_path, species, asked):
    rows = "".join(f"2026-05-02,{each},perch-grub\n" for each in species)
    questions = read_files(tmp_path, {"fish.csv": f"date,species,build\n{rows}"}).questions
    assert [question[: len(asked)] for question in questions] == [asked] * bool(asked)
    assert all("under [words.values]" in question for question in questions) or "bass" in asked
