"""Bench and rows for the tests of bait_mortality."""

from pathlib import Path

from benchwater.plugin import Analysis, Section
from benchwater.testing import MadeSeason, make_season, plugin_file, records

ROOT = Path(__file__).parents[1]
ANALYSIS: Analysis = next(iter(plugin_file(ROOT / "plugins/analyses/bait_mortality").analyses()))
BENCH = """
[bench]
name = "Test bench"
season = { start = "03-01" }
[defaults]
fished = "h"
[items.alloy]
kind = "metal"
[items.pearl]
kind = "coat"
[items.weed-guard]
kind = "fitting"
[molds.ball]
material = "alloy"
[[molds.ball.cavities]]
name = "1/8"
mass = "1/8 oz"
[builds.plain]
head = { mold = "ball", cavity = "1/8" }
[builds.guarded]
head = { mold = "ball", cavity = "1/8" }
coat = { item = "pearl", mass = "0.1 g" }
fittings = { weed-guard = 1 }
"""
HEADER = "date,build,fished,fate,count,bait,cause,water,habitat,leader\n"
CONTRACT = {
    "survival": ["group", "time_h", "at_risk", "lost", "survival", "low", "high"],
    "causes": ["group", "cause", "time_h", "incidence", "low", "high"],
    "rates": ["factor", "group", "bait_hours", "lost", "rate", "low", "high"],
    "contrasts": ["factor", "group", "against", "ratio", "low", "high", "p", "p_adjusted"],
    "losses": ["fate", "cause", "baits"],
}


def fished(*rows: str, month: str | None = None) -> MadeSeason:
    return make_season(BENCH, {"baits.csv": HEADER + "\n".join(rows) + "\n"}, month)


def whole(*rows: str) -> Section:
    made = fished(*rows)
    return ANALYSIS.analyse(made.season, made.whole)


def of_all(section: Section, id: str = "survival") -> list[dict[str, object]]:
    return [row for row in records(section, id) if row["group"] == "all"]


def number(value: object) -> float:
    assert isinstance(value, int | float)
    return float(value)


MIXED = (
    "2026-05-01,plain,1,lost,2,,bite off,pond,weeds;shallow,no",
    "2026-05-01,plain,2,worn,1,,torn,pond,weeds;shallow,wire",
    "2026-05-02,guarded,2,lost,3,,snag,reach,timber,",
    "2026-05-02,guarded,3,kept,4,,,reach,,Yes",
    "2026-05-03,plain,4,lost,1,,bite off,reach,timber;shallow,no",
    "2026-05-03,plain,6,kept,2,,,pond,open,WIRE",
)


def bitten(leader: str, lost: int, kept: int, habitat: str = "weeds", trips: int = 12) -> list[str]:
    """Return rows of baits bitten off after an hour, and of kept ones, spread evenly over trips."""
    rows = []
    for trip in range(trips):
        for fate, baits in (("lost,{},,bite off", lost), ("kept,{},,", kept)):
            count = (trip + 1) * baits // trips - trip * baits // trips
            if count:
                rows.append(f"2026-05-{trip + 1:02d},plain,1,{fate.format(count)},pond,{habitat},{leader}")
    return rows
