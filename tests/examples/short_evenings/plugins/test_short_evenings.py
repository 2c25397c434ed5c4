from pathlib import Path

from benchwater.testing import check_section, finding, make_season, records

pytest_plugins = ["benchwater.testing.pytest_plugin"]

PLUGIN = Path(__file__).with_name("short_evenings.py")
ROWS = Path(__file__).with_suffix(".csv").read_text(encoding="utf-8")
BENCH = """
[bench]
[items.alloy]
kind = "metal"
[molds.round-jig]
material = "alloy"
[[molds.round-jig.cavities]]
name = "1/8"
mass = "1/8 oz"
"""


def section_of(bench, rows):
    section = make_season(bench, {"pour.csv": rows}, plugins=[PLUGIN]).section("short_evenings")
    check_section(section)
    return section


def test_evening_with_fewer_good_castings_than_least_is_short():
    section = section_of(BENCH, ROWS)
    assert finding(section, "short").value == 2 / 4
    assert [(row["blanks"], row["good"]) for row in records(section, "evenings")] == [
        (4, 12),
        (3, 2),
        (0, 10),
        (5, 0),
    ]
    assert "8 warm-up castings for 2 good ones" in section.actions[0].because


def test_bench_toml_sets_least():
    section = section_of(BENCH + "[plugins.short_evenings]\nleast = 11\n", ROWS)
    assert finding(section, "short").value == 3 / 4


def test_three_evenings_give_no_advice():
    section = section_of(BENCH, "".join(ROWS.splitlines(keepends=True)[:-1]))
    assert section.status == "thin"
    assert section.actions == ()


def test_section_is_in_the_report(run_report):
    files = {"bench.toml": BENCH, "pour.csv": ROWS, "plugins/short_evenings.py": PLUGIN}
    assert run_report(files, "--only", "short_evenings").section("short_evenings")["status"] == "ok"
