"""A rate of their own for each angler, from five trips each on."""

from pathlib import Path

from benchwater.plugin import Analysis
from benchwater.testing import make_season, plugin_file, records

ROOT = Path(__file__).parents[4]
ANALYSIS: Analysis = next(iter(plugin_file(ROOT / "plugins/analyses/catch_rate").analyses()))
BENCH = """
[bench]
[items.alloy]
kind = "metal"
[molds.ball]
material = "alloy"
[[molds.ball.cavities]]
name = "1/8"
mass = "1/8 oz"
[builds.plain]
head = { mold = "ball", cavity = "1/8" }
"""


def test_anglers_have_a_rate_from_five_trips_each_on_and_are_never_compared() -> None:
    def anglers(trips: int, table: str) -> list[dict[str, object]]:
        days = [f"2026-05-{day:02d}" for day in range(1, 7)]
        baits = "date,build,fished,fate,angler\n"
        baits += "".join(f"{day},plain,2 h,kept,Ann\n" for day in days)
        baits += "".join(f"{day},plain,1 h,kept,ben\n" for day in days[:trips])
        fish = f"date,species,build,angler\n{days[0]},perch,plain,ann\n{days[1]},perch,plain,Ben\n"
        made = make_season(BENCH, {"baits.csv": baits, "fish.csv": fish})
        rows = records(ANALYSIS.analyse(made.season, made.whole), table)
        return [row for row in rows if row["factor"] == "angler"]

    rates = {row["group"]: (row["effort_h"], row["fish"]) for row in anglers(5, "cpue")}
    assert rates == {"Ann": (12, 1), "ben": (5, 1)}
    assert anglers(4, "cpue") == []
    assert anglers(5, "contrasts") == []
