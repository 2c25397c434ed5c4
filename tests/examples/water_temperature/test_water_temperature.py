"""A plugin with a log kind of its own, against bands computed by hand."""

from pathlib import Path

import pytest

from benchwater.testing import check_section, finding, make_season, records

pytest_plugins = ["benchwater.testing.pytest_plugin"]

HERE = Path(__file__).parent
PLUGIN = HERE / "water_temperature.py"
BENCH = (HERE / "bench.toml").read_text()
LOGS = {name: (HERE / name).read_text() for name in ("logger.csv", "fishing.csv", "catch.csv")}
READ = "\n".join(line for line in LOGS["logger.csv"].splitlines() if not line.endswith(("error", "130")))


@pytest.mark.slow
def test_report_has_the_section_and_lists_impossible_readings(run_report):
    run = run_report({"bench.toml": BENCH, "plugins/water_temperature.py": PLUGIN, **LOGS}, "--season")
    assert run.status == 0, run.err
    section = run.section("water_temperature")
    assert section["status"] == "ok"
    assert [(f["group"], f["value"]) for f in section["findings"] if f["id"] == "rate"] == [
        ("50 °F to 55 °F", 0.0),
        ("55 °F to 60 °F", pytest.approx(5 / 5)),
        ("60 °F to 65 °F", pytest.approx(6 / 5)),
    ]
    aside = {row["value"]: row["why"] for row in run.twin["set_aside"] if row["file"] == "logger.csv"}
    assert set(aside) == {"error", "130"}
    assert "no temperature of water" in aside["130"]


def test_hours_and_fish_are_joined_by_day_and_water():
    made = make_season(BENCH, {**LOGS, "logger.csv": READ}, plugins=[PLUGIN])
    section = made.section("water_temperature")
    check_section(section)
    joined = [(row["days"], row["effort"], row["fish"]) for row in records(section, "bands")]
    assert joined == [(1, 2.0, 0), (2, 5.0, 5), (2, 5.0, 6)]
    assert finding(section, "unread").value == 2


def test_bench_toml_sets_band_width_and_water():
    bench = BENCH.replace('"Mill Reach"', '"Alder Pond"\nband = 10')
    section = make_season(bench, {**LOGS, "logger.csv": READ}, plugins=[PLUGIN]).section("water_temperature")
    check_section(section)
    assert section.status == "thin"
    (row,) = records(section, "bands")
    assert (row["fish"], row["effort"], row["to"]) == (7, 4.0, pytest.approx((70 - 32) / 1.8))
    assert finding(section, "unread").value == 6
