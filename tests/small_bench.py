"""A small bench and the shipped log kinds."""

from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

from benchwater.plugin import Bench, LogKind
from benchwater.plugin_host.load import load_plugins
from benchwater.read.bench_file import parse_bench
from benchwater.read.folder import read_folder
from benchwater.read.outcome import Reading

SMALL_BENCH = """\
[bench]
name = "Small bench"
currency = "USD"
units = "us"
paper = "letter"
season = { start = "03-01" }

[defaults]
mold_temp = "degF"
mass = "g"

[items.alloy]
kind = "metal"
unit = "lb"
scale = { resolution = "5 g" }
pack = "5 lb"
price = 24.0

[items.hook-2]
kind = "insert"
pack = 50
price = 11.0

[items.black]
kind = "coat"

[molds.round-jig]
material = "alloy"
[[molds.round-jig.cavities]]
name = "1/8"
mass = "1/8 oz"
insert = "hook-2"
per_fill = 2

[builds.perch-grub]
head = { mold = "round-jig", cavity = "1/8" }
coat = { item = "black", mass = "0.15 g" }
"""


@cache
def shipped_kinds() -> tuple[LogKind, ...]:
    return load_plugins(None).log_kinds


@cache
def small_bench() -> Bench:
    return parse_bench(SMALL_BENCH).bench


def write_files(folder: Path, files: Mapping[str, str | bytes]) -> Path:
    """Write files below a folder, and return it."""
    for name, content in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content if isinstance(content, bytes) else content.encode("utf-8"))
    return folder


def read_files(
    folder: Path, files: Mapping[str, str | bytes], *, bench: Bench | None = None, **options: Any
) -> Reading:
    """Write files below a folder and read it, with the small bench if none is given."""
    return read_folder(write_files(folder, files), shipped_kinds(), bench or small_bench(), **options)
