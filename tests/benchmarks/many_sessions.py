"""Write a workspace of many sessions and few groups, all in one season: python many_sessions.py FOLDER.

The same bytes every time. Where the scaled demo repeats ten years of many benches, this is one bench that
pours and fishes without end: 5,000 sessions (60,000 pour rows), 5,000 trips with 80,000 single baits, 8
molds, 12 items and a receipt of an item with every second session. Files lie where the demo has them.
"""

import csv
import sys
from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path
from random import Random

SEED = 20260302
FIRST_DAY, DAYS = date(2026, 3, 1), 245
SESSIONS, FILLS, BAITS_OF_A_TRIP, FISH_OF_A_TRIP = 5_000, 4, 16, 4
METALS, HOOKS, COATS = ("alloy", "tin-bismuth"), ("hook-6", "hook-4", "hook-2"), ("chartreuse", "pearl")
FITTINGS = ("skirt-black", "skirt-olive", "eye-3mm", "rattle", "guard")
ITEMS = (*METALS, *HOOKS, *COATS, *FITTINGS)
MOLDS = {name: METALS[name == "pea-jig"] for name in ("round-jig", "guard-jig", "pea-jig", *"abcde")}
CAVITIES = {"1/16": (1.77, "hook-6"), "1/8": (3.54, "hook-4"), "1/4": (7.09, "hook-2")}
BUILDS = tuple(f"build-{number}" for number in range(1, 9))
HEADERS = {
    "pour": "date,session,mold,cavity,outcome,count,fill,mold_temp,melt_temp,mass,flaw,material",
    "baits": "date,trip,water,angler,build,bait,fished,fate,cause,count,habitat,leader",
    "fish": "date,trip,water,angler,species,count,length,build,bait,habitat",
    "stock": "date,item,move,amount,cost",
    "coating": "date,mold,cavity,coat,count,part_temp,cure_temp,cure_time,rejects,flaw",
}
FILES = {
    "pour": "pours/pour-2026.csv",
    "baits": "water/baits.csv",
    "fish": "water/fish.csv",
    "stock": "bench/stock 2026.csv",
    "coating": "bench/coating.csv",
}
Row = tuple[object, ...]


def write_workspace(folder: Path, sessions: int = SESSIONS) -> dict[str, int]:
    """Write bench.toml and the five logs of so many sessions and trips; the rows written of each."""
    for name in ("pours", "bench", "water"):
        (folder / name).mkdir(parents=True, exist_ok=True)
    (folder / "bench.toml").write_text(_bench(), encoding="utf-8")
    rows_of = {"pour": _pours, "baits": _baits, "fish": _fish, "stock": _stock, "coating": _coating}
    written = {}
    for log, rows in rows_of.items():
        with (folder / FILES[log]).open("w", encoding="utf-8", newline="") as stream:
            writer = csv.writer(stream, lineterminator="\n")
            writer.writerow(HEADERS[log].split(","))
            told = [
                (day, *row)
                for number in range(sessions)
                for day in [FIRST_DAY + timedelta(days=number * DAYS // sessions)]
                for row in rows(number, Random(f"{SEED} {log} {number}"))
            ]
            writer.writerows(told)
        written[log] = len(told)
    return written


def _bench() -> str:
    lines = [
        "[bench]",
        'name = "Alder Flat bench"',
        'currency = "USD"',
        'season = { start = "03-01" }',
        "[plan]",
    ]
    lines += ["target_reject_rate = 0.10"]
    lines += ["[defaults]", 'mold_temp = "degF"', 'melt_temp = "degF"', 'part_temp = "degF"']
    lines += ['cure_temp = "degF"', 'cure_time = "min"', 'mass = "g"', 'fished = "h"', 'length = "in"']
    for item in METALS:
        lines += [f"[items.{item}]", 'kind = "metal"', 'unit = "g"', "price = 5.20", 'pack = "1 lb"']
        lines += ['melts = "247 degC"', 'scale = { resolution = "5 g" }']
    for item in HOOKS:
        lines += [f'[items."{item}"]', 'kind = "insert"', "pack = 50", "price = 8.50", 'mass = "0.2 g"']
    for item in COATS:
        lines += [f"[items.{item}]", 'kind = "coat"', 'unit = "g"', "price = 9.75", 'pack = "4 oz"']
        lines += ['cure = { min_temp = "350 degF", max_temp = "410 degF", min_time = "15 min" }']
    for item in FITTINGS:
        lines += [f"[items.{item}]", 'kind = "fitting"', "pack = 25", "price = 6.40"]
    for mold, material in MOLDS.items():
        lines += [f"[molds.{mold}]", f'material = "{material}"', 'metal_mass = "0.5 lb"', "price = 42"]
        for cavity, (mass, hook) in CAVITIES.items():
            lines += [f"[[molds.{mold}.cavities]]", f'name = "{cavity}"', f'mass = "{mass} g"']
            lines += ['tolerance = "5 %"', f'insert = "{hook}"', "per_fill = 1"]
    for place, (build, mold) in enumerate(zip(BUILDS, MOLDS, strict=True)):
        lines += [f"[builds.{build}]", f'head = {{ mold = "{mold}", cavity = "1/8" }}']
        lines += [f'coat = {{ item = "{COATS[place % 2]}", mass = "0.15 g" }}']
        lines += [f"fittings = {{ {FITTINGS[place % 5]} = 1 }}", "bought_price = 2.49", "planned_hours = 10"]
    return "\n".join(lines) + "\n"


def _pours(session: int, dice: Random) -> Iterator[Row]:
    mold = dice.choice([*MOLDS])
    heat = dice.uniform(180, 260)
    for fill in range(1, FILLS + 1):
        heat += dice.uniform(5, 45)
        for cavity, (mass, _) in CAVITIES.items():
            bad = dice.random() < (0.25 if heat < 270 else 0.05)
            flaw = ("short fill" if heat < 270 else "flash") if bad else ""
            weighed = round(mass * dice.uniform(0.97, 1.03), 2) if not bad and fill == FILLS else ""
            outcome = "reject" if bad else "good"
            yield (f"s{session}", mold, cavity, outcome, 1, fill, f"{heat:.0f}", 740, weighed, flaw, "")


def _trip(trip: int) -> tuple[str, str, str, str]:
    """Trip, water, angler and habitat."""
    dice = Random(f"{SEED} trip {trip}")
    water = dice.choice(("Alder Flat pond", "Mill reach", "Stony bend"))
    return f"t{trip}", water, dice.choice(("Orrin", "Wren")), dice.choice(("weeds", "gravel", "timber; deep"))


def _baits(trip: int, dice: Random) -> Iterator[Row]:
    name, water, angler, habitat = _trip(trip)
    for bait in range(BAITS_OF_A_TRIP):
        leader = dice.choice(("yes", "no"))
        cause = dice.choices(
            ("", "snag", "bite off", "torn"), weights=(80, 12, 2 if leader == "yes" else 8, 4)
        )[0]
        fate = {"": "kept", "torn": "worn"}.get(cause, "lost")
        tag, hours = f"B{trip}-{bait}", f"{dice.randrange(1, 16) / 4:g}"
        yield name, water, angler, dice.choice(BUILDS), tag, hours, fate, cause, 1, habitat, leader


def _fish(trip: int, dice: Random) -> Iterator[Row]:
    name, water, angler, habitat = _trip(trip)
    for _ in range(dice.randrange(2 * FISH_OF_A_TRIP)):
        species, length = dice.choice(("yellow perch", "black crappie", "white bass")), dice.gauss(10, 2)
        yield name, water, angler, species, 1, f"{max(length, 4):.2f}", dice.choice(BUILDS), "", habitat


def _stock(session: int, dice: Random) -> Iterator[Row]:
    if session % 500 == 0:
        for item in ITEMS:
            yield item, "counted", "900 g" if item in (*METALS, *COATS) else 900, ""
    elif session % 2:
        item = dice.choice(ITEMS)
        amount = f"{dice.randrange(50, 500)} g" if item in (*METALS, *COATS) else 25 * dice.randrange(1, 9)
        yield item, "received", amount, f"{dice.uniform(4, 40):.2f}"


def _coating(session: int, dice: Random) -> Iterator[Row]:
    if session % 4 == 0:
        rejects = dice.choice((0, 0, 0, 1))
        batch = dice.choice([*MOLDS]), dice.choice([*CAVITIES]), dice.choice(COATS), dice.randrange(4, 20)
        yield *batch, "320 F", f"{dice.randrange(345, 400)} F", "20 min", rejects, "thin" if rejects else ""


if __name__ == "__main__":
    print(write_workspace(Path(sys.argv[1])))
