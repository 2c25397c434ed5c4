"""Fuzz the reader: seeded changes of the demo's logs and bench.toml, each read as the program would.

    .venv/bin/python tests/tasks.py fuzz                   an hour
    .venv/bin/python tests/fuzz.py --minutes 5 --seed 40    other cases

Whatever a folder holds, reading ends: either with a BenchError, or with every row used, repeated or set
aside. `fuzz` prints the seed of each case that ends otherwise; `tests/test_fuzz.py` runs the first cases.
"""

import argparse
import random
import sys
import time
import traceback
from pathlib import Path
from tempfile import TemporaryDirectory

ROOT = Path(__file__).parents[1]
DEMO = ROOT / "sample_logs"
LOGS = sorted(path.relative_to(DEMO) for path in DEMO.rglob("*.?sv"))
CELLS = (
    "", " ", "0", "-1", "²", "½", "1e400", "nan", "inf", "9" * 400, "1/0", "0/0", "12:99", "2026-02-30",
    "9999-12-31", "0001-01-01", "2026-05-02T25:00", "=1+1", "\x00", "\u2028", "\x1b[2J", '"', '""', "'", ";",
    "\t", "a\nb", "\r", "🎣", "İ", "ß", "x" * 5000, "350 F F", "-0", "1,234,5", "1 1/2 1/2 lb", "half",
    "true", "NaN", "None", "{}", "\ufeff",
)  # fmt: skip
TOML = (
    "[",
    "]",
    "[[",
    "{",
    "}",
    "=",
    '"',
    "'''",
    "#",
    "\x00",
    "9" * 400,
    "inf",
    "nan",
    "-1",
    "0",
    "1e999",
    "[" * 2000,
)
ENCODINGS = ("utf-8", "utf-8-sig", "utf-16", "cp1252", "utf-32", "latin-1")
MOST_LINES = 60


def changed(text: str, pieces: tuple[str, ...], draw: random.Random) -> str:
    """The text after a few random edits."""
    lines = text.splitlines(keepends=True)
    for _ in range(draw.randint(1, 8)):
        at = draw.randrange(len(lines))
        line = lines[at]
        where = draw.randrange(len(line) + 1)
        kind = draw.randrange(6)
        if kind == 0:
            lines[at] = line[:where] + draw.choice(pieces) + line[where:]
        elif kind == 1:
            lines[at] = line[:where] + line[where + draw.randint(1, 5) :]
        elif kind == 2:
            lines.insert(draw.randrange(len(lines)), line)
        elif kind == 3:
            lines[at], lines[0] = lines[0], line
        else:
            cells = line.rstrip("\n").split(",")
            cells[draw.randrange(len(cells))] = draw.choice(pieces)
            lines[at] = ",".join(cells) + "\n"
    return "".join(lines)


def write_case(folder: Path, seed: int) -> None:
    """Write the folder of one case."""
    draw = random.Random(seed)
    bench = (DEMO / "bench.toml").read_text(encoding="utf-8")
    if draw.random() < 0.4:
        bench = changed(bench, TOML, draw)
    (folder / "bench.toml").write_bytes(bench.encode("utf-8", "surrogateescape"))
    for name in draw.sample(LOGS, min(3, len(LOGS))):
        lines = (DEMO / name).read_bytes().decode("utf-8-sig", "replace").splitlines(keepends=True)
        text = changed("".join(lines[:MOST_LINES]), CELLS, draw)
        (folder / name.name).write_bytes(text.encode(draw.choice(ENCODINGS), "replace"))


def read_case(folder: Path) -> None:
    """Read it. AssertionError if a row is not accounted for; whatever else is raised is a fault too."""
    from benchwater.pipeline import read_workspace
    from benchwater.read.bench_file import BenchError

    try:
        reading = read_workspace(folder, workspace_plugins=False).reading
    except BenchError:
        return
    for source in reading.sources:
        assert source.rows == source.used + source.repeated + source.set_aside, source
    held = sum(len(table) for table in reading.tables.values())
    assert held == sum(source.used for source in reading.sources)


def main() -> int:
    """Run cases until the time is over; return 1 if one ended in a fault."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--minutes", type=float, default=1.0)
    parser.add_argument("--seed", type=int, default=1)
    wanted = parser.parse_args()
    seed, faults, end = wanted.seed, 0, time.monotonic() + wanted.minutes * 60
    while time.monotonic() < end:
        with TemporaryDirectory() as folder:
            write_case(Path(folder), seed)
            try:
                read_case(Path(folder))
            except Exception:
                faults += 1
                print(f"seed {seed}:\n{traceback.format_exc()}", flush=True)
        seed += 1
    print(f"{seed - wanted.seed} cases, {faults} faults")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
