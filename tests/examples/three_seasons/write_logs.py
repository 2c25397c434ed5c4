"""Write the logs of this example from a fixed seed: three seasons, a tally of sessions and trips a month."""

import csv
from pathlib import Path

import numpy as np

Row = tuple[object, ...]
LOGS = Path(__file__).parent / "logs"
# Share of bad castings, and losses by cause an hour, of each season: the third has leaders.
SEASONS = {2024: (0.30, 0.20, 0.15), 2025: (0.25, 0.28, 0.20), 2026: (0.10, 0.05, 0.15)}
COUNTED = (("alloy", "3000 g"), ("hook-4", "400"), ("chartreuse", "120 g"), ("pearl", "120 g"))
BUILDS = {"perch-grub": 0.9, "pond-guard": 0.5}
WATERS = ("Alder Flat pond", "Mill reach")


def main() -> None:
    """Write one file a log."""
    rng = np.random.default_rng(19)
    pour: list[Row] = []
    fishing: list[Row] = []
    catch: list[Row] = []
    coat: list[Row] = []
    stock: list[Row] = []
    for year, (bad, bitten, snagged) in SEASONS.items():
        stock += [(f"{year}-03-01", item, "counted", amount) for item, amount in COUNTED]
        for month in range(3, 11):
            for mold, day in (("round-jig", 3), ("guard-jig", 5)):
                made = 12 if mold == "round-jig" else 8
                rejects = int(rng.binomial(made, bad))
                rows = (("good", made - rejects, ""), ("reject", rejects, "short fill"))
                when = f"{year}-{month:02d}-{day:02d}"
                pour += [(when, mold, "1/8", *row) for row in rows if row[1]]
                finish = "chartreuse" if mold == "round-jig" else "pearl"
                coated = min(8, made - rejects)
                coat.append((f"{year}-{month:02d}-{day + 1:02d}", mold, "1/8", finish, coated, 0))
            for trip in range(3):
                when, water = f"{year}-{month:02d}-{8 + 7 * trip:02d}", WATERS[trip % 2]
                leader = "wire" if year == 2026 else "no"
                for build, rate in BUILDS.items():
                    hours = float(rng.integers(4, 11)) / 2
                    for cause, by_hour in (("bite off", bitten), ("snag", snagged)):
                        if lost := int(rng.poisson(by_hour * hours)):
                            fishing.append((when, build, "30 min", "lost", lost, cause, water, leader))
                    fishing.append((when, build, f"{hours:g} h", "kept", 1, "", water, leader))
                    if fish := int(rng.poisson(rate * hours)):
                        catch.append((when, "perch", build, fish, water))
    _write("pour", "date mold cavity outcome count flaw", pour)
    _write("coating", "date mold cavity coat count rejects", coat)
    _write("fishing", "date build fished fate count cause water leader", fishing)
    _write("catch", "date species build count water", catch)
    _write("stock", "date item move amount", stock)


def _write(log: str, columns: str, rows: list[Row]) -> None:
    with (LOGS / f"{log}.csv").open("w", newline="", encoding="utf-8") as file:
        csv.writer(file, lineterminator="\n").writerows([columns.split(), *rows])


if __name__ == "__main__":
    main()
