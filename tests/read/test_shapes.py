"""Other shapes of a log than one row an entry: each gives the canonical rows, or a question."""

from dataclasses import replace

import pytest

from benchwater.plugin.bench import Item
from benchwater.read.bench_file import parse_bench
from benchwater.read.folder import read_folder
from benchwater.read.records import record_at
from small_bench import read_files, shipped_kinds

BENCH = parse_bench(
    """
[bench]
name = "Shapes"
[items.lead]
kind = "lead"
[items.hook]
kind = "hook"
[molds.ball]
material = "lead"
cavities = ["1/8", "1/4"]
[molds.spoon]
material = "lead"
cavities = ["1/2"]
[builds.grub]
[builds.skirt]
"""
).bench


def read(folder, logs, **options):
    return read_files(folder, logs, bench=BENCH, **options)


def rows(reading, log, *columns):
    table = reading.tables[log][list(columns)].astype(object)
    found = table.itertuples(index=False)
    return [tuple(None if value != value else value for value in row) for row in found]


def nothing_is_lost(reading):
    assert [*reading.set_aside, *reading.cells_set_aside, *reading.not_read, *reading.questions] == []


def test_counts_side_by_side_are_a_row_for_each_outcome(tmp_path):
    reading = read(
        tmp_path,
        {
            "pour.csv": "date,mold,cavity,good,bad,blank,mold temp,flaw,notes\n"
            "2026-05-01,ball,1/8,20,3,2,300 F,short fill,cold\n"
            "2026-05-01,ball,1/4,5,0,,300 F,,\n"
        },
    )
    nothing_is_lost(reading)
    assert rows(reading, "pour", "line", "cavity", "outcome", "count", "flaw") == [
        (2, "1/8", "good", 20, None),
        (2, "1/8", "reject", 3, "short fill"),
        (2, "1/8", "blank", 2, None),
        (3, "1/4", "good", 5, None),
    ]
    (source,) = reading.sources
    assert (source.rows, source.used) == (4, 4)
    assert {each.written for each in reading.read_as} >= {"good", "bad", "blank"}


def test_a_column_for_each_cavity_takes_the_outcome_from_heading_or_column(tmp_path):
    headed = "date,mold,1/8 good,1/8 bad,1/4 good,1/4 bad\n2026-05-01,ball,9,1,4,\n"
    beside = "date,mold,outcome,1/8,1/4\n2026-05-02,ball,good,9,4\n2026-05-02,ball,bad,1,\n"
    reading = read(tmp_path, {"a.csv": headed, "b.csv": beside})
    nothing_is_lost(reading)
    found = rows(reading, "pour", "cavity", "outcome", "count")
    assert found[:3] == [("1/8", "good", 9), ("1/8", "reject", 1), ("1/4", "good", 4)]
    assert sorted(found[:3]) == sorted(found[3:])


def test_a_cavity_heading_may_name_its_mold(tmp_path):
    text = "date,ball 1/8 good,ball 1/8 bad,spoon 1/2 good,spoon 1/2 bad\n2026-05-01,9,1,4,2\n"
    reading = read(tmp_path, {"a.csv": text})
    nothing_is_lost(reading)
    assert rows(reading, "pour", "mold", "cavity", "outcome", "count")[2] == ("spoon", "1/2", "good", 4)


def test_counts_of_cavities_that_do_not_say_how_they_came_out_are_asked_about(tmp_path):
    reading = read(tmp_path, {"a.csv": "date,mold,1/8,1/4\n2026-05-01,ball,9,4\n"})
    (refused,) = reading.not_read
    assert "`1/8 good`" in refused.why
    assert len(reading.tables["pour"]) == 0


def test_in_out_and_left_of_an_item_are_moves(tmp_path):
    text = "date,item,in,out,left,cost\n2026-05-01,hook,100,,,$11\n2026-05-30,hook,,12,0,\n"
    reading = read(tmp_path, {"a.csv": text})
    nothing_is_lost(reading)
    assert rows(reading, "inventory", "move", "amount", "cost") == [
        ("received", 100.0, 11.0),
        ("used", 12.0, None),
        ("counted", 0.0, None),
    ]


def test_kept_lost_and_worn_may_stand_side_by_side(tmp_path):
    text = "date,build,hours,kept,lost,worn,cause\n2026-05-01,grub,2,3,1,0,snag\n"
    reading = read(tmp_path, {"a.csv": text})
    nothing_is_lost(reading)
    assert rows(reading, "fishing", "fate", "count", "cause") == [("kept", 3, None), ("lost", 1, "snag")]


def test_bait_and_fish_in_one_row_are_a_row_of_each_log(tmp_path):
    text = (
        "date,build,hours,fate,species,fish caught,length,water\n"
        "2026-05-01,grub,2,kept,yellow perch,3,9 in,pond\n2026-05-01,skirt,1,lost,,,,pond\n"
    )
    reading = read(tmp_path, {"a.csv": text})
    nothing_is_lost(reading)
    assert rows(reading, "fishing", "build", "fished_h", "fate", "count") == [
        ("grub", 2.0, "kept", 1),
        ("skirt", 1.0, "lost", 1),
    ]
    assert rows(reading, "catch", "build", "species", "count", "water") == [
        ("grub", "yellow perch", 3, "pond")
    ]


def test_a_column_for_each_species_holds_how_many_were_caught(tmp_path):
    text = (
        "date,build,water,yellow perch,crappies,pickerel\n"
        "2026-05-01,grub,pond,3,1,\n2026-05-02,skirt,pond,0,2,1\n2026-05-03,skirt,pond,0,0,0\n"
    )
    reading = read(tmp_path, {"a.csv": text})
    nothing_is_lost(reading)
    assert rows(reading, "catch", "line", "build", "species", "count") == [
        (2, "grub", "yellow perch", 3),
        (2, "grub", "crappie", 1),
        (3, "skirt", "crappie", 2),
        (3, "skirt", "pickerel", 1),
    ]
    assert ("lines 4", "nothing but zeros: no row") in {
        (each.written, each.read_as) for each in reading.read_as
    }


def test_how_many_fish_without_species_are_fish(tmp_path):
    text = "date,build,hours,fate,fish\n2026-05-01,grub,2,kept,3\n2026-05-01,skirt,1,lost,0\n"
    reading = read(tmp_path, {"a.csv": text})
    nothing_is_lost(reading)
    assert len(reading.tables["fishing"]) == 2
    assert rows(reading, "catch", "species", "count") == [("fish", 3)]


@pytest.mark.parametrize(
    "text",
    [
        "date,build,hours,fate,species,count\n2026-05-01,grub,2,kept,perch,3\n",
        "date,build,hours,fate,species\n2026-05-01,grub,2,kept,perch\n2026-05-01,grub,2,kept,crappie\n",
    ],
)
def test_bait_and_fish_in_one_row_are_asked_about_where_they_may_be_counted_twice(tmp_path, text):
    reading = read(tmp_path, {"a.csv": text})
    assert len(reading.not_read) == 1
    assert reading.not_read[0].why.startswith("has baits and fish in one row")


def test_two_people_in_one_sheet_are_anglers(tmp_path):
    text = (
        "date,build,Ansa hours,Ansa fate,Orrin hours,Orrin fate\n"
        "2026-05-01,grub,2,kept,1:30,lost\n2026-05-02,skirt,,,1,kept\n"
    )
    reading = read(tmp_path, {"a.csv": text})
    nothing_is_lost(reading)
    assert rows(reading, "fishing", "angler", "build", "fished_h", "fate") == [
        ("Ansa", "grub", 2.0, "kept"),
        ("Orrin", "grub", 1.5, "lost"),
        ("Orrin", "skirt", 1.0, "kept"),
    ]


EVERYTHING = (
    "date,what,mold,cavity,good,bad,item,in,left,build,hours,fate\n"
    "2026-05-01,poured,ball,1/8,20,3,,,,,,\n"
    "2026-05-01,stock,,,,,hook,50,40,,,\n"
    "2026-05-02,fishing,,,,,,,,grub,2,kept\n"
    "2026-05-03,poured,ball,1/4,7,,,,,,,\n"
)


def test_one_file_for_everything_is_told_apart_by_a_column_of_logs(tmp_path):
    reading = read(tmp_path, {"all.csv": EVERYTHING})
    nothing_is_lost(reading)
    assert {log: len(table) for log, table in reading.tables.items() if len(table)} == {
        "pour": 3,
        "inventory": 2,
        "fishing": 1,
    }
    assert rows(reading, "pour", "line", "outcome", "count") == [
        (2, "good", 20),
        (2, "reject", 3),
        (5, "good", 7),
    ]


def test_rows_of_no_log_in_a_file_for_everything_are_named(tmp_path):
    reading = read(tmp_path, {"all.csv": EVERYTHING + "2026-05-04,,ball,1/8,1,,,,,,,\n"})
    assert len(reading.tables["pour"]) == 3
    (refused,) = reading.not_read
    assert "lines 6" in refused.why


def test_sections_of_one_file_have_their_own_headings(tmp_path):
    text = (
        "My season\n\nPouring\ndate,mold,cavity,good,bad\n2026-05-01,ball,1/8,20,3\nTotal,,,20,3\n\n"
        "Stock\ndate,item,move,amount\n2026-05-01,hook,received,50\n\n"
        "date,build,fished,fate\n2026-05-02,grub,2,kept\n"
    )
    reading = read(tmp_path, {"all.csv": text})
    assert reading.not_read == ()
    assert [(source.log, source.rows, source.used) for source in reading.sources] == [
        ("pour", 3, 2),
        ("inventory", 1, 1),
        ("fishing", 1, 1),
    ]
    assert {each.reason for each in reading.set_aside} == {"totals"}
    assert rows(reading, "inventory", "line", "amount") == [(10, 50.0)]


def test_blanks_below_a_full_cell_are_asked_about_then_taken_as_bench_toml_says(tmp_path):
    text = (
        "date,mold,cavity,outcome,count\n2026-05-01,ball,1/8,good,20\n,,1/4,good,3\n"
        "2026-05-02,ball,1/8,good,2\n"
    )
    asked = read(tmp_path, {"a.csv": text})
    assert len(asked.tables["pour"]) == 2
    assert 'same_as_above = ["a.csv"]' in asked.questions[0]
    taken = read(tmp_path, {}, same_as_above=["a.csv"])
    nothing_is_lost(taken)
    assert rows(taken, "pour", "line", "mold", "cavity", "count")[1] == (3, "ball", "1/4", 3)


def test_ditto_marks_are_the_cell_above(tmp_path):
    text = "date,mold,cavity,outcome,count\n2026-05-01,ball,1/8,good,2\n〃,ditto,1/4,good,3\n"
    reading = read(tmp_path, {"a.csv": text})
    nothing_is_lost(reading)
    assert rows(reading, "pour", "mold", "count") == [("ball", 2), ("ball", 3)]


def test_a_cell_behind_the_last_heading_sets_its_rows_aside_in_every_shape(tmp_path):
    text = "date,mold,cavity,good,bad\n2026-05-01,ball,1/8,20,3,7\n2026-05-01,ball,1/4,5,1\n"
    reading = read(tmp_path, {"a.csv": text})
    assert len(reading.tables["pour"]) == 2
    assert {each.line for each in reading.set_aside} == {2}


def test_a_mass_of_several_outcomes_together_is_not_known(tmp_path):
    text = "date,mold,cavity,good,bad,mass\n2026-05-01,ball,1/8,2,1,10 g\n2026-05-01,ball,1/8,2,,7 g\n"
    reading = read(tmp_path, {"a.csv": text})
    assert rows(reading, "pour", "outcome", "mass_g") == [("good", None), ("reject", None), ("good", 7.0)]
    assert any("several outcomes" in each.read_as for each in reading.read_as)


def test_a_mixed_amount_and_a_word_among_numbers_do_not_hide_their_column(tmp_path):
    text = (
        "date,item,in,out,left\n2026-05-01,lead,5 lb,,\n2026-05-30,lead,,,3 lb 4 oz\n"
        "2026-05-30,hook,,,40\n2026-05-31,hook,,,some\n"
    )
    reading = read(tmp_path, {"a.csv": text})
    assert reading.tables["inventory"]["amount"].round(3).tolist() == [2267.962, 1474.175, 40.0]
    assert [(each.line, each.value) for each in reading.set_aside] == [(5, "some")]
    assert reading.unread_columns == ()


def test_words_under_one_of_the_counts_are_asked_about(tmp_path):
    text = "date,mold,cavity,good,bad,blank\n2026-05-01,ball,1/8,20,short fill,2\n"
    reading = read(tmp_path, {"a.csv": text})
    assert len(reading.tables["pour"]) == 0
    assert "words under `bad`: write how many" in reading.not_read[0].why


def test_good_and_bad_side_by_side_in_finishing_are_summed(tmp_path):
    text = (
        "date,mold,cavity,coat,good,bad\n2026-05-01,ball,1/8,black,12,2\n"
        "2026-05-02,ball,1/8,black,,1\n2026-05-03,ball,1/8,black,some,1\n"
    )
    (tmp_path / "coat.csv").write_text(text, encoding="utf-8")
    black = Item(name="black", kind="coat", unit="g", print_unit="g")
    bench = replace(BENCH, items={**BENCH.items, "black": black})
    reading = read_folder(tmp_path, shipped_kinds(), bench)
    assert rows(reading, "finishing", "count", "rejects") == [(14, 2), (1, 1)]
    assert [(each.line, each.column) for each in reading.set_aside] == [(4, "count")]


@pytest.mark.parametrize(
    ("line", "cells"),
    [
        ('",x,",y', ("〃", "x", "〃", "y")),
        ('a,",",b', ("a", "〃", "〃", "b")),
        ('a,",b', ("a", "〃", "b")),
        ('a,"b, c",",d', ("a", "b, c", "〃", "d")),
        ('"a,","b"', ("a,", "b")),
        ('"a","b, c"', ("a", "b, c")),
        ('a,9 1/2",b', ("a", '9 1/2"', "b")),
    ],
)
def test_a_quotation_mark_by_itself_is_a_ditto_mark(line, cells):
    record, _ = record_at(lambda at: [line][at] if at == 0 else None, 0, ",")
    assert (record.cells, record.open_quote) == (cells, False)
