"""Speed as ratios, in one run on one machine: python tests/benchmarks/run_benchmarks.py [--help].

Whole processes, the compared ones in turn; medians. Prints a table and writes JSON. The targets stand
beside the ratios and are judged by whoever reads them: nothing here fails for being slow.
"""

import argparse
import json
import os
import shutil
import statistics
import sys
import tempfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass
from functools import cache
from itertools import pairwise
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent))

from benchmarks import many_sessions  # noqa: E402
from benchmarks.processes import Measured, measure, run_once  # noqa: E402
from benchmarks.scaled_workspace import write_one_season, write_workspace  # noqa: E402

ROOT = HERE.parents[1]
DEMO = ROOT / "sample_logs"
SCALES = (1, 10, 100, 1_000)
CORE = ("material_balance", "defect_rate", "bait_mortality")
WITH_FINDINGS = (0, 1)
KEPT = Path(tempfile.gettempdir()) / "benchwater-benchmarks"


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One line of the table: what against what, the ratio found and the most it should be."""

    what: str
    reference: str
    ratio: float
    at_most: float | None
    seconds: float = 0.0
    reference_seconds: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """How to run: a folder to work in, how often, up to which scale, and which program."""

    folder: Path
    repeats: int
    scale: int
    python: Path = Path(sys.executable)

    def program(self, *words: str | Path) -> list[str | Path]:
        """A command of benchwater."""
        return [self.python, "-m", "benchwater", *words]

    def reference(self, name: str, *words: str | Path) -> list[str | Path]:
        """A script that stands for doing it without benchwater."""
        return [self.python, HERE / "references" / f"{name}.py", *words]

    def workspace(self, scale: int) -> Path:
        """A season of so many times the demo's rows."""
        return _written(self.folder / f"season-x{scale}", scale)

    def demo(self) -> Path:
        """A copy of the demo."""
        place = self.folder / "demo"
        if not place.exists():
            shutil.copytree(DEMO, place)
        return place


@cache
def _written(place: Path, scale: int) -> Path:
    write_workspace(place, scale)
    return place


def idle(bench: Bench) -> list[Row]:
    """`--help`, and `due` with nothing to do."""
    demo = bench.demo()
    due = bench.program("due", demo, "--today", "2026-05-15")
    run_once(due, statuses=WITH_FINDINGS)
    nothing: list[str | Path] = [bench.python, "-c", "pass"]
    found = measure({"pass": nothing, "help": bench.program("--help"), "due": due}, bench.repeats)
    return [
        _time("`--help`", "`python -c pass`", found["help"], found["pass"], 6),
        _time("`due`, nothing to do, demo", "`python -c pass`", found["due"], found["pass"], 8),
    ]


def month(bench: Bench) -> list[Row]:
    """The demo's report of a month: against its libraries, and less of it against all of it."""
    demo, out = bench.demo(), bench.folder / "reports"
    report = bench.program("report", demo, "--month", "2026-05", "--out", out)
    run_once(report, statuses=WITH_FINDINGS)
    page = shutil.copy(out / "2026-05" / "season-report.html", bench.folder / "page.html")
    plain = bench.reference("print_html", page, bench.folder / "page.pdf")
    only = [*report, "--only", "bait_mortality"]
    found = measure({"plain": plain, "report": report, "only": only}, bench.repeats, statuses=WITH_FINDINGS)
    libraries = "its libraries imported, its HTML printed"
    return [
        _time("demo month: `report`", libraries, found["report"], found["plain"], 1.4),
        _time("... `--only bait_mortality`", "the full `report`", found["only"], found["report"], 0.6),
    ]


def core(bench: Bench) -> list[Row]:
    """The three core sections against a plain script, at x1 and x100; nothing where there is no Chromium."""
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    if chromium is None:
        return []
    large = bench.folder / "one-season-x100"
    write_one_season(large, 100)
    told, rows = "plain script, statsmodels, Chromium", []
    for name, folder, at_most in (("demo month", bench.demo(), 0.45), ("... x100", large, 1.0)):
        report = bench.program("report", folder, "--month", "2026-05", "--out", bench.folder / "core")
        for section in CORE:
            report += ["--only", section]
        script: list[str | Path] = [bench.python, HERE / "references" / "plain"]
        plain = [*script, folder, "2026-05", bench.folder / "plain.pdf", chromium]
        commands = {"plain": plain, "report": report}
        found = measure(commands, bench.repeats, statuses=WITH_FINDINGS, memory=True)
        ours, theirs = found["report"], found["plain"]
        rows += [
            _time(f"{name}, three core sections", told, ours, theirs, at_most),
            _memory("... memory of all processes", "the same", ours, theirs.peak, 0.5),
        ]
    return rows


def reading(bench: Bench) -> list[Row]:
    """Pour rows, a thousand times the scale, and every log, against pandas reading the same as text."""
    pours = bench.folder / f"pours-x{bench.scale}"
    write_workspace(pours, bench.scale, ["pour"])
    rows = []
    for what, place in ((f"`check`, {bench.scale:,} thousand pour rows", pours), ("`check`, all logs", None)):
        folder = place or bench.workspace(bench.scale)
        commands = {"text": bench.reference("read_as_text", folder), "check": bench.program("check", folder)}
        found = measure(commands, bench.repeats, statuses=WITH_FINDINGS)
        at_most = 2.5 if place else None
        rows.append(_time(what, "`pandas.read_csv` as text", found["check"], found["text"], at_most))
    return rows


def season(bench: Bench) -> list[Row]:
    """The season report of the largest workspace: time beside reading it, memory beside its tables."""
    folder, out = bench.workspace(bench.scale), bench.folder / "seasons"

    def report(place: Path, name: str) -> list[str | Path]:
        return bench.program("report", place, "--season", "--out", out / name)

    commands = {
        "check": bench.program("check", folder),
        "demo": report(bench.demo(), "demo"),
        "season": report(folder, "large"),
    }
    found = measure(commands, bench.repeats, statuses=WITH_FINDINGS)
    watched = measure({"season": commands["season"]}, bench.repeats, statuses=WITH_FINDINGS, memory=True)
    by_pandas, by_object = (
        int(number) / 2**20 for number in run_once(bench.reference("table_bytes", folder)).out.split()
    )
    what = f"season report, x{bench.scale:,}, less the demo's"
    return [
        _beyond(what, found["season"], found["demo"], found["check"], 1.5),
        _memory(
            "... memory", "the canonical tables, as pandas counts them", watched["season"], by_pandas, 2.5
        ),
        _memory("... memory", "the canonical tables, each text once", watched["season"], by_object, None),
    ]


def growth(bench: Bench) -> list[Row]:
    """Each stage at ten times the rows, beside the stage before; the largest step of each stage."""
    scales = [scale for scale in SCALES if scale <= bench.scale]
    taken = {}
    for scale in scales:
        pdf = bench.folder / f"growth-x{scale}.pdf"
        command: list[str | Path] = [bench.python, HERE / "stages.py", bench.workspace(scale), pdf]
        runs = [json.loads(run_once(command).out) for _ in range(max(1, bench.repeats))]
        taken[scale] = {stage: statistics.median(run[stage] for run in runs) for stage in runs[0]}
    rows = []
    for stage, first in taken[scales[0]].items():
        steps = {
            f"x{more:,}": (taken[more][stage], taken[fewer][stage]) for fewer, more in pairwise(scales)
        } or {"": (first, first)}
        where = max(steps, key=lambda step: steps[step][0] / steps[step][1])
        more, fewer = steps[where]
        rows.append(
            Row(
                what=f"stage {stage}, {where}",
                reference="a tenth of the rows",
                ratio=more / fewer,
                at_most=10,
                seconds=more,
                reference_seconds=fewer,
            )
        )
    return rows


def files(bench: Bench) -> list[Row]:
    """`check` of small files, a hundred times the scale, as phones make them, beside a tenth of them."""
    commands = {}
    for name, count in (("fewer", 10 * bench.scale), ("more", 100 * bench.scale)):
        folder = bench.folder / f"{count}-files"
        folder.mkdir(parents=True, exist_ok=True)
        shutil.copy(DEMO / "bench.toml", folder)
        for number in range(count):
            row = f"2026-0{3 + number % 5}-{1 + number % 28:02},round-jig,1/8,good,{1 + number % 9}\n"
            (folder / f"{number}.csv").write_text(f"date,mold,cavity,outcome,count\n{row}")
        commands[name] = bench.program("check", folder)
    found = measure(commands, bench.repeats, statuses=WITH_FINDINGS)
    what = f"`check`, {100 * bench.scale:,} small files"
    return [_time(what, "a tenth of the files", found["more"], found["fewer"], 10)]


def many(bench: Bench) -> list[Row]:
    """Each stage of a season of many sessions and few groups, beside reading its logs."""
    folder = bench.folder / "many-sessions"
    many_sessions.write_workspace(folder)
    command: list[str | Path] = [bench.python, HERE / "stages.py", folder, bench.folder / "many.pdf"]
    runs = [json.loads(run_once(command).out) for _ in range(max(1, bench.repeats))]
    taken = {stage: statistics.median(run[stage] for run in runs) for stage in runs[0]}
    return [
        Row(
            what=f"many sessions, stage {stage}",
            reference="reading its logs",
            ratio=seconds / taken["read"],
            at_most=None,
            seconds=seconds,
            reference_seconds=taken["read"],
        )
        for stage, seconds in taken.items()
    ]


PARTS: Mapping[str, Callable[[Bench], list[Row]]] = {
    "idle": idle,
    "month": month,
    "core": core,
    "reading": reading,
    "season": season,
    "growth": growth,
    "files": files,
    "many": many,
}


def table(rows: Sequence[Row]) -> str:
    """The rows as a table in Markdown."""
    lines = ["| what | beside | ratio | at most |", "| --- | --- | ---: | ---: |"]
    for row in rows:
        most = "" if row.at_most is None else f"{row.at_most:g}"
        mark = "" if row.at_most is None or row.ratio <= row.at_most else " (missed)"
        lines.append(f"| {row.what} | {row.reference} | {row.ratio:.2f}{mark} | {most} |")
    return "\n".join(lines)


def _time(what: str, reference: str, ours: Measured, theirs: Measured, at_most: float | None) -> Row:
    return Row(
        what=what,
        reference=reference,
        ratio=ours.wall / theirs.wall,
        at_most=at_most,
        seconds=ours.wall,
        reference_seconds=theirs.wall,
    )


def _beyond(what: str, ours: Measured, demo: Measured, check: Measured, at_most: float) -> Row:
    return Row(
        what=what,
        reference="reading it (`check`)",
        ratio=(ours.wall - demo.wall) / check.wall,
        at_most=at_most,
        seconds=ours.wall,
        reference_seconds=check.wall,
    )


def _memory(what: str, reference: str, ours: Measured, theirs: float, at_most: float | None) -> Row:
    return Row(what=what, reference=reference, ratio=ours.peak / theirs, at_most=at_most)


def main(arguments: Sequence[str] | None = None) -> None:
    """Run what is asked for."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument(
        "folder",
        type=Path,
        nargs="?",
        default=KEPT,
        help=f"where workspaces and reports go (left out: {KEPT})",
    )
    parser.add_argument("--parts", nargs="+", choices=list(PARTS), default=list(PARTS))
    parser.add_argument("--repeats", type=int, default=5, help="runs of each, besides one that warms up")
    parser.add_argument("--scale", type=int, choices=SCALES, default=SCALES[-1], help="the largest workspace")
    parser.add_argument("--json", type=Path, help="where to write the numbers (left out: into the folder)")
    asked = parser.parse_args(arguments)
    folder = asked.folder.resolve()
    folder.mkdir(parents=True, exist_ok=True)
    bench = Bench(folder=folder, repeats=asked.repeats, scale=asked.scale)
    rows = [row for part in asked.parts for row in PARTS[part](bench)]
    print(table(rows))
    told = {"processors": os.cpu_count(), "repeats": asked.repeats, "rows": [asdict(row) for row in rows]}
    written = asked.json or folder / "benchmarks.json"
    written.write_text(json.dumps(told, indent=2) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
