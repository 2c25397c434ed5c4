"""Three seasons of one bench: sections of this season know nothing of earlier rows, others plan from them."""

import importlib.util
import shutil
from pathlib import Path

import pytest

from benchwater.analyse.report import Report, ReportSection
from benchwater.pipeline import Request, make_report, read_workspace

EXAMPLE = Path(__file__).parent / "three_seasons"
OF_THIS_SEASON = (
    "material_balance",
    "defect_rate",
    "finishing",
    "bait_mortality",
    "catch_rate",
    "catch_size",
)


def _report(folder: Path) -> Report:
    return make_report(read_workspace(folder, workspace_plugins=False), Request(whole_season=True))


def _section(report: Report, id: str) -> ReportSection:
    return next(section for section in report.sections if section.id == id)


@pytest.fixture(scope="module")
def with_earlier() -> Report:
    return _report(EXAMPLE)


@pytest.mark.slow
def test_sections_of_this_season_say_the_same_without_earlier_rows(
    tmp_path: Path, with_earlier: Report
) -> None:
    alone = tmp_path / "alone"
    shutil.copytree(EXAMPLE, alone)
    for log in (alone / "logs").iterdir():
        lines = log.read_text().splitlines(keepends=True)
        log.write_text("".join(line for line in lines if not line.startswith(("2024", "2025"))))
    without = _report(alone)
    for id in OF_THIS_SEASON:
        one, other = (_section(report, id).parts[-1].section for report in (with_earlier, without))
        assert one.tables == other.tables, id
        assert [each for each in one.findings if each.id != "between_seasons"] == list(other.findings), id


@pytest.mark.slow
def test_the_seasons_are_compared_and_the_next_is_planned_from_all_of_them(with_earlier: Report) -> None:
    (ahead,) = _section(with_earlier, "season_ahead").parts
    losses = next(each for each in ahead.section.findings if each.id == "losses_ahead")
    assert losses.more["seasons"] == 3
    assert losses.low is not None
    assert losses.high is not None
    assert losses.low < 51 < losses.high, "this season took 51"
    assert ahead.section.actions
    (compared,) = _section(with_earlier, "seasons").parts
    bitten = [
        each
        for each in compared.section.findings
        if each.id == "season_ratio" and each.more["of"] == "bite off" and each.group == "2025"
    ]
    assert bitten
    assert bitten[0].high is not None
    assert bitten[0].high < 1, "leaders came in 2026"


def test_the_logs_are_what_the_script_writes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    spec = importlib.util.spec_from_file_location("write_logs", EXAMPLE / "write_logs.py")
    assert spec is not None
    assert spec.loader is not None
    script = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(script)
    monkeypatch.setattr(script, "LOGS", tmp_path)
    script.main()
    for log in (EXAMPLE / "logs").iterdir():
        assert (tmp_path / log.name).read_bytes() == log.read_bytes()
