import os
from pathlib import Path

import pytest

from benchwater.plugin import HandOnError, ReportWritten
from benchwater.plugin_host.load import load_plugins
from benchwater.testing import plugin_file
from command_line import run
from small_bench import SMALL_BENCH

copy_report = plugin_file(Path(__file__).parents[3] / "plugins" / "after" / "copy_report.py")


def written(tmp_path, folder: str | None = None) -> ReportWritten:
    out = tmp_path / "reports" / "2026-05"
    out.mkdir(parents=True, exist_ok=True)
    pdf = out / "season-report.pdf"
    pdf.write_bytes(b"%PDF one")
    html = out / "season-report.html"
    html.write_text("one")
    return ReportWritten(
        label="2026-05", workspace=tmp_path, folder=out, files=(pdf, html), options={"folder": folder}
    )


def everything(folder):
    return {path.relative_to(folder).as_posix(): path.stat().st_mtime_ns for path in folder.rglob("*")}


def test_nothing_is_copied_until_a_folder_is_named(tmp_path):
    report = written(tmp_path)
    before = everything(tmp_path)
    copy_report.report_written(report)
    assert everything(tmp_path) == before


def test_only_the_pdf_is_copied_with_the_period_in_its_name(tmp_path):
    there = tmp_path / "my drive"
    there.mkdir()
    copy_report.report_written(written(tmp_path, folder=str(there)))
    assert [path.name for path in there.iterdir()] == ["season-report-2026-05.pdf"]
    assert (there / "season-report-2026-05.pdf").read_bytes() == b"%PDF one"


def test_an_equal_copy_stays_and_an_older_one_is_replaced(tmp_path):
    there = tmp_path / "drive"
    there.mkdir()
    report = written(tmp_path, folder="drive")
    copy_report.report_written(report)
    before = everything(there)
    copy_report.report_written(report)
    assert everything(there) == before
    report.files[0].write_bytes(b"%PDF two")
    copy_report.report_written(report)
    assert (there / "season-report-2026-05.pdf").read_bytes() == b"%PDF two"


def test_the_home_folder_may_be_written_short(tmp_path, monkeypatch):
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv("USERPROFILE", str(tmp_path))
    (tmp_path / "Sync").mkdir()
    copy_report.report_written(written(tmp_path / "bench", folder="~/Sync"))
    assert (tmp_path / "Sync" / "season-report-2026-05.pdf").exists()


@pytest.mark.parametrize(
    ("folder", "words"),
    [
        ("nowhere", ["nowhere", "is not there"]),
        ("bench.toml", ["bench.toml", "is not there"]),
        ("", ["needs `folder"]),
        ("~no-such-person-here/x", ["no-such-person-here"]),
    ],
)
def test_an_unusable_folder_is_one_sentence_and_is_not_made(tmp_path, folder, words):
    (tmp_path / "bench.toml").write_text("")
    report = written(tmp_path, folder=folder)
    with pytest.raises(HandOnError) as refusal:
        copy_report.report_written(report)
    for word in words:
        assert word in str(refusal.value)
    assert not (tmp_path / "nowhere").exists()


def test_a_copy_that_fails_leaves_nothing_half_done(tmp_path, monkeypatch):
    there = tmp_path / "drive"
    there.mkdir()

    def full(*paths):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.replace", full)
    with pytest.raises(HandOnError, match="No space left"):
        copy_report.report_written(written(tmp_path, folder="drive"))
    assert list(there.iterdir()) == []


def test_a_report_without_a_pdf_is_refused(tmp_path):
    (tmp_path / "drive").mkdir()
    report = written(tmp_path, folder="drive")
    with pytest.raises(HandOnError, match="no PDF"):
        copy_report.report_written(
            ReportWritten(
                label="2026-05",
                workspace=tmp_path,
                folder=report.folder,
                files=report.files[1:],
                options=report.options,
            )
        )


def test_it_is_shipped_and_can_be_switched_off():
    shipped = {plugin.id: plugin for plugin in load_plugins(None).loaded}
    assert shipped["copy_report"].report_written is not None
    off = {plugin.id: plugin for plugin in load_plugins(None, off=("copy_report",)).loaded}
    assert off["copy_report"].report_written is None


def bench_folder(tmp_path, more=""):
    (tmp_path / "bench.toml").write_text(SMALL_BENCH + more)
    (tmp_path / "p.csv").write_text("date,mold,cavity,outcome\n2026-05-02,round-jig,1/8,good\n")
    return tmp_path


@pytest.mark.slow
def test_report_copies_the_pdf_where_bench_toml_says(tmp_path):
    folder = bench_folder(tmp_path, '\n[plugins.copy_report]\nfolder = "drive"\n')
    missing = run("report", folder)
    assert missing.status == 1
    assert "copy_report.py" in missing.err
    assert "is not there" in missing.err
    assert "Traceback" not in missing.err
    assert (folder / "reports" / "2026-05" / "season-report.pdf").exists()
    (folder / "drive").mkdir()
    run("report", folder, "--only", "bench_safety")
    assert list((folder / "drive").iterdir()) == [], "a report of one analysis is for looking at"
    run("report", folder)
    pdf = (folder / "reports" / "2026-05" / "season-report.pdf").read_bytes()
    assert (folder / "drive" / "season-report-2026-05.pdf").read_bytes() == pdf


@pytest.mark.slow
def test_a_hook_that_raises_affects_neither_the_report_nor_other_hooks(tmp_path):
    folder = bench_folder(tmp_path)
    (folder / "plugins").mkdir()
    breaks = "from benchwater.plugin import hookimpl\n\n@hookimpl\ndef report_written({}):\n    {}\n"
    (folder / "plugins" / "breaks.py").write_text(breaks.format("report", "raise SystemExit(report.nothing)"))
    (folder / "plugins" / "ends.py").write_text(breaks.format("", "raise SystemExit(3)"))
    told = breaks.format("report", "(report.workspace / 'told').write_text(report.label)")
    (folder / "plugins" / "tells.py").write_text(told)
    outcome = run("report", folder)
    assert outcome.status == 1
    assert "AttributeError" in outcome.err
    assert "SystemExit: 3" in outcome.err
    assert "Traceback" not in outcome.err
    assert (folder / "told").read_text() == "2026-05"
    assert len(list((folder / "reports" / "2026-05").iterdir())) == 3


def test_a_hook_with_an_unknown_argument_is_refused_by_name(tmp_path):
    (tmp_path / "plugins").mkdir()
    (tmp_path / "plugins" / "wrong.py").write_text(
        "from benchwater.plugin import hookimpl\n\n@hookimpl\ndef report_written(report, clock):\n    pass\n"
    )
    (problem,) = [each for each in load_plugins(tmp_path).problems if each.origin == "workspace"]
    assert "clock" in problem.why


def test_a_link_in_place_of_the_pdf_is_not_copied(tmp_path):
    (tmp_path / "drive").mkdir()
    (tmp_path / "private").write_text("private")
    report = written(tmp_path, folder="drive")
    report.files[0].unlink()
    report.files[0].symlink_to(tmp_path / "private")
    with pytest.raises(HandOnError, match="is a link"):
        copy_report.report_written(report)
    assert everything(tmp_path / "drive") == {}


def test_what_a_killed_run_left_is_removed_by_the_next_copy_and_nothing_else(tmp_path):
    there = tmp_path / "drive"
    there.mkdir()
    for name in (".season-report-2026-05.0123abcd.part", ".season-report-2026-04.0123abcd.part", "my.part"):
        (there / name).write_text("half")
    copy_report.report_written(written(tmp_path, folder="drive"))
    left = sorted(path.name for path in there.iterdir())
    assert left == [".season-report-2026-04.0123abcd.part", "my.part", "season-report-2026-05.pdf"]


@pytest.mark.skipif(os.name == "nt", reason="needs a umask")
def test_a_copy_has_the_mode_that_the_umask_leaves(tmp_path):
    (tmp_path / "drive").mkdir()
    report = written(tmp_path, folder="drive")
    before = os.umask(0o027)
    try:
        copy_report.report_written(report)
    finally:
        os.umask(before)
    assert (tmp_path / "drive" / "season-report-2026-05.pdf").stat().st_mode & 0o777 == 0o640
