from typing import Any

from benchwater.commands.check import _print_files
from benchwater.read.outcome import Reading, Source
from closed_folders import close_folder
from command_line import run
from small_bench import SMALL_BENCH


def test_start_writes_a_workspace_that_check_accepts(tmp_path):
    started = run("start", tmp_path / "bench")
    assert started.status == 0
    checked = run("check", tmp_path / "bench")
    assert (checked.status, checked.err) == (0, "")
    for kind in ("pour", "inventory", "finishing", "fishing", "catch"):
        assert f"logs/{kind}.csv" in checked.out
    assert "note:" not in checked.out, "the bench.toml to begin from leaves no default unsaid"


def test_start_leaves_existing_files_as_they_are(tmp_path):
    (tmp_path / "bench.toml").write_text(SMALL_BENCH)
    outcome = run("start", tmp_path)
    assert "Left as it is" in outcome.out
    assert (tmp_path / "bench.toml").read_text() == SMALL_BENCH


def test_check_shows_file_line_column_value_and_reason_with_status_1(tmp_path):
    (tmp_path / "bench.toml").write_text(SMALL_BENCH)
    (tmp_path / "p.csv").write_text("date,mold,cavity,outcome,mold_temp\n2026-05-02,round-jig,1/8,good,hot\n")
    outcome = run("check", "--strict", tmp_path)
    assert outcome.status == 1
    assert "p.csv, line 2, column `mold_temp`: `hot` is not a temperature" in outcome.out


def test_the_columns_of_check_stay_apart_however_many_rows_there_are(capsys):
    counts: Any = {"rows": 1_234_567, "used": 1_234_567, "repeated": 0, "set_aside": 0}
    source = Source(file="all pours.csv", sha256="", log="a log of my own", **counts)
    _print_files(Reading(tables={}, sources=(source,), set_aside=(), repeats=(), not_read=()))
    assert capsys.readouterr().out.splitlines() == [
        "",
        "file           log                 rows     used  repeated  set aside",
        "all pours.csv  a log of my own  1234567  1234567         0          0",
    ]


def test_check_names_the_lines_that_another_file_holds_already(tmp_path):
    (tmp_path / "bench.toml").write_text(SMALL_BENCH)
    rows = "2026-05-02,round-jig,1/8,good\n2026-05-03,round-jig,1/8,good\n"
    for name, text in (("a.csv", rows), ("b.csv", rows.splitlines()[0]), ("c.csv", rows)):
        (tmp_path / name).write_text(f"date,mold,cavity,outcome\n{text}")
    outcome = run("check", "--strict", tmp_path)
    assert "b.csv, line 2: already in a.csv" in outcome.out
    assert "c.csv, lines 2-3: already in a.csv" in outcome.out


def test_terminal_escapes_in_a_log_are_shown_not_obeyed(tmp_path):
    (tmp_path / "bench.toml").write_text(SMALL_BENCH)
    (tmp_path / "p.csv").write_text(
        "date,mold,cavity,outcome\n2026-05-02,\x1b]0;owned\x07\x1b[31mred,1/8,good\n2026-05-02,\u202eabc,1/8,good\n"
    )
    outcome = run("check", "--strict", tmp_path)
    assert "\x1b" not in outcome.out
    assert "\\x1b[31mred" in outcome.out
    assert "\u202e" not in outcome.out


def test_a_missing_or_wrong_bench_gives_one_sentence_and_no_traceback(tmp_path):
    missing = run("check", "--strict", tmp_path)
    assert missing.status == 2
    assert "benchwater start" in missing.err
    (tmp_path / "bench.toml").write_text(SMALL_BENCH.replace('kind = "metal"', 'kind = "meatl"'))
    wrong = run("report", tmp_path)
    assert wrong.status == 2
    assert "line 13" in wrong.err
    assert "`items.alloy.kind`: `meatl` is not one of `metal`" in wrong.err
    assert "Traceback" not in wrong.err
    assert "Traceback" in run("report", tmp_path, "--debug").err


def test_a_missing_folder_is_refused(tmp_path):
    outcome = run("check", tmp_path / "nowhere")
    assert outcome.status == 2
    assert f"there is no folder `{tmp_path / 'nowhere'}`" in outcome.err


def test_check_lists_a_folder_that_it_cannot_read(tmp_path, monkeypatch):
    run("start", tmp_path)
    (tmp_path / "water").mkdir()
    close_folder(monkeypatch, tmp_path / "water")
    outcome = run("check", "--strict", tmp_path)
    assert outcome.status == 1
    assert "water is a folder that cannot be read: Permission denied" in outcome.out


def test_check_asks_about_a_count_too_large_to_be_one(tmp_path):
    (tmp_path / "bench.toml").write_text(SMALL_BENCH)
    row = "2026-05-02,round-jig,1/8,good,9223372036854775808,2001\n"
    (tmp_path / "p.csv").write_text(f"date,mold,cavity,outcome,count,fill\n{row}")
    outcome = run("check", "--strict", tmp_path)
    assert outcome.status == 1
    assert "p.csv, line 2, column `count`: `9223372036854775808` is too large for `count`" in outcome.out


def test_a_line_break_in_a_name_or_cell_begins_no_line_of_check(tmp_path):
    (tmp_path / "bench.toml").write_text(SMALL_BENCH)
    header, forged = "date,mold,cavity,outcome\n", "\nSet aside: 0 rows\u2028\x85"
    (tmp_path / f"a{forged}.csv").write_text(f'{header}2026-05-02,round-jig,"1/9{forged}",good\n')
    (tmp_path / f"b{forged}.jpg").write_text("no log")
    outcome = run("check", "--strict", tmp_path)
    assert outcome.status == 1
    assert not [line for line in outcome.out.splitlines() if line.startswith("Set aside: 0")]
    assert "a\\nSet aside: 0 rows\\u2028\\x85.csv" in outcome.out


def test_check_names_the_columns_taken_and_not_read_and_asks_about_near_ones(tmp_path):
    (tmp_path / "bench.toml").write_text(SMALL_BENCH)
    (tmp_path / "p.csv").write_text(
        "When,mold,cavity,outcome,Degrees,moon\n2026-05-02,round-jig,1/8,good,350 F,full\n"
    )
    outcome = run("check", "--strict", tmp_path)
    assert outcome.status == 1
    assert "`Degrees` of p.csv was not read: is it `mold_temp` or `melt_temp`? Then put" in outcome.out
    assert "`moon` was not read" in outcome.out
    assert "p.csv: `When` as `date`" in outcome.out
