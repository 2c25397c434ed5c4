"""Write a workspace of many molds and builds, each used a little: python many_molds.py FOLDER MOLDS.

The same bytes every time. Every mold is poured in one session, coated, fished once and caught with.
"""

import csv
import sys
from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path
from random import Random

SEED, FIRST_DAY, DAYS = 20260301, date(2026, 3, 1), 120
BENCH = """[bench]
name = "Alder Flat bench"
season = { start = "03-01" }
[defaults]
mold_temp = "degF"
[items.alloy]
kind = "metal"
pack = "1 lb"
price = 5.20
melts = "247 degC"
[items.hook]
kind = "insert"
pack = 50
price = 8.50
[items.coat]
kind = "coat"
pack = "4 oz"
price = 9.75
cure = { min_temp = "350 degF", max_temp = "410 degF", min_time = "15 min" }
[items.skirt]
kind = "fitting"
pack = 25
price = 6.40
"""
MOLD = """[molds.m{0}]
material = "alloy"
price = 42
[[molds.m{0}.cavities]]
name = "1/8"
mass = "3.54 g"
insert = "hook"
"""
BUILD = """[builds.b{0}]
head = {{ mold = "m{0}", cavity = "1/8" }}
coat = {{ item = "coat", mass = "0.15 g" }}
fittings = {{ skirt = 1 }}
bought_price = 2.49
planned_hours = 4
"""
FATES = (("kept", "", 1), ("lost", "snag", 1), ("lost", "bite off", 2))
HEADERS = {
    "pour": "date,session,mold,cavity,outcome,count,fill,mold_temp,flaw",
    "baits": "date,trip,water,build,fished,fate,cause,count,habitat",
    "fish": "date,trip,water,species,count,length,build",
    "coating": "date,mold,cavity,coat,count,cure_temp,cure_time,rejects",
    "stock": "date,item,move,amount,cost",
}
Row = tuple[object, ...]


def write_workspace(folder: Path, molds: int) -> None:
    """Write bench.toml and the five logs."""
    folder.mkdir(parents=True, exist_ok=True)
    named = [text.format(number) for text in (MOLD, BUILD) for number in range(molds)]
    (folder / "bench.toml").write_text(BENCH + "".join(named), encoding="utf-8")
    dice = Random(SEED)
    rows: dict[str, list[Row]] = {log: [] for log in HEADERS}
    for number in range(molds):
        day = FIRST_DAY + timedelta(days=number * DAYS // molds)
        for log, row in _used(number, dice):
            rows[log].append((day, *row))
    for item, amount in (("alloy", "90 kg"), ("hook", 50_000), ("skirt", 5_000), ("coat", "9 kg")):
        rows["stock"].append((FIRST_DAY, item, "received", amount, 400))
    for log, header in HEADERS.items():
        with (folder / f"{log}.csv").open("w", encoding="utf-8", newline="") as stream:
            csv.writer(stream, lineterminator="\n").writerows([header.split(","), *rows[log]])


def _used(number: int, dice: Random) -> Iterator[tuple[str, Row]]:
    mold, build, session, trip = f"m{number}", f"b{number}", f"s{number // 5}", f"t{number // 10}"
    heat = dice.randrange(200, 400)
    yield "pour", (session, mold, "1/8", "good", dice.randrange(1, 9), 1, heat, "")
    yield "pour", (session, mold, "1/8", "reject", dice.randrange(1, 4), 1, heat, "short fill")
    yield "coating", (mold, "1/8", "coat", 2, "360 F", "20 min", 0)
    yield "baits", (trip, "pond", build, "1.5 h", *dice.choice(FATES), "weeds")
    yield "fish", (trip, "pond", "yellow perch", 1, f"{dice.gauss(10, 1):.1f} in", build)


if __name__ == "__main__":
    write_workspace(Path(sys.argv[1]), int(sys.argv[2]))
