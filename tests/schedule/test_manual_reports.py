"""A report by hand, as `report` makes it without a PDF, and what `due` then finds left to do."""

from dataclasses import replace
from datetime import date

import pytest

from benchwater.files import LOCK_NAME, BeingWrittenError, only_writer, write_atomically
from benchwater.pipeline import Request, make_report, read_workspace
from benchwater.render.write import Written
from benchwater.schedule.catch_up import manual_reports
from benchwater.schedule.manifest import NAME, hash_inputs, read_manifest
from benchwater.schedule.owed import scan_folder, states
from small_bench import SMALL_BENCH, write_files

HEADER = "date,mold,cavity,outcome,mold_temp\n"
APRIL, MAY = (f"2026-{month}-02,round-jig,1/8,good,350\n" for month in ("04", "05"))
ONLY = ("defect_rate",)


@pytest.fixture
def folder(tmp_path):
    return write_files(tmp_path, {"bench.toml": SMALL_BENCH, "pour.csv": HEADER + APRIL + MAY})


def write(folder, month="2026-05", *, out=None, note=True, meanwhile=lambda: None, own=True, **options):
    """Read, make and write one report as `report` does, with another thing happening once it is read."""
    reports = manual_reports(folder, out, workspace_plugins=own)
    workspace = read_workspace(folder, workspace_plugins=own)
    made = make_report(workspace, Request(month=month, only=ONLY, **options))
    meanwhile()
    with reports.overwriting(made.label) as record:
        place = (out or folder / "reports") / made.label
        place.mkdir(parents=True, exist_ok=True)
        written = Written(files=(write_atomically(place / "season-report.html", b"made"),))
        if note:
            record(workspace, made, written, True)


def listed(folder, today="2027-03-01"):
    manifest = read_manifest(folder / "reports")
    scan, _ = scan_folder(folder, manifest, inputs=hash_inputs(folder))
    found = states(scan, manifest.reports, folder / "reports", date.fromisoformat(today))
    return {state.label: state.what for state in found}


def test_a_month_that_report_wrote_is_not_owed_and_the_others_are(folder):
    write(folder)
    assert listed(folder, "2026-06-01") == {
        "2026-04": "owed: no report yet",
        "2026-05": "written",
        "season-2026": "not ended",
    }


@pytest.mark.parametrize(
    ("name", "text", "why"),
    [
        ("pour.csv", HEADER + APRIL + MAY.replace("350", "360"), "owed: pour.csv changed"),
        ("pour.csv", HEADER + APRIL + MAY + MAY.replace("350", "hot"), "owed: pour.csv changed"),
        ("bench.toml", SMALL_BENCH.replace("24.0", "25.0"), "owed: bench.toml changed"),
        ("plugins/_mine.py", "1\n", "owed: plugins/_mine.py is new"),
        ("june.csv", HEADER + MAY.replace("05", "06"), "written"),
    ],
)
@pytest.mark.parametrize("when", ["afterwards", "meanwhile"])
def test_a_change_after_or_while_report_reads_makes_the_report_owed(folder, name, text, why, when):
    (folder / "plugins").mkdir()

    def change():
        (folder / name).write_text(text)

    write(folder, meanwhile=change if when == "meanwhile" else lambda: None)
    change()
    assert listed(folder)["2026-05"] == why


def test_a_month_reported_before_its_end_is_owed_only_if_rows_were_added(folder):
    write(folder)
    assert listed(folder, "2026-05-20")["2026-05"] == "not ended"
    assert listed(folder, "2026-06-01")["2026-05"] == "written"
    (folder / "pour.csv").write_text(HEADER + APRIL + MAY + MAY.replace("-02", "-30"))
    assert listed(folder, "2026-06-01")["2026-05"] == "owed: pour.csv changed"


def test_a_report_unlike_that_of_due_makes_the_record_of_the_old_one_void(folder):
    unknown = "owed: there is no record of what its report was made from"
    write(folder)
    write(folder, note=False)
    assert listed(folder)["2026-05"] == unknown
    write(folder, own=False)
    (folder / "plugins").mkdir()
    (folder / "plugins" / "_mine.py").write_text("1\n")
    assert listed(folder)["2026-05"] == "owed: plugins/_mine.py is new"
    write(folder, None, whole_season=True)
    assert listed(folder)["season-2026"] == "written"
    write(folder, "2026-04", whole_season=True)
    assert listed(folder)["season-2026"] == unknown
    (folder / "pour.csv").write_text(HEADER + APRIL)
    write(folder)
    (folder / "pour.csv").write_text(HEADER + APRIL + MAY)
    assert listed(folder)["2026-05"] == unknown


def test_failed_plugins_are_recorded(folder):
    (folder / "plugins").mkdir()
    (folder / "plugins" / "broken.py").write_text("1/0\n")
    write(folder)
    assert listed(folder)["2026-05"] == "written (broken.py failed)"
    report = read_manifest(folder / "reports").reports["2026-05"]
    assert report.printed
    assert report.handed_on


def test_nothing_is_recorded_for_another_out_folder(folder, monkeypatch):
    write(folder, out=folder / "elsewhere")
    assert not (folder / "reports").exists()
    assert not (folder / "elsewhere" / NAME).exists()
    monkeypatch.chdir(folder)
    write(folder, out=folder / "elsewhere" / ".." / "reports")
    assert listed(folder)["2026-05"] == "written"


def test_while_another_run_writes_nothing_is_recorded_or_forgotten(folder):
    write(folder)
    before = (folder / "reports" / NAME).read_bytes()
    with only_writer(folder / "reports"):
        write(folder, note=False)
        write(folder, "2026-04")
    assert (folder / "reports" / NAME).read_bytes() == before


def test_report_locks_the_reports_folder(folder):
    reports = manual_reports(folder, None, workspace_plugins=True)
    with reports.overwriting("2026-05"):
        assert (folder / "reports" / LOCK_NAME).exists()
        with pytest.raises(BeingWrittenError), only_writer(folder / "reports"):
            pass
    assert not (folder / "reports" / LOCK_NAME).exists()


def test_the_last_scan_is_kept(folder):
    write(folder, "2026-04")
    seen, _ = scan_folder(folder, read_manifest(folder / "reports"), inputs=hash_inputs(folder))
    manifest = replace(read_manifest(folder / "reports"), scan=seen)
    from benchwater.schedule.manifest import manifest_text

    (folder / "reports" / NAME).write_text(manifest_text(manifest))
    write(folder)
    assert read_manifest(folder / "reports").scan == seen
