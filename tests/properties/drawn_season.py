"""A small season drawn from a seed, and the same season written down in other ways."""

import random
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

OUNCE_G = 28.349523125
Row = Mapping[str, object]
Rows = Mapping[str, Sequence[Row]]

BENCH = """
[bench]
name = "Drawn bench"
units = "metric"
season = {{ start = "03-01" }}
[items.alloy]
kind = "metal"
unit = "g"
scale = {{ resolution = "{alloy_step} g" }}
price = 6.00
pack = "{alloy_pack} g"
[items.hook]
kind = "insert"
pack = 50
price = 10.00
mass = "{hook} g"
[items.pearl]
kind = "coat"
unit = "g"
scale = {{ resolution = "{pearl_step} g" }}
price = 9.00
pack = "{pearl_pack} g"
cure = {{ min_temp = "175 degC", max_temp = "210 degC", min_time = "15 min", max_time = "30 min" }}
[molds.ball]
material = "alloy"
metal_mass = "0.6 kg"
price = 42.00
[[molds.ball.cavities]]
name = "large"
mass = "{large} g"
tolerance = "5 %"
insert = "hook"
per_fill = 2
[[molds.ball.cavities]]
name = "small"
mass = "{small} g"
tolerance = "5 %"
per_fill = 2
[builds.bright]
head = {{ mold = "ball", cavity = "large" }}
coat = {{ item = "pearl", mass = "{coat} g" }}
bought_price = 2.5
[builds.dull]
head = {{ mold = "ball", cavity = "small" }}
bought_price = 2.0
"""
MASSES = {
    "alloy_step": 5.0,
    "alloy_pack": 500.0,
    "hook": 0.8,
    "pearl_step": 1.0,
    "pearl_pack": 100.0,
    "large": 7.0,
    "small": 3.5,
    "coat": 0.25,
}
COLUMNS = {
    "pour": "date,mold,cavity,outcome,count,fill,mold_temp,melt_temp,mass,flaw".split(","),
    "inventory": "date,item,move,amount,cost".split(","),
    "finishing": "date,mold,cavity,coat,count,part_temp,cure_temp,cure_time,rejects".split(","),
    "fishing": "date,build,fished,fate,count,cause,bait,water,angler,trip,leader".split(","),
    "catch": "date,species,build,count,length,mass,water,angler,trip".split(","),
}


def bench(factor: float = 1.0, **others: float) -> str:
    """The bench.toml, every mass but that of the mold itself multiplied by `factor`; `others` of `MASSES`."""
    return BENCH.format(**{name: mass * factor for name, mass in (MASSES | others).items()})


def draw(seed: int) -> dict[str, list[dict[str, object]]]:
    """The rows of a season by log, all quantities in canonical units and no two rows equal.

    Temperatures lie off the whole degrees at which tables part them.
    """
    rng = random.Random(seed)
    rows: dict[str, list[dict[str, object]]] = {log: [] for log in COLUMNS}
    alloy, hooks, pearl = 4000.0, 300, 120.0
    start = date(2026, 3, 1)
    _count(rows, start, alloy, hooks, pearl)
    for month in range(3):
        first = start + timedelta(days=30 * month)
        for session in range(2):
            day = first + timedelta(days=3 + 11 * session)
            spent, used = _pour(rng, rows["pour"], day)
            alloy, hooks = alloy - spent, hooks - used
            dipped = rng.randint(4, 12)
            pearl -= 0.25 * dipped
            batch = {"date": day, "mold": "ball", "cavity": "large", "coat": "pearl", "count": dipped}
            batch |= {
                "cure_temp": rng.choice([165.3, 190.3, 200.3]),
                "cure_time": rng.choice([0.2, 0.35]),
                "rejects": rng.randint(0, 2),
            }
            rows["finishing"].append(batch)
        for item, amount, cost in (("alloy", 500.0, 6.0 + month), ("hook", 50.0, 10.0)):
            received = {"date": first + timedelta(days=9), "item": item, "move": "received"}
            rows["inventory"].append(received | {"amount": amount, "cost": cost})
        alloy, hooks = alloy + 500 - (150 if month == 1 else 0), hooks + 50
        thrown = 5.0 * rng.randint(2, 6)
        alloy -= thrown
        dross = {"date": first + timedelta(days=15), "item": "alloy", "move": "discarded", "amount": thrown}
        rows["inventory"].append(dross)
        _count(rows, first + timedelta(days=28), alloy, hooks, pearl)
    _fish(rng, rows, start)
    return rows


def _count(
    rows: dict[str, list[dict[str, object]]], day: date, alloy: float, hooks: int, pearl: float
) -> None:
    for item, amount in (("alloy", 5.0 * round(alloy / 5)), ("hook", hooks), ("pearl", float(round(pearl)))):
        rows["inventory"].append({"date": day, "item": item, "move": "counted", "amount": amount})


def _pour(rng: random.Random, rows: list[dict[str, object]], day: date) -> tuple[float, int]:
    """One session of 12 fills, the first ones cold; what it took of alloy and of hooks."""
    spent, used = 0.0, 0
    for fill in range(1, 13):
        temp = 90.3 + 11 * fill + rng.randint(0, 3)
        for cavity, hook, mass in (("large", 0.8, 7.0), ("small", 0.0, 3.5)):
            bad = sum(rng.random() < (0.7 if temp < 145 else 0.05) for _ in range(2))
            row: dict[str, object] = {"date": day, "mold": "ball", "cavity": cavity, "fill": fill}
            row |= {"mold_temp": temp, "melt_temp": 350.3}
            if bad:
                rows.append(row | {"outcome": "reject", "count": bad, "flaw": "short fill"})
            used += 2 if hook else 0
            if bad < 2:
                good = 2 - bad
                shown = round(10 * good * (mass + hook + rng.uniform(-0.1, 0.1))) / 10
                rows.append(
                    row | {"outcome": "good", "count": good, "mass": shown if rng.random() < 0.3 else None}
                )
                spent += good * mass
    return spent, used


def _fish(rng: random.Random, rows: dict[str, list[dict[str, object]]], start: date) -> None:
    for trip in range(14):
        day = start + timedelta(days=5 + 6 * trip)
        where = {"date": day, "water": rng.choice(["pond", "river"]), "angler": "Ansa", "trip": "1"}
        for build in ("bright", "dull"):
            for leader in ("yes", "no"):
                lost = rng.random() < (0.15 if leader == "yes" else 0.4)
                bait = where | {"build": build, "leader": leader, "fished": rng.choice([0.5, 1.25, 2.0])}
                bait |= {"fate": "lost" if lost else "kept", "count": rng.randint(1, 3)}
                rows["fishing"].append(bait | ({"cause": rng.choice(["snag", "bite off"])} if lost else {}))
            fish = where | {"build": build, "species": "yellow perch", "count": rng.randint(1, 3)}
            rows["catch"].append(fish | {"length": 150.5 + rng.randint(0, 150), "mass": None})
        if trip < 6:
            tagged = where | {"build": "bright", "bait": "B-01", "leader": "no", "fished": 1.5, "count": 1}
            ended = {"fate": "lost", "cause": "snag"} if trip == 5 else {"fate": "kept"}
            rows["fishing"].append(tagged | ended)


@dataclass(frozen=True, kw_only=True)
class Written:
    """How a season is written down: units, the order of rows, and into how many files a log is split."""

    us: bool = False
    shuffle: random.Random | None = None
    files: int = 1
    merged: bool | None = None
    factor: float = 1.0
    cells: Mapping[str, Callable[[float], str]] = field(default_factory=dict)


def write(rows: Rows, how: Written) -> dict[str, str]:
    """The logs as CSV by file name. A day's rows stay in one file: equal rows of two files are repeats."""
    texts: dict[str, str] = {}
    for log, own in rows.items():
        parts: dict[int, list[Row]] = {}
        days = sorted({row["date"] for row in own}, key=str)
        for row in _merged(own, how.merged):
            parts.setdefault(days.index(row["date"]) % how.files, []).append(row)
        for number, part in parts.items():
            if how.shuffle is not None:
                how.shuffle.shuffle(part)
            lines = [
                ",".join(_cell(log, name, row.get(name), row, how) for name in COLUMNS[log]) for row in part
            ]
            texts[f"{log}-{number}.csv"] = "\n".join([",".join(COLUMNS[log]), *lines, ""])
    return texts


def _merged(rows: Sequence[Row], merged: bool | None) -> Iterable[Row]:
    """Rows as drawn, or (`merged` False) each unweighed row with a `count` as so many rows of one."""
    for row in rows:
        count = row.get("count")
        apart = merged is False and isinstance(count, int) and row.get("mass") is None and "coat" not in row
        if apart and isinstance(count, int):
            yield from (dict(row) | {"count": 1} for _ in range(count))
        else:
            yield row


def _cell(log: str, name: str, value: object, row: Row, how: Written) -> str:
    if value is None:
        return ""
    if not isinstance(value, float) or name == "cost":
        return str(value)
    if name.endswith("_temp"):
        return f"{value * 1.8 + 32!r} F" if how.us else f"{value!r} C"
    if name == "length":
        return f"{value / 25.4!r} in" if how.us else f"{value!r} mm"
    if name in {"fished", "cure_time"}:
        return f"{value * 60!r} min" if how.us else f"{value!r} h"
    if name == "amount" and row["item"] == "hook":
        return str(round(value))
    mass = value * how.factor
    return f"{mass / OUNCE_G!r} oz" if how.us else f"{mass!r} g"
