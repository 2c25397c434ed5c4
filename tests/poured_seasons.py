"""Seasons of the pour log for the tests of bad castings: their bench, their rows, and the demo's."""

from collections.abc import Iterable
from pathlib import Path

import numpy as np

from benchwater.plugin import Analysis, Section
from benchwater.testing import MadeSeason, make_season, plugin_file

ROOT = Path(__file__).parents[1]
ANALYSIS: Analysis = next(iter(plugin_file(ROOT / "plugins/analyses/defect_rate").analyses()))
BENCH = """
[bench]
name = "Test bench"
units = "UNITS"
[defaults]
mold_temp = "degC"
melt_temp = "degC"
[items.alloy]
kind = "metal"
melts = "250 degC"
[items.hook]
kind = "insert"
PRICE
[molds.ball]
material = "alloy"
MASS
[[molds.ball.cavities]]
name = "small"
mass = "2 g"
insert = "hook"
per_fill = 2
[[molds.ball.cavities]]
name = "large"
mass = "4 g"
insert = "hook"
per_fill = 3
[molds.wide]
material = "alloy"
[[molds.wide.cavities]]
name = "only"
mass = "4 g"
"""
HEADER = "date,mold,cavity,outcome,count,fill,mold_temp,melt_temp,flaw,session"
CONTRACT = {
    "by_temperature": "mold low_c high_c castings rejects rate low high",
    "by_estimated": "mold low_c high_c castings rejects rate low high",
    "curve": "mold temp_c flaw rate low high",
    "by_cavity": "mold cavity castings rejects rate low high p_adjusted",
    "sessions": "session castings rejects rate center lower upper signal",
    "mold_heat": "session fill measured_c estimated_c",
}


def fill_rows(
    day: str,
    fill: int | str,
    temp: float | str,
    flaws: dict[str, int],
    made: int = 5,
    place: str = "ball,large",
) -> list[str]:
    """One fill: its bad castings by flaw (an empty one is not named), the rest good."""
    good = made - sum(flaws.values())
    rows = [f"{day},{place},reject,{n},{fill},{temp},,{flaw}," for flaw, n in flaws.items() if n]
    return [f"{day},{place},good,{good},{fill},{temp},,,", *rows] if good else rows


def season_of(rows: Iterable[str], *, units: str = "us", price: bool = True, mass: bool = True) -> MadeSeason:
    bench = BENCH.replace("UNITS", units)
    bench = bench.replace("PRICE", "pack = 50\nprice = 10.00" if price else "")
    bench = bench.replace("MASS", 'metal_mass = "0.25 kg"' if mass else "")
    return make_season(bench, {"pour.csv": "\n".join([HEADER, *rows, ""])})


def section_of(rows: Iterable[str], *, units: str = "us", price: bool = True, mass: bool = True) -> Section:
    made = season_of(rows, units=units, price=price, mass=mass)
    section = ANALYSIS.analyse(made.season, made.whole)
    check(section)
    return section


def check(section: Section) -> None:
    """What holds for every section: the contract's columns, intervals about their values, finite numbers."""
    for found in section.tables:
        assert " ".join(column.name for column in found.columns) == CONTRACT[found.id]
    for entry in section.findings:
        numbers = [value for value in (entry.low, entry.value, entry.high) if value is not None]
        assert np.isfinite(numbers).all()
        assert numbers == sorted(numbers), entry
        assert entry.text.endswith(".")
        assert "nan" not in entry.text
    for figure in section.figures:
        assert figure.svg.startswith("<svg")
        assert figure.alt.endswith(".")
    assert len({action.id for action in section.actions}) == len(section.actions)


def separated(days: int = 3) -> list[str]:
    """Every casting short below 130 degC, none above."""
    rows = []
    for day in range(1, days + 1):
        for fill, temp in enumerate((90, 100, 110, 120, 150, 160, 170, 180), start=1):
            flaws = {"short fill": 5} if temp < 130 else {}
            rows += fill_rows(f"2026-05-{day:02}", fill, temp + day, flaws)
    return rows
