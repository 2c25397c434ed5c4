"""Names of the bench as makers write them: taken where exactly one fits, listed, and never guessed."""

import re
import time

import pytest

from benchmarks.many_molds import write_workspace
from benchwater.pipeline import read_workspace
from small_bench import read_files, write_files

BENCH = """
[bench]
[items.alloy]
kind = "metal"
[items."hook-2"]
kind = "insert"
[items."hook-4/0"]
kind = "insert"
[items."skirt-black"]
kind = "fitting"
[items."tail red"]
kind = "fitting"
[items."red tail"]
kind = "fitting"
[molds.round-jig]
material = "alloy"
[[molds.round-jig.cavities]]
name = "1/8"
mass = "1/8 oz"
[[molds.round-jig.cavities]]
name = "long shank"
mass = "1/4 oz"
"""


def read(folder, log):
    return read_workspace(write_files(folder, {"bench.toml": BENCH, "log.csv": log})).reading


def items_read(folder, *written):
    rows = "".join(f"2026-05-02,{name},received,4\n" for name in written)
    return read(folder, f"date,item,move,amount\n{rows}")


@pytest.mark.parametrize(
    "written",
    [
        "Skirt Black",
        "black skirt",
        "skirts, black",
        "SKIRT_BLACK",
        "black-skirts",
        "skirt  black",
        "Black Skirts",
    ],
)
def test_a_name_of_the_same_words_is_taken_and_listed(tmp_path, written):
    reading = items_read(tmp_path, f'"{written}"')
    assert list(reading.tables["inventory"]["item"]) == ["skirt-black"]
    assert [(each.written, each.read_as) for each in reading.read_as] == [(written, "skirt-black")]


def test_case_and_spaces_alone_are_not_listed(tmp_path):
    reading = items_read(tmp_path, "HOOK-2", " hook-2 ")
    assert list(reading.tables["inventory"]["item"]) == ["hook-2", "hook-2"]
    assert reading.read_as == ()


@pytest.mark.parametrize(
    "written", ["red-tails", "2 hooks", "2 hook", "hook", "hook-3", "hook-0/4", "hook 40", "skirt", "-"]
)
def test_a_name_that_fits_two_or_none_is_set_aside(tmp_path, written):
    reading = items_read(tmp_path, written)
    assert [entry.value for entry in reading.set_aside] == [written]
    assert reading.read_as == ()


def test_a_cavity_is_found_in_its_own_mold_and_listed(tmp_path):
    rows = "2026-05-02,Round Jigs,shank long,good\n2026-05-02,round-jig,1/8,good\n"
    reading = read(tmp_path, f"date,mold,cavity,outcome\n{rows}")
    assert list(reading.tables["pour"]["cavity"]) == ["long shank", "1/8"]
    assert [(each.written, each.read_as) for each in reading.read_as] == [
        ("Round Jigs", "round-jig"),
        ("shank long", "long shank"),
    ]


def test_a_row_without_its_mold_does_not_spoil_one_without_its_cavity(tmp_path):
    text = "date,mold,cavity,count,outcome\n2026-05-01,round-jig,,1,good\n2026-05-01,,1/8,2,good\n"
    reading = read_files(tmp_path, {"pour.csv": text})
    assert reading.tables["pour"]["cavity"].tolist() == ["1/8", "1/8"], reading.set_aside


@pytest.mark.slow
def test_among_thousands_of_names_the_same_words_are_found_and_no_slip_is_looked_for(tmp_path):
    write_workspace(tmp_path, 3_000)
    bench = (tmp_path / "bench.toml").read_text()
    (tmp_path / "bench.toml").write_text(bench.replace('mold = "m1', 'mold = "M1'))
    written = (tmp_path / "pour.csv").read_text()
    (tmp_path / "pour.csv").write_text(
        re.sub(",m([0-9]+),", r",Mold M\1,", written) + "2026-08-01,s,mm7,1/8,good\n"
    )
    begun = time.process_time()
    reading = read_workspace(tmp_path).reading
    assert time.process_time() - begun < 20
    assert len(reading.tables["pour"]) == 6_000
    (refused,) = reading.set_aside
    assert refused.why.endswith("(it has `m0`, `m1`, `m2`, `m3`, `m4`, `m5`, `m6`, `m7` and 2992 more)")
