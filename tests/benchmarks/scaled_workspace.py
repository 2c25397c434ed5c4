"""Write workspaces of 1, 10, 100 or 1,000 times the demo's rows: python scaled_workspace.py FOLDER SCALE.

The same bytes every time. The demo's season is told again and again: ten years of it at most (or one season,
its files where the demo has them), and within a year by as many benches as it takes, each with its own
sessions, trips, tags and readings. Numbers vary, so that texts are about as various as people's.
At 1,000 there are a million pour rows and 300,000 rows of each fishing log. Spoilt rows are as frequent as in
the demo.
"""

import csv
import re
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from datetime import date, timedelta
from pathlib import Path
from random import Random

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from demo_season import standing
from demo_season.dialects import LogFile
from demo_season.write_demo_season import tell

SEED = 20260301
FIRST_YEAR = 2017
YEARS = 10
ROWS_OF_ONE = {"pour": 1_000, "baits": 300, "fish": 300, "stock": 300, "coating": 36}
TAGGED = {"pour": "session", "baits": "trip", "fish": "trip"}
HEADINGS = {"length": "length [in]", "mass": "mass [oz]"}

PLACES = {
    "pour": "pours/pour.csv",
    "baits": "water/baits.csv",
    "fish": "water/fish.csv",
    "stock": "bench/stock 2026.csv",
    "coating": "bench/coating.csv",
}

Cells = dict[str, str]


def write_workspace(folder: Path, scale: int, logs: Sequence[str] = tuple(ROWS_OF_ONE)) -> dict[str, int]:
    """Write bench.toml and the logs named, one file a year each; the rows written of each."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "bench.toml").write_text(standing.BENCH_TOML, encoding="utf-8")
    told = _told()
    written = {}
    for log in logs:
        rows = scale * ROWS_OF_ONE[log]
        years = min(YEARS, scale)
        for number in range(years):
            count = rows * (number + 1) // years - rows * number // years
            _write(folder / f"{log}-{FIRST_YEAR + number}.csv", log, told[log], FIRST_YEAR + number, count)
        written[log] = rows
    return written


def write_one_season(folder: Path, scale: int) -> None:
    """Write bench.toml and every log as one file, all in the demo's season."""
    told = _told()
    for log, place in PLACES.items():
        (folder / place).parent.mkdir(parents=True, exist_ok=True)
        _write(folder / place, log, told[log], FIRST_YEAR + YEARS - 1, scale * ROWS_OF_ONE[log])
    (folder / "bench.toml").write_text(standing.BENCH_TOML, encoding="utf-8")


def _told() -> dict[str, list[Cells]]:
    """The rows of the demo's own season by log, in order of date, each with the units it was written in."""
    files, _ = tell()
    names = {"pours": "pour", "stock 2026": "stock", "coating": "coating", "baits": "baits", "fish": "fish"}
    rows: dict[str, list[Cells]] = {name: [] for name in ROWS_OF_ONE}
    for file in files:
        if file.path.startswith("earlier/"):
            continue
        folder, _, name = file.path.removesuffix(Path(file.path).suffix).rpartition("/")
        rows[names[folder if folder == "pours" else name]] += [dict(cells) for cells in _cells(file)]
    return rows


def _cells(file: LogFile) -> Iterator[Mapping[str, str]]:
    for row in file.rows:
        in_celsius = file.path.endswith("august.csv") and row.cells.get("mold_temp", "")[:1].isdigit()
        yield row.cells | ({"mold_temp": f"{row.cells['mold_temp']} C"} if in_celsius else {})


def _write(path: Path, log: str, told: Sequence[Cells], year: int, count: int) -> None:
    dice = Random(f"{SEED} {path.name}")
    names = list(dict.fromkeys(name for row in told for name in row))
    benches = -(-count // len(told))
    rows = (
        row for cells in _shares(told, count, benches) for row in _retold(log, cells, year, benches, dice)
    )
    with path.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.writer(stream, lineterminator="\n")
        writer.writerow([HEADINGS.get(name, name) if log == "fish" else name for name in names])
        writer.writerows([row.get(name, "") for name in names] for row in rows)


def _shares(told: Sequence[Cells], count: int, benches: int) -> Iterator[tuple[Cells, int]]:
    """Each row of the demo with how many benches tell of it, so that all together are `count` rows."""
    missing = benches * len(told) - count
    for index, cells in enumerate(told):
        fewer = missing * (index + 1) // len(told) - missing * index // len(told)
        yield cells, benches - fewer


def _retold(log: str, told: tuple[Cells, int], year: int, benches: int, dice: Random) -> Iterable[Cells]:
    cells, tellers = told
    for bench in range(tellers):
        row = {name: _varied(name, text, dice) for name, text in cells.items()}
        row["date"] = _moved(cells["date"], year, bench)
        if log in TAGGED and benches > 1:
            row[TAGGED[log]] = f"{cells.get(TAGGED[log], '')} bench {bench}".strip()
        if row.get("bait"):
            row["bait"] = f"{row['bait']}-{year % 100}-{bench}"
        if log == "stock" and row["move"] == "counted":
            row["amount"] = re.sub(
                r"^\d+(\.\d+)?", lambda held: f"{float(held[0]) * benches:g}", row["amount"]
            )
        yield row


def _varied(name: str, text: str, dice: Random) -> str:
    vary = _VARIATIONS.get(name)
    number = re.match(r"\d+(?:\.\d+)?(?= |$)", text) if vary is not None else None
    if vary is None or number is None:
        return text
    return f"{vary(float(number[0]), dice):g}{text[number.end() :]}"


_VARIATIONS: Mapping[str, Callable[[float, Random], float]] = {
    "mold_temp": lambda value, dice: value + dice.choice((-2, -1, -0.5, 0, 0, 0.5, 1, 2)),
    "melt_temp": lambda value, dice: value + 5 * dice.randrange(-2, 3),
    "mass": lambda value, dice: round(value * dice.uniform(0.97, 1.03), 1),
    "length": lambda value, dice: value + dice.randrange(-4, 5) / 4,
    "casts": lambda value, dice: value + dice.randrange(0, 20),
    "cure_temp": lambda value, dice: value + 5 * dice.randrange(-1, 2),
}


def _moved(text: str, year: int, bench: int) -> str:
    """The same day of another year; every bench has its own habit of being a day or two early or late."""
    try:
        day = date.fromisoformat(text[:10])
    except ValueError:
        return text
    moved = day.replace(year=year) + timedelta(days=bench * 7 % 5 - 2)
    if moved.month != day.month:
        moved = day.replace(year=year)
    return moved.isoformat() + text[10:]


if __name__ == "__main__":
    print(write_workspace(Path(sys.argv[1]), int(sys.argv[2])))
