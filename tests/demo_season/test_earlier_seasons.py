"""The demo's two earlier seasons: sections of this season do not know them, others go by them."""

import shutil
from pathlib import Path
from typing import Any

import pytest

from benchwater.analyse.report import Report, ReportSection
from benchwater.pipeline import Request, make_report, read_workspace
from benchwater.plugin import Section
from benchwater.testing import records

DEMO = Path(__file__).parents[2] / "sample_logs"
OF_THIS_SEASON = (
    "material_balance",
    "defect_rate",
    "finishing",
    "bait_mortality",
    "catch_rate",
    "catch_size",
    "bench_safety",
)
OF_ALL_SEASONS = {"mold_share", "cost", "saving", "low", "high"}


def _season_of(folder: Path) -> Report:
    return make_report(read_workspace(folder, workspace_plugins=False), Request(whole_season=True))


def _section(report: Report, id: str) -> Section:
    section: ReportSection = next(section for section in report.sections if section.id == id)
    return section.parts[-1].section


@pytest.fixture(scope="module")
def three() -> Report:
    return _season_of(DEMO)


@pytest.fixture(scope="module")
def alone(tmp_path_factory: pytest.TempPathFactory) -> Report:
    folder = tmp_path_factory.mktemp("alone") / "logs"
    shutil.copytree(DEMO, folder, ignore=shutil.ignore_patterns("earlier", "reports"))
    return _season_of(folder)


def _near(value: Any) -> Any:
    return pytest.approx(value, rel=1e-9, abs=1e-9) if isinstance(value, float) else value


@pytest.mark.slow
def test_sections_of_this_season_say_the_same_without_earlier_rows(three: Report, alone: Report) -> None:
    for id in OF_THIS_SEASON:
        one, other = _section(three, id), _section(alone, id)
        for table, its in zip(one.tables, other.tables, strict=True):
            for row, same in zip(table.rows, its.rows, strict=True):
                assert row == tuple(map(_near, same)), (id, table.id)
        said = [each.text for each in one.findings if each.id != "between_seasons"]
        assert said == [each.text for each in other.findings], id


@pytest.mark.slow
def test_a_bait_costs_what_it_does_this_season_but_for_the_share_of_its_molds(
    three: Report, alone: Report, truth: dict[str, Any]
) -> None:
    for row, same in zip(
        *(records(_section(report, "cost"), "per_build") for report in (three, alone)), strict=True
    ):
        for name in row.keys() - OF_ALL_SEASONS:
            near = pytest.approx(same[name], rel=0.02) if name == "material" else _near(same[name])
            assert row[name] == near, (row["build"], name)
        assert not row["mold_share"] or row["mold_share"] <= same["mold_share"]
    saved = next(each for each in _section(three, "cost").findings if each.id == "saved")
    low, high = (float(str(saved.more[name])) for name in ("baits_low", "baits_high"))
    assert low <= sum(truth["dressed"].values()) <= high


@pytest.mark.slow
def test_the_next_season_is_planned_from_all_of_them(three: Report, alone: Report) -> None:
    losses, of_one = (
        next(each for each in _section(report, "season_ahead").findings if each.id == "losses_ahead")
        for report in (three, alone)
    )
    assert losses.more["seasons"] == 3
    assert None not in (losses.low, losses.high, of_one.low, of_one.high)
    assert losses.high - losses.low < of_one.high - of_one.low, "three seasons tell more than one"  # type: ignore[operator]


@pytest.mark.slow
def test_the_seasons_are_compared_by_what_was_built_into_them(three: Report, truth: dict[str, Any]) -> None:
    rows = records(_section(three, "seasons"), "seasons")
    for year, built in truth["earlier_seasons"].items():
        drawn = built["drawn"]
        then = {(row["measure"], row["group"]): row["then"] for row in rows if row["against"] == year}
        assert then["bad castings", "all"] == pytest.approx(drawn["rejects"] / drawn["castings"])
        assert then["fish", "all"] == pytest.approx(drawn["fish"] / drawn["hours"], rel=1e-3)
        bitten = drawn["bite off"] / drawn["hours"]
        assert then["baits ended", "bite off"] == pytest.approx(bitten, rel=1e-3)
    bad = next(row for row in rows if row["measure"] == "bad castings" and row["against"] == "2024")
    assert bad["high"] < 1, "there was no thermometer in 2024"  # type: ignore[operator]


@pytest.mark.slow
def test_what_a_bait_cost_is_compared_as_the_section_of_costs_has_it_and_every_question_is_drawn(
    three: Report,
) -> None:
    section = _section(three, "seasons")
    costs = {row["build"]: row for row in records(_section(three, "cost"), "per_build")}
    rows = [row for row in records(section, "seasons") if row["measure"] == "cost of a bait"]
    assert {row["group"] for row in rows} == {"perch-grub", "crappie-grub", "reach-skirt"}
    for row in rows:
        of_build = costs[row["group"]]
        assert row["now"] == pytest.approx(of_build["material"] + of_build["rejects_share"])  # type: ignore[operator]
    drawn = [figure.id for figure in section.figures]
    assert drawn == ["bad_castings", "baits_ended", "fish", "cost_of_a_bait"]
    assert "perch-grub 2.3 in 2024, 1.9 in 2025, 2 in 2026" in section.figures[2].alt


def test_three_seasons_take_no_more_room_than_three_times_one() -> None:
    sizes = {path: path.stat().st_size for path in DEMO.rglob("*.?sv")}
    earlier = sum(size for path, size in sizes.items() if "earlier" in path.parts)
    assert sum(sizes.values()) < 3 * (sum(sizes.values()) - earlier)
