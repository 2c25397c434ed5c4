"""`benchwater sheets`, as its user runs it."""

import base64
import hashlib
import json
import re
from pathlib import Path

import pypdf
import pytest

from command_line import run
from sheets.sample_benches import crowded_text
from small_bench import SMALL_BENCH, write_files

PLUGIN = """
from benchwater.plugin import Column, LogKind, hookimpl

@hookimpl
def log_kinds():
    return [LogKind(name="tide", title="Tide log", columns=(
        Column(name="date", meaning="day", kind="date", needed=True),
        Column(name="stage", meaning="of the tide", kind="word", words=("ebb", "flood"), needed=True),
        Column(name="height", meaning="above chart", kind="length", bare_unit="m"),
    ))]
"""


def workspace(folder: Path, bench: str = SMALL_BENCH) -> Path:
    folder.mkdir(exist_ok=True)
    (folder / "bench.toml").write_text(bench, encoding="utf-8")
    return folder


@pytest.mark.slow
def test_a_started_workspace_gets_a_sheet_of_every_log(tmp_path):
    run("start", tmp_path / "bench")
    outcome = run("sheets", tmp_path / "bench")
    assert (outcome.status, outcome.err) == (0, "")
    written = sorted(path.name for path in (tmp_path / "bench/reports/sheets").iterdir())
    assert written == ["catch.pdf", "finishing.pdf", "fishing.pdf", "inventory.pdf", "pour.pdf"]
    assert outcome.out.count("Wrote") == 5
    assert run("check", tmp_path / "bench").status == 0


def test_one_log_somewhere_else(tmp_path):
    outcome = run("sheets", workspace(tmp_path / "b"), "--log", "pour", "--out", tmp_path / "print/here")
    assert outcome.status == 0
    assert [path.name for path in (tmp_path / "print/here").iterdir()] == ["pour.pdf"]
    assert not (tmp_path / "b/reports").exists()


def test_an_unknown_log_is_refused_with_the_nearest_name(tmp_path):
    outcome = run("sheets", workspace(tmp_path), "--log", "poor")
    assert outcome.status == 2
    assert "there is no log `poor`; did you mean `pour`?" in outcome.err
    far = run("sheets", tmp_path, "--log", "zzz")
    assert "there are: catch, finishing, fishing, inventory, pour" in far.err
    assert not (tmp_path / "reports").exists()


def test_a_log_of_the_makers_own_plugin_gets_a_sheet_unless_left_out(tmp_path):
    (workspace(tmp_path) / "plugins").mkdir()
    (tmp_path / "plugins/tide.py").write_text(PLUGIN)
    outcome = run("sheets", tmp_path, "--log", "tide")
    assert outcome.status == 0, outcome.err
    fields = pypdf.PdfReader(tmp_path / "reports/sheets/tide.pdf").get_fields()
    assert fields is not None
    assert {"r01 stage ebb", "r01 stage flood", "r01 height", "date"} <= set(fields)
    assert run("sheets", tmp_path, "--log", "tide", "--no-workspace-plugins").status == 2


def test_a_broken_plugin_is_reported_and_the_sheets_are_written(tmp_path):
    (workspace(tmp_path) / "plugins").mkdir()
    (tmp_path / "plugins/broken.py").write_text("raise ValueError('rust')\n")
    outcome = run("sheets", tmp_path, "--log", "catch")
    assert outcome.status == 1
    assert "rust" in outcome.err
    assert (tmp_path / "reports/sheets/catch.pdf").exists()


def test_a_folder_without_a_bench_says_how_to_begin(tmp_path):
    outcome = run("sheets", tmp_path)
    assert outcome.status == 2
    assert "benchwater start" in outcome.err


ROWS = {
    "finishing.csv": "date,mold,cavity,coat,count,cure_temp,cure_time\n"
    "2026-05-03,round-jig,1/8,black,12,375 F,20 min\n",
    "baits.csv": "date,trip,water,build,count,fished,fate\n"
    "2026-05-09,1,Mill reach,perch-grub,2,4 h,lost\n2026-05-16,2,Mill reach,perch-grub,1,4 h,kept\n",
    "fish.csv": "date,trip,water,species,build,count\n2026-05-09,1,Mill reach,yellow perch,perch-grub,6\n",
}


@pytest.fixture
def as_html(monkeypatch):
    """Write the HTML that would be printed in place of each PDF."""
    monkeypatch.setattr("benchwater.render.sheets.to_pdf", lambda html, **_: html.encode())


@pytest.mark.usefixtures("as_html")
def test_labels_lie_on_the_page_as_its_stock_is_divided(tmp_path):
    folder = write_files(tmp_path, {"bench.toml": SMALL_BENCH, **ROWS})
    division = ("--stock", "2x2", "--margin", "10", "--gap", "4")
    outcome = run("sheets", folder, "--tags", 5, "--first", 5, *division)
    html = (folder / "reports/sheets/tags.pdf").read_text()
    # A letter page is 215.9 by 279.4 mm: (215.9 - 20 - 4) / 2 and (279.4 - 20 - 4) / 2 for each label.
    first_page = [("10.00", "10.00"), ("109.95", "10.00"), ("10.00", "141.70"), ("109.95", "141.70")]
    assert re.findall(r"left: ([\d.]+)mm; top: ([\d.]+)mm", html) == [*first_page, ("10.00", "10.00")]
    assert "height: 127.70mm" in html
    assert "width: 95.95mm" in html
    assert re.findall(r"<b>(\w+)</b>", html) == ["27N", "29K", "2AH", "2CE", "2DC"]
    assert "tags.pdf (5 labels, 2 x 2 a page)" in outcome.out
    assert "Write `[tags]` and `printed = 9` in bench.toml" in outcome.out


@pytest.mark.usefixtures("as_html")
def test_each_kind_of_sheet_says_what_the_bench_and_its_logs_hold(tmp_path):
    folder = write_files(tmp_path, {"bench.toml": SMALL_BENCH, **ROWS})
    written = {
        ("--labels",): ("labels.pdf", ("perch-grub", "cured 375 °F for 20 min", "finished 3 May 2026")),
        ("--cards",): ("cards.pdf", ("takes alloy", "1/8: 2 a fill, 0.125 oz, hook-2", "coat: black")),
        ("--tally",): ("tally.pdf", ("round-jig", "A day on the water")),
        ("--trip", "mill REACH"): ("trip-mill REACH.pdf", ("perch-grub", "0.5 fish an hour (6 fish)")),
        ("--trial", "leader", "--blocks", 2): ("trial-leader.pdf", ("drawn by lot", "leader")),
    }
    for options, (name, words) in written.items():
        assert run("sheets", folder, *options).status == 0
        text = (folder / "reports/sheets" / name).read_text()
        assert [word for word in words if word not in text] == [], name
    lot = (folder / "reports/sheets/trial-leader.csv").read_text().splitlines()
    assert [line.split(",")[2] for line in lot[1:]] == ["1", "1", "2", "2"]
    assert [sorted(line.split(",")[4] for line in lot[at : at + 2]) for at in (1, 3)] == [["no", "yes"]] * 2
    taken = (folder / "reports/sheets/trip-mill REACH.csv").read_text().splitlines()
    assert taken[1].startswith(",perch-grub,")


@pytest.mark.usefixtures("as_html")
def test_a_sheet_that_cannot_be_made_says_why(tmp_path):
    folder = workspace(tmp_path)
    for options, status, words in (
        (("--labels",), 0, "There is nothing to print yet: no batch is in the finishing log"),
        (("--trip", "Mill reach"), 0, "No bait was logged as fished yet"),
        (("--shopping",), 0, "No season ahead can be planned yet."),
        (("--tags", 3, "--stock", "99x99"), 2, "makes labels of 2 by 3 mm; the least is 12 by 8 mm"),
        (("--trial", "leader", "--arms", "yes"), 2, "a trial compares at least two arms"),
    ):
        outcome = run("sheets", folder, *options)
        assert (outcome.status, words in outcome.out + outcome.err) == (status, True), outcome


def test_the_log_page_allows_its_own_style_and_script_alone(tmp_path):
    assert run("sheets", workspace(tmp_path), "--page").status == 0
    page = (tmp_path / "reports/sheets/log-page.html").read_text()
    for tag in ("style", "script"):
        content = re.search(rf"<{tag}>(.*?)</{tag}>", page, re.DOTALL)
        assert content is not None
        digest = base64.b64encode(hashlib.sha256(content[1].encode()).digest()).decode()
        assert f"{tag}-src 'sha256-{digest}'" in page
    facts = json.loads(page.partition('id="facts">')[2].partition("</script>")[0])
    assert facts["molds"] == {"round-jig": ["1/8", "1/8"]}


@pytest.mark.slow
def test_several_pages_are_counted(tmp_path):
    outcome = run("sheets", workspace(tmp_path, crowded_text(16)), "--log", "pour")
    assert outcome.status == 0
    pages = len(pypdf.PdfReader(tmp_path / "reports/sheets/pour.pdf").pages)
    assert pages > 1
    assert f"pour.pdf ({pages} pages)" in outcome.out


@pytest.mark.slow
def test_the_season_ahead_is_printed_as_lists_to_tick(tmp_path):
    outcome = run("sheets", "sample_logs", "--shopping", "--out", tmp_path)
    assert outcome.status == 0, outcome.err
    text = "".join(page.extract_text() for page in pypdf.PdfReader(tmp_path / "shopping.pdf").pages)
    assert "Before next season" in text
    assert "fills of guard-jig" in text
