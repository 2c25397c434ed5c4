"""What a maker is told of bad input: what, where, the value as written, and what would be accepted."""

import os
import sys

import pytest

from benchwater.commands.terminal import sentence_for
from command_line import run
from small_bench import SMALL_BENCH, read_files

POUR = "date,mold,cavity,outcome,count,mold_temp\n"
ROW = "2026-05-02,round-jig,1/8,good,1,350\n"


@pytest.mark.parametrize(
    ("log", "told"),
    [
        (
            POUR + ROW.replace("2026-05-02", "first of May"),
            "column `date`: `first of May` is not a date (accepted: `2026-05-17`, `2026-05-17 09:40`, "
            "`17 May 2026`)",
        ),
        (
            POUR + ROW.replace("05-02", "02-30"),
            "column `date`: `2026-02-30` is not a day in the calendar: day 30 of month 2",
        ),
        (
            POUR + ROW.replace("350", "350 g"),
            "column `mold_temp`: `350 g` is in `g`, which is not a unit of temperature (accepted: C, F, K)",
        ),
        (
            POUR + "2026-05-02,,,good\n",
            "column `mold`: is empty, and every row needs a mold; also `cavity` is empty, and every row "
            "needs a cavity",
        ),
        (
            POUR + ROW.replace("350", "350,x"),
            "`x` stands beyond the header's 6 columns: a comma inside a cell (`10,6`) needs quotation marks, "
            "or semicolons between cells",
        ),
        (
            "date,item,move,amount\n2026-05-02,hook-2,received,1 pack\n",
            "column `amount`: `1 pack` is in `pack`, and pieces are counted (accepted: `50`, `50 pcs`)",
        ),
        (
            "date,item,move,amount\n2026-05-02,alloy,received,5 stone\n",
            "column `amount`: `5 stone` is in `stone`, which is not a unit of mass (accepted: g, mg, kg, oz, "
            "lb, gr)",
        ),
        (
            "date,item,move,amount\n2026-05-02,alloy,received,4/0 oz\n",
            "column `amount`: `4/0 oz` has `4/0` in it, a hook size and not a number",
        ),
        (
            "date,build,fished,fate\n2026-05-02,perch-grub,1:75,kept\n",
            "column `fished`: `1:75` is not in hours and minutes, such as `1:30` (minutes from `:00` to "
            "`:59`)",
        ),
        (
            "date,build,fished,fate\n2026-05-02,perch-grub,90,kept\n",
            "column `fished`: `90` is 90 h, longer than a day (accepted: up to 24 h, such as `1:30`, "
            "`90 min`)",
        ),
    ],
)
def test_a_row_set_aside_is_shown_with_line_cell_and_what_is_accepted(tmp_path, log, told):
    (tmp_path / "bench.toml").write_text(SMALL_BENCH)
    (tmp_path / "log.csv").write_text(log)
    outcome = run("check", "--strict", tmp_path)
    assert outcome.status == 1
    where = "log.csv, line 2, " if told.startswith("column") else "log.csv, line 2: "
    assert f"\n  {where}{told}\n" in outcome.out


def test_a_day_not_in_the_calendar_is_shown_as_it_was_read(tmp_path):
    (tmp_path / "bench.toml").write_text(SMALL_BENCH.replace("[bench]", '[bench]\ndates = "day first"'))
    (tmp_path / "log.csv").write_text(POUR + ROW.replace("2026-05-02", "04/13/2026"))
    told = "`04/13/2026` is not a day in the calendar: day 4 of month 13, read day first as bench.toml says"
    assert told in run("check", tmp_path).out


@pytest.mark.parametrize(
    ("name", "content", "why"),
    [
        (
            "almost.csv",
            "date,mold,cavity\n",
            "looks like a finishing log, but its header has no column `coat` (or a pour log without "
            "`outcome`)",
        ),
        (
            "strange.csv",
            "a,b\n",
            "has no header of a log: a log is known by its columns (catch: `date`, `species`, `build`; "
            "finishing: `date`, `mold`, `cavity`, `coat`; fishing: `date`, `build`, `fished`, `fate`; "
            "inventory: `date`, `item`, `move`, `amount`; pour: `date`, `mold`, `cavity`, `outcome`)",
        ),
        (
            "renamed.csv",
            b"PK\x03\x04rest",
            "is a workbook that is damaged (File is not a zip file): save it again",
        ),
        ("book.numbers", b"PK", "is a spreadsheet of another kind: save it as .xlsx or .csv"),
        (
            "heading.csv",
            POUR.replace("mold_temp", "mold_temp [g]"),
            "has a heading for `mold_temp` that is in `g`, which is not a unit of temperature (accepted: C, "
            "F, K)",
        ),
        ("nothing.csv", b"", "is empty"),
    ],
)
def test_a_file_that_is_no_log_is_listed_with_what_would_make_it_one(tmp_path, name, content, why):
    reading = read_files(tmp_path, {name: content, "fine.csv": POUR + ROW})
    assert [(each.file, each.why) for each in reading.not_read] == [(name, why)]
    assert reading.holds_rows


def test_a_table_that_stands_twice_in_bench_toml_is_named_as_it_is_written(tmp_path):
    (tmp_path / "bench.toml").write_text(SMALL_BENCH + "[items.alloy]\n")
    line = SMALL_BENCH.count("\n") + 1
    told = f"bench.toml, line {line}: `[items.alloy]` is not valid TOML: cannot declare [items.alloy] twice"
    assert told in run("check", tmp_path).err


def test_an_unknown_folder_or_command_is_refused_with_what_there_is(tmp_path):
    (tmp_path / "file").write_text("")
    for command in ("check", "report", "due", "watch", "timer", "plugins", "sheets", "start"):
        outcome = run(command, tmp_path / "file")
        assert outcome.status == 2
        assert f"`{tmp_path / 'file'}` is a file, and a folder is needed" in outcome.err
    assert "there is no folder `nowhere`" in run("new-analysis", "mine", "--in", "nowhere").err
    assert "there is no command `repot`; did you mean `report`?" in run("repot").err
    assert "there is no command `\\x1b` (there are: start, sheets, check" in run("\x1b").err


@pytest.mark.parametrize(
    ("error", "told"),
    [
        (
            PermissionError(13, "Permission denied", "a/2026-05/.season-report.pdf.x", None, "a/b.pdf"),
            "Error: a/b.pdf: Permission denied (it may be read-only, another person's, or open in another "
            "program)",
        ),
        (
            PermissionError(13, "Permission denied", "a/2026-05/.being-written"),
            "Error: a/2026-05: Permission denied (it may be read-only, another person's, or open in another "
            "program)",
        ),
        (
            OSError(28, "No space left on device"),
            "Error: No space left on device",
        ),
        (
            OSError(28, "No space left on device", "a/b"),
            "Error: a/b: No space left on device (make room, or name another folder with --out)",
        ),
    ],
)
def test_a_system_error_names_the_makers_file_and_what_may_help(error, told):
    assert sentence_for(error) == told.replace("/", os.sep)


@pytest.mark.skipif(sys.platform == "win32", reason="another error there")
@pytest.mark.parametrize("command", ["report", "due", "sheets"])
def test_a_file_where_a_folder_is_needed_is_named(tmp_path, command):
    (tmp_path / "bench.toml").write_text(SMALL_BENCH)
    (tmp_path / "log.csv").write_text(POUR + ROW)
    (tmp_path / "reports").write_text("")
    outcome = run(command, tmp_path)
    assert outcome.status == 2
    assert f"Error: {tmp_path / 'reports'}: " in outcome.err
    assert "(a file is where a folder is needed: move it away)" in outcome.err


def test_a_report_of_empty_logs_says_so(tmp_path):
    (tmp_path / "bench.toml").write_text(SMALL_BENCH)
    (tmp_path / "log.csv").write_text(POUR)
    outcome = run("report", tmp_path, "--month", "2031-01", "--only", "cost")
    assert (outcome.status, outcome.err) == (0, "")
    assert outcome.out.endswith("The logs hold no row yet.\n")
