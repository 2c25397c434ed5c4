"""Bench and rows for the tests of material_balance."""

import math
from pathlib import Path

from benchwater.plugin import Analysis, Section
from benchwater.testing import MadeSeason, make_season, plugin_file, records

ROOT = Path(__file__).parents[1]
ANALYSIS: Analysis = next(iter(plugin_file(ROOT / "plugins/analyses/material_balance").analyses()))
MONTHS = [f"2026-{month:02d}" for month in range(3, 11)]
STEP = 5 / math.sqrt(12)
ENTERS, LEAVES = ("received", "recovered"), ("in_castings", "used", "discarded")
BENCH = """
[bench]
name = "Test bench"
units = "metric"
season = { start = "03-01" }
[items.alloy]
kind = "metal"
unit = "g"
scale = { resolution = "5 g" }
price = 6.00
pack = "500 g"
[items.harder]
kind = "metal"
unit = "g"
scale = { resolution = "5 g" }
[items.hook]
kind = "insert"
pack = 50
price = 10.00
mass = "0.8 g"
[items.pearl]
kind = "coat"
unit = "g"
scale = { resolution = "1 g" }
[items.plain-coat]
kind = "coat"
unit = "g"
scale = { resolution = "1 g" }
[molds.ball]
material = "alloy"
[[molds.ball.cavities]]
name = "1/4"
mass = "7 g"
tolerance = "5 %"
insert = "hook"
[[molds.ball.cavities]]
name = "bare"
mass = "10 g"
tolerance = "6 %"
[builds.bright]
head = { mold = "ball", cavity = "1/4" }
coat = { item = "pearl", mass = "0.2 g" }
[builds.dull]
head = { mold = "ball", cavity = "bare" }
coat = { item = "pearl", mass = "0.4 g" }
"""
STOCK = "date,item,move,amount,cost,uncertainty,note\n"
POUR = "date,mold,cavity,outcome,count,mass,flaw,material\n"
COAT = "date,mold,cavity,coat,count,rejects\n"


def made(stock: str, pour: str = "", coat: str = "", month: str | None = None) -> MadeSeason:
    logs = {"stock.csv": STOCK + stock, "pour.csv": POUR + pour, "coat.csv": COAT + coat}
    return make_season(BENCH, {name: text for name, text in logs.items() if text.count("\n") > 1}, month)


def balance(section: Section, item: str) -> dict[str, object]:
    return next(row for row in records(section, "balance") if row["item"] == item)


def number(cell: object) -> float:
    assert isinstance(cell, float)
    return cell


def chain(counts: list[float], item: str = "alloy", unit: str = " g") -> Section:
    """Return the section of a count a month, with 100 used in each month between."""
    days = ["03-01", "03-31", "04-30", "05-31", "06-30", "07-31"]
    rows = [
        f"2026-{day},{item},counted,{count:g}{unit},,,\n" for day, count in zip(days, counts, strict=False)
    ]
    rows += [f"2026-{month:02d}-15,{item},used,100{unit},,,\n" for month in range(3, 2 + len(counts))]
    season = made("".join(rows))
    return ANALYSIS.analyse(season.season, season.whole)
