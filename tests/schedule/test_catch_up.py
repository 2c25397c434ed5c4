"""Catching up, with real reading and a maker that writes placeholders instead of reports."""

import sys
from contextlib import ExitStack
from datetime import date
from pathlib import Path

import pytest
from PIL import Image

import benchwater
from benchwater.files import LOCK_NAME, BeingWrittenError, only_writer
from benchwater.schedule import catch_up as module
from benchwater.schedule.catch_up import Made, catch_up
from benchwater.schedule.manifest import NAME, hash_inputs, read_manifest
from benchwater.schedule.owed import nothing_to_do, scan_folder, states
from closed_folders import close_folder
from small_bench import SMALL_BENCH, write_files

HEADER = "date,mold,cavity,outcome,mold_temp\n"


def row(day: str, temp: str = "350") -> str:
    return f"{day},round-jig,1/8,good,{temp}\n"


class Folder:
    """A workspace, and the reports made of it since it was last asked."""

    def __init__(self, path: Path, bench: str = SMALL_BENCH) -> None:
        self.path, self.out = path, path / "reports"
        self.write("bench.toml", bench)
        self.breaks: set[str] = set()
        self.fails: set[str] = set()
        self.prints = True

    def write(self, name: str, text: str) -> None:
        write_files(self.path, {name: text})

    def make(self, workspace, period, out, progress):
        if period.label in self.breaks:
            raise OSError(28, "No space left on device")
        folder = out / period.label
        folder.mkdir(parents=True, exist_ok=True)
        files = [folder / "season-report.html"]
        if self.prints:
            files.insert(0, folder / "season-report.pdf")
        for path in files:
            path.write_text(period.label)
        failed = ("broken",) if period.label in self.fails else ()
        return Made(
            files=tuple(files),
            printed=self.prints,
            failed=failed,
            problems=tuple(f"{n} failed." for n in failed),
        )

    def run(self, today: str, **options):
        return list(catch_up(self.path, self.out, date.fromisoformat(today), make=self.make, **options))

    def made(self, today: str, **options) -> dict[str, str]:
        return {done.label: done.why for done in self.run(today, **options)}

    def settled(self, today: str) -> bool:
        manifest = read_manifest(self.out)
        return nothing_to_do(manifest, hash_inputs(self.path), self.out, date.fromisoformat(today))

    def listed(self, today: str) -> dict[str, str]:
        manifest, inputs = read_manifest(self.out), hash_inputs(self.path)
        scan, _ = scan_folder(self.path, manifest, inputs=inputs)
        found = states(
            scan, manifest.reports, self.out, date.fromisoformat(today), unreadable=inputs.unreadable
        )
        return {state.label: state.what for state in found}


@pytest.fixture
def folder(tmp_path) -> Folder:
    made = Folder(tmp_path)
    made.write("pour.csv", HEADER + row("2026-04-02") + row("2026-05-02"))
    return made


def test_each_ended_month_with_rows_is_owed_once_and_then_nothing_is(folder):
    assert not folder.settled("2026-06-01")
    assert folder.made("2026-06-01") == {"2026-04": "no report yet", "2026-05": "no report yet"}
    assert folder.settled("2026-06-01")
    assert folder.made("2026-06-01") == {}


def test_a_month_that_has_not_ended_is_not_owed_until_its_last_day_is_over(folder):
    assert folder.made("2026-05-31") == {"2026-04": "no report yet"}
    assert folder.settled("2026-05-31")
    assert not folder.settled("2026-06-01")
    assert folder.made("2026-06-01") == {"2026-05": "no report yet"}


def test_a_laptop_that_slept_for_months_catches_up_in_order_months_before_their_season(folder):
    folder.write(
        "pour.csv", HEADER + row("2026-04-02") + row("2026-05-02") + row("2027-02-27") + row("2027-03-01")
    )
    assert list(folder.made("2027-05-01")) == ["2026-04", "2026-05", "2027-02", "season-2026", "2027-03"]


def test_the_season_report_is_owed_on_the_first_day_of_the_next_season(folder):
    folder.made("2027-02-28")
    assert folder.listed("2027-02-28")["season-2026"] == "not ended"
    assert folder.made("2027-03-01") == {"season-2026": "no report yet"}


def test_a_season_that_begins_within_a_month_is_reported_whole(tmp_path):
    folder = Folder(tmp_path, SMALL_BENCH.replace("03-01", "03-15"))
    folder.write("pour.csv", HEADER + row("2026-03-20"))
    asked = {}

    def make(workspace, period, out, progress):
        asked[period.label] = period.month
        return folder.make(workspace, period, out, progress)

    list(catch_up(folder.path, folder.out, date(2027, 3, 15), make=make))
    assert asked == {"2026-03": "2026-03", "season-2026": "2026-04"}


def test_rows_of_june_in_a_cumulative_file_leave_may_alone(folder):
    folder.made("2026-06-01")
    folder.write(
        "pour.csv",
        HEADER + row("2026-04-02") + row("2026-05-02") + row("2026-06-03") + row("2026-06-04", "hot"),
    )
    assert not folder.settled("2026-06-05"), "the file did change"
    assert folder.made("2026-06-05") == {}
    assert folder.settled("2026-06-05"), "and that is remembered"


def test_newest_rows_on_top_another_name_and_an_extra_column_leave_may_alone(folder):
    folder.made("2026-06-01")
    (folder.path / "pour.csv").unlink()
    folder.write("all pours.csv", HEADER + row("2026-06-03") + row("2026-04-02") + row("2026-05-02"))
    folder.write("june.csv", "date,mold,cavity,outcome,weather\n2026-06-09,round-jig,1/8,good,rain\n")
    folder.write("copy.csv", HEADER + row("2026-05-02"))
    folder.write("notes.txt", "remember the milk")
    assert folder.made("2026-06-05") == {}


def test_a_changed_row_of_april_is_owed_to_april_and_to_what_came_after_and_the_file_is_named(folder):
    folder.write("logs/may.csv", HEADER + row("2026-05-09"))
    folder.made("2026-06-01")
    folder.write("pour.csv", HEADER + row("2026-04-02", "360") + row("2026-05-02"))
    assert folder.listed("2026-06-01") == {
        "2026-04": "owed: pour.csv changed",
        "2026-05": "owed: pour.csv changed",
        "season-2026": "not ended",
    }
    folder.made("2026-06-01")
    folder.write("logs/may.csv", HEADER + row("2026-05-10"))
    assert folder.made("2026-06-01") == {"2026-05": "logs/may.csv changed"}


def test_another_picture_of_the_same_name_is_owed_to_its_month_and_one_that_no_row_names_to_none(folder):
    head = HEADER.replace("\n", ",photo\n")
    cells = row("2026-05-02").replace("\n", "")
    folder.write("pour.csv", head + row("2026-04-02").replace("\n", ",\n") + f"{cells},flaw.png\n")
    for name in ("flaw.png", "dog.png"):
        Image.new("RGB", (30, 20), "red").save(folder.path / name)
    folder.made("2026-06-01")
    assert folder.settled("2026-06-01")
    Image.new("RGB", (30, 20), "blue").save(folder.path / "dog.png")
    assert folder.made("2026-06-01") == {}
    Image.new("RGB", (30, 20), "blue").save(folder.path / "flaw.png")
    assert folder.made("2026-06-01") == {"2026-05": "pour.csv changed"}
    assert folder.settled("2026-06-01")


def test_a_row_set_aside_counts_for_its_month_and_one_whose_date_cannot_be_read_for_every_month(folder):
    folder.made("2026-06-01")
    folder.write("pour.csv", HEADER + row("2026-04-02") + row("2026-05-02") + row("2026-05-03", "hot"))
    assert folder.made("2026-06-01") == {"2026-05": "pour.csv changed"}
    folder.write("pour.csv", HEADER + row("2026-04-02") + row("2026-05-02") + row("03/04/2026"))
    assert set(folder.made("2026-06-01")) == {"2026-04", "2026-05"}


@pytest.mark.parametrize(
    ("change", "why"),
    [
        (lambda f, m: f.write("bench.toml", SMALL_BENCH.replace("24.0", "25.0")), "bench.toml changed"),
        (lambda f, m: f.write("plugins/_new.py", "1\n"), "plugins/_new.py is new"),
        (lambda f, m: f.write("plugins/_mine.py", "2\n"), "plugins/_mine.py changed"),
        (lambda f, m: (f.path / "plugins/_mine.py").unlink(), "plugins/_mine.py is gone"),
        (lambda f, m: m.setattr(benchwater, "__version__", "9"), "benchwater 1.0 became 9"),
        (lambda f, m: (f.out / "2026-04/season-report.pdf").unlink(), "season-report.pdf is missing"),
        (lambda f, m: [p.unlink() for p in (f.out / "2026-04").iterdir()], "no report yet"),
        (
            lambda f, m: (f.out / NAME).write_text("{"),
            "there is no record of what its report was made from",
        ),
    ],
)  # fmt: skip
def test_a_change_of_what_a_report_was_made_from_makes_it_owed_again(folder, monkeypatch, change, why):
    monkeypatch.setattr(benchwater, "__version__", "1.0", raising=False)
    folder.write("plugins/_mine.py", "1\n")
    folder.made("2026-05-01")
    assert folder.settled("2026-05-01")
    change(folder, monkeypatch)
    assert folder.listed("2026-05-01")["2026-04"] == f"owed: {why}"
    assert folder.made("2026-05-01") == {"2026-04": why}
    assert folder.settled("2026-05-01")


def test_leaving_out_workspace_plugins_makes_the_report_owed_again(folder):
    folder.write("plugins/_mine.py", "1\n")
    folder.made("2026-05-01")
    assert folder.made("2026-05-01", workspace_plugins=False) == {"2026-04": "plugins/_mine.py is gone"}


def test_a_report_in_which_something_failed_is_tried_again_only_once_something_changed(folder):
    folder.fails = {"2026-04"}
    first = {done.label: done for done in folder.run("2026-06-01")}
    assert not first["2026-04"].clean
    assert first["2026-05"].clean
    assert folder.settled("2026-06-01")
    assert folder.listed("2026-06-01")["2026-04"] == "written (broken failed)"
    folder.fails = set()
    folder.write("pour.csv", HEADER + row("2026-04-02") + row("2026-05-02") + row("2026-04-03"))
    assert all(done.clean for done in folder.run("2026-06-01"))
    assert folder.listed("2026-06-01")["2026-04"] == "written"


def test_a_report_that_cannot_be_written_stays_owed_and_the_others_are_written(folder):
    folder.breaks = {"2026-04"}
    april, may = folder.run("2026-06-01")
    assert isinstance(april.error, OSError)
    assert "OSError" in april.traces[0]
    assert may.files
    assert not folder.settled("2026-06-01")
    folder.breaks = set()
    assert folder.made("2026-06-01") == {"2026-04": "no report yet"}


def test_a_killed_run_loses_only_the_report_it_was_writing(folder):
    running = catch_up(folder.path, folder.out, date(2026, 6, 1), make=folder.make)
    next(running)
    assert (folder.out / LOCK_NAME).exists()
    running.close()
    assert not (folder.out / LOCK_NAME).exists()
    assert folder.made("2026-06-01") == {"2026-05": "no report yet"}


def test_a_report_without_its_pdf_is_owed_once_pdfs_can_be_printed(folder, monkeypatch):
    folder.prints = False
    folder.made("2026-05-01")
    monkeypatch.setattr(module, "_can_print", lambda: False)
    assert folder.made("2026-05-01") == {}
    assert "without its PDF" in folder.listed("2026-05-01")["2026-04"]
    monkeypatch.setattr(module, "_can_print", lambda: True)
    folder.prints = True
    assert folder.made("2026-05-01") == {"2026-04": "its PDF could not be printed"}
    assert folder.settled("2026-05-01")


def test_a_run_for_an_earlier_day_forgets_no_change(folder):
    folder.made("2026-06-01")
    folder.write("pour.csv", HEADER + row("2026-04-02") + row("2026-05-02", "360"))
    assert folder.made("2026-05-15") == {}
    assert folder.made("2026-06-01") == {"2026-05": "pour.csv changed"}


def test_a_file_that_changes_while_it_is_read_is_read_again(folder, monkeypatch):
    taken = []

    def taking(path, **options):
        taken.append(1)
        if len(taken) == 2:
            folder.write("pour.csv", HEADER + row("2026-04-02", "360"))
        return hash_inputs(path, **options)

    monkeypatch.setattr("benchwater.schedule.owed.hash_inputs", taking)
    monkeypatch.setattr(module, "hash_inputs", taking)
    folder.made("2026-06-01")
    assert len(taken) == 2
    monkeypatch.undo()
    assert not folder.settled("2026-06-01")
    assert "2026-04" in folder.made("2026-06-01")


def test_months_without_rows_are_listed_as_such_in_runs(folder):
    folder.write("pour.csv", HEADER + row("2026-03-02") + row("2026-05-02") + row("2026-08-02"))
    assert folder.listed("2026-11-15") == {
        "2026-03": "owed: no report yet",
        "2026-04": "no rows",
        "2026-05": "owed: no report yet",
        "2026-06 to 2026-07": "no rows",
        "2026-08": "owed: no report yet",
        "2026-09 to 2026-10": "no rows",
        "season-2026": "not ended",
    }


def test_a_folder_without_rows_owes_nothing(tmp_path):
    folder = Folder(tmp_path)
    assert folder.made("2026-06-01") == {}
    assert folder.settled("2026-06-01")
    assert folder.listed("2026-06-01") == {}


def test_a_second_run_waits_for_the_first_and_gives_up_in_the_end(folder, monkeypatch):
    monkeypatch.setattr(module, "_MOST_PAUSES", 3)
    monkeypatch.setattr(module, "_PAUSE_S", 0.0)
    folder.out.mkdir()
    steps: list[str] = []
    with only_writer(folder.out), pytest.raises(BeingWrittenError):
        folder.run("2026-06-01", progress=steps.append)
    assert steps.count("Waiting for another run to be done") == 2

    other = ExitStack()
    other.enter_context(only_writer(folder.out))

    def gone(step):
        if step.startswith("Waiting"):
            other.close()

    assert [done.label for done in folder.run("2026-06-01", progress=gone)] == ["2026-04", "2026-05"]


AFTER = """
from pathlib import Path
from benchwater.plugin import HandOnError, Option, hookimpl

@hookimpl
def report_options():
    return [Option(name="to", meaning="whom to tell", kind="text")]

@hookimpl
def report_written(report):
    if not (report.workspace / "drive").is_dir():
        raise HandOnError("the drive is not there")
    with open(report.workspace / "drive" / "told", "a") as stream:
        names = [path.name for path in report.files]
        print(report.label, names, report.failed, dict(report.options), file=stream)
"""


def test_plugins_receive_each_report_and_receive_it_again_if_one_refused_it(folder):
    folder.write("plugins/tell.py", AFTER)
    folder.write("bench.toml", SMALL_BENCH + '\n[plugins.tell]\nto = "me"\n')
    april, refused = folder.run("2026-05-01")
    assert (bool(april.files), april.clean) == (True, True)
    assert refused.problems == (
        "Plugin tell.py (workspace) could not do its part with the report of 2026-04: the drive is not there",
    )
    assert folder.listed("2026-05-01")["2026-04"] == "written (not handed on yet)"
    (again,) = folder.run("2026-05-01")
    assert (again.files, len(again.problems)) == ((), 1)
    (folder.path / "drive").mkdir()
    assert folder.run("2026-05-01") == []
    told = (folder.path / "drive" / "told").read_text()
    assert told == "2026-04 ['season-report.pdf', 'season-report.html'] False {'to': 'me'}\n"
    assert folder.settled("2026-05-01")


def test_the_manifest_is_small_holds_no_path_and_is_the_same_for_the_same_folder(folder, tmp_path):
    folder.made("2026-06-01")
    text = (folder.out / NAME).read_text()
    assert str(tmp_path) not in text
    assert len(text) < 30_000
    (folder.out / NAME).unlink()
    folder.made("2026-06-01")
    assert (folder.out / NAME).read_text() == text
    assert sys.modules["benchwater"].__version__ in text


def test_reports_made_from_a_folder_that_cannot_be_read_are_kept(folder, monkeypatch):
    folder.write("water/early.csv", HEADER + row("2026-03-03"))
    folder.write("water/may.csv", HEADER + row("2026-05-03"))
    folder.write("pour.csv", HEADER + row("2026-05-02"))
    folder.write("new.csv", HEADER + row("2026-06-02"))
    assert list(folder.made("2026-06-01")) == ["2026-03", "2026-05"]
    before = read_manifest(folder.out).reports
    with monkeypatch.context() as patch:
        close_folder(patch, folder.path / "water")
        done = {each.label: each for each in folder.run("2026-07-01")}
        why = "kept as it was: `water` cannot be read now, and this report was made from rows in it"
        assert done["2026-05"].problems == done["2026-03"].problems == (why,)
        assert not done["2026-05"].clean
        assert done["2026-06"].why == "no report yet"
        assert folder.listed("2026-07-01")["2026-05"] == why
        assert not folder.settled("2026-07-01")
    after = read_manifest(folder.out).reports
    assert {label: after[label] for label in before} == before
    assert folder.made("2026-07-01") == {"2026-06": "water/early.csv changed, water/may.csv changed"}


def test_a_kept_report_whose_files_are_gone_is_written_from_what_can_be_read(folder, monkeypatch):
    folder.write("water/may.csv", HEADER + row("2026-05-03"))
    folder.made("2026-06-01")
    (folder.out / "2026-05" / "season-report.html").unlink()
    close_folder(monkeypatch, folder.path / "water")
    assert folder.made("2026-06-01") == {"2026-05": "season-report.html is missing"}
