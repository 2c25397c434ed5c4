"""Benches that sheets must survive: of forty molds with long names, and one on which nothing stands."""

from functools import cache
from pathlib import Path

from benchwater.plugin import Bench, LogKind
from benchwater.read.bench_file import load_bench, parse_bench
from small_bench import shipped_kinds

DEMO = Path(__file__).parents[2] / "sample_logs"
EMPTY = '[bench]\nname = "Nothing <b>yet</b> & Co."\nunits = "metric"\npaper = "a4"\n'
LONG = "with a name as long as the shelf it lies on"


def crowded_text(molds: int = 40) -> str:
    parts = ['[bench]\nname = "Crowded bench"\nunits = "metric"\npaper = "a4"\ncurrency = "EUR"\n']
    parts.append('[items.alloy]\nkind = "metal"\n')
    parts += [f'[items."powder {number:02}"]\nkind = "coat"\n' for number in range(30)]
    for number in range(molds):
        name = f"mold {number:02} {LONG if number % 4 == 0 else ''}".strip()
        parts.append(f'[molds."{name}"]\nmaterial = "alloy"\n')
        parts += [
            f'[[molds."{name}".cavities]]\nname = "{cavity}"\nmass = "{cavity} oz"\n'
            for cavity in ("1/16", "1/8", "3/8")[: 1 + number % 3]
        ]
    parts += [f'[builds."build {number:02} {LONG}"]\nbought_price = 1.0\n' for number in range(40)]
    return "\n".join(parts)


@cache
def crowded(molds: int = 40) -> Bench:
    return parse_bench(crowded_text(molds)).bench


@cache
def empty() -> Bench:
    return parse_bench(EMPTY).bench


@cache
def demo() -> Bench:
    return load_bench(DEMO).bench


def kind(name: str) -> LogKind:
    return next(each for each in shipped_kinds() if each.name == name)
