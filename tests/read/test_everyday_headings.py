"""Headings as makers write them: taken where they are clear, asked about where they are near, never lost."""

import pytest

from benchwater.read.headers import recognise
from benchwater.read.outcome import FileError
from benchwater.read.vocabulary import everyday_key
from small_bench import read_files, shipped_kinds

MAKERS = {
    "When,Mould,Size,How it came out,How many,How hot the mold was,What was wrong": (
        "pour",
        ["date", "mold", "cavity", "outcome", "count", "mold_temp", "flaw"],
    ),
    "Day,Die,Head size,Good or bad,Pcs.,Lead temp,Comments": (
        "pour",
        ["date", "mold", "cavity", "outcome", "count", "melt_temp", "note"],
    ),
    "DATE,MOLDS,CAVITIES,RESULTS,QNTY,MOLD TEMP °F": (
        "pour",
        ["date", "mold", "cavity", "outcome", "count", "mold_temp"],
    ),
    "Day,What,In or out,How many,What I paid": ("inventory", ["date", "item", "move", "amount", "cost"]),
    "date,thing,action,amt,money spent": ("inventory", ["date", "item", "move", "amount", "cost"]),
    "Painted on,Mould,Size,Colour,Pcs,Oven,Mins,Bad ones": (
        "finishing",
        ["date", "mold", "cavity", "coat", "count", "cure_temp", "cure_time", "rejects"],
    ),
    "Date,Lure,Minutes,What happened,Why": ("fishing", ["date", "build", "fished", "fate", "cause"]),
    "trip date,jig,hrs fished,kept or lost,lost to,spot,wire": (
        "fishing",
        ["date", "build", "fished", "fate", "cause", "water", "leader"],
    ),
    "date,jig,kind of fish,Size,how heavy,let go": (
        "catch",
        ["date", "build", "species", "length", "mass", "released"],
    ),
    "When,Caught by,Lure used,Fish,Inches,Lbs,Pond": (
        "catch",
        ["date", "angler", "build", "species", "length", "mass", "water"],
    ),
}


@pytest.mark.parametrize("written", MAKERS)
def test_a_makers_own_headings_are_understood(written):
    kind, columns = MAKERS[written]
    header = recognise(f"{written}\n", shipped_kinds())
    assert header.kind.name == kind
    assert [heading.column and heading.column.name for heading in header.headings] == columns


def test_a_heading_taken_is_listed_and_counts(tmp_path):
    reading = read_files(
        tmp_path, {"p.csv": "date,mold,cavity,outcome,How many\n2026-05-02,round-jig,1/8,good,84\n"}
    )
    assert reading.tables["pour"]["count"].tolist() == [84]
    assert [(each.file, each.written, each.read_as) for each in reading.read_as] == [
        ("p.csv", "How many", "count")
    ]
    assert not reading.unread_columns


@pytest.mark.parametrize(
    ("heading", "may_be"),
    [
        ("Pour #", ("fill", "session")),
        ("Moon phase", ()),
        ("xyzzy", ()),
    ],
)
def test_a_heading_that_is_not_clear_is_named_and_asked_about(tmp_path, heading, may_be):
    text = f"date,mold,cavity,outcome,{heading}\n2026-05-02,round-jig,1/8,good,12\n"
    reading = read_files(tmp_path, {"p.csv": text})
    (unread,) = reading.unread_columns
    assert (unread.file, unread.column, unread.may_be) == ("p.csv", heading, may_be)
    assert len(reading.column_questions) == bool(may_be)
    assert "12" in reading.tables["pour"].iloc[0].astype("str").tolist(), "it is handed on"


@pytest.mark.parametrize("heading", ["How mny", "Quantitty", "amount", "Nubmer of castings"])
def test_a_heading_a_slip_away_or_told_by_its_cells_is_taken_and_listed(tmp_path, heading):
    text = f"date,mold,cavity,outcome,{heading}\n2026-05-02,round-jig,1/8,good,12\n"
    reading = read_files(tmp_path, {"p.csv": text})
    assert reading.tables["pour"]["count"].tolist() == [12]
    assert [(each.written, each.read_as) for each in reading.read_as] == [(heading, "count")]


def test_a_column_that_is_there_is_never_read_from_another_heading(tmp_path):
    text = "date,mold,cavity,outcome,count,How many\n2026-05-02,round-jig,1/8,good,2,84\n"
    reading = read_files(tmp_path, {"p.csv": text})
    assert reading.tables["pour"]["count"].tolist() == [2]
    assert [each.column for each in reading.unread_columns] == ["How many"]


def test_of_two_headings_for_one_column_neither_is_taken(tmp_path):
    text = "date,mold,cavity,outcome,How many,Pcs\n2026-05-02,round-jig,1/8,good,2,84\n"
    reading = read_files(tmp_path, {"p.csv": text})
    assert [each.may_be for each in reading.unread_columns] == [("count",), ("count",)]


@pytest.mark.parametrize(
    ("heading", "cell", "hours"), [("Minutes", "90", 1.5), ("Hrs", "2", 2.0), ("Time used (min)", "30", 0.5)]
)
def test_a_heading_that_is_a_unit_gives_the_unit(tmp_path, heading, cell, hours):
    text = f"date,build,fate,{heading}\n2026-05-02,perch-grub,kept,{cell}\n"
    assert read_files(tmp_path, {"f.csv": text}).tables["fishing"]["fished_h"].tolist() == [hours]


def test_a_needed_column_under_a_heading_nobody_knows_is_named_with_the_file():
    with pytest.raises(FileError, match=r"a pour log without `outcome`\); not read: `xyzzy`"):
        recognise("date,mold,cavity,xyzzy\n", shipped_kinds())


def test_every_heading_of_every_log_renamed_is_named():
    for kind in shipped_kinds():
        names = [column.name for column in kind.columns]
        for name in names:
            renamed = ["Xyzzyq" if each == name else each for each in names]
            if name in kind.signature:
                with pytest.raises(FileError, match="`Xyzzyq`"):
                    recognise(",".join(renamed), shipped_kinds())
            else:
                headings = recognise(",".join(renamed), shipped_kinds()).headings
                assert [each.written for each in headings if each.column is None] == ["Xyzzyq"]


@pytest.mark.parametrize(
    "same",
    [
        ("Mould Temp.", "mold-temps"),
        ("How many?", "HOW  MANY"),
        ("the colours", "Color"),
        ("Pour #", "pour #"),
    ],
)
def test_case_punctuation_plural_and_british_spelling_do_not_matter(same):
    assert everyday_key(same[0]) == everyday_key(same[1])


@pytest.mark.parametrize("heading", ["Temp", "temperature", "Degrees", "temps"])
def test_a_temperature_that_may_be_of_two_things_is_asked_about(tmp_path, heading):
    rows = "2026-05-02,round-jig,1/8,good,350 F\n"
    reading = read_files(tmp_path, {"p.csv": f"date,mold,cavity,outcome,{heading}\n{rows}"})
    (asked,) = reading.unread_columns
    assert asked.may_be == ("mold_temp", "melt_temp")
    assert reading.tables["pour"]["mold_temp_c"].isna().all()
