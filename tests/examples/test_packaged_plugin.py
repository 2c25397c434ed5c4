"""A plugin as an installed package."""

import shutil
from pathlib import Path

import pytest

from benchwater.testing import check_section, finding, make_season
from wheels import build_wheel, install, run_with

PROJECT = Path(__file__).parent / "packaged_plugin"
BENCH = """
[bench]
[items.alloy]
kind = "metal"
[molds.jig]
material = "alloy"
[[molds.jig.cavities]]
name = "1/8"
mass = "1/8 oz"
"""
ROWS = "date,mold,cavity,outcome\n" + "".join(
    f"2026-05-{day},jig,1/8,good\n" for day in ("02", "02 19:00", "09")
)


@pytest.mark.slow
def test_installed_plugin_is_found_by_its_entry_point(tmp_path):
    shutil.copytree(PROJECT, tmp_path / "project")
    install(build_wheel(tmp_path / "project", tmp_path / "wheels"), tmp_path / "site")
    listed = run_with(tmp_path / "site", "-m", "benchwater", "plugins", tmp_path)
    assert listed.returncode == 0, listed.stdout + listed.stderr
    assert "On how many days did I pour?" in listed.stdout
    assert "installed: bench_evenings" in listed.stdout


def test_section_counts_days_and_not_castings():
    made = make_season(BENCH, {"pour.csv": ROWS}, plugins=[PROJECT / "src" / "bench_evenings.py"])
    section = made.section("bench_evenings")
    check_section(section)
    assert finding(section, "days").value == 2
