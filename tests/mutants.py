"""A sampled mutation run: how many small faults in the numbers do the quick tests see?

    .venv/bin/python tests/tasks.py mutants                     20 faults, in copies of the tree
    .venv/bin/python tests/mutants.py 200 --seed 3 --jobs 2     as many as named
    .venv/bin/python tests/mutants.py --part src/benchwater/ledger plugins/analyses/cost    of these

Each fault changes one operator, comparison, number or condition of a plugin, the ledger or the statistics.
Printed is which quick tests see it first: those of its place (`near`), of the demo's numbers (`demo`), or
`others`. Where pytest-cov was installed, `--reach` spares the others that do not run the changed line:

    .venv/bin/python -m pytest -m "not slow" --cov=src --cov=plugins --cov-context=test --cov-report=
    .venv/bin/coverage json --show-contexts -o reach.json
"""

import argparse
import ast
import json
import os
import random
import shutil
import signal
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from importlib import import_module
from multiprocessing import get_context
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, NamedTuple

import pytest

ROOT = Path(__file__).parents[1]
PLACES = tuple(map(Path, ("plugins/analyses", "src/benchwater/ledger", "src/benchwater/statistics")))
COPIED = ("src", "plugins", "tests", "sample_logs", "pyproject.toml", "README.md", "DEVELOPERS.md")
GOLDEN = "tests/golden/golden_numbers.py"
DEMO = ("tests/render/test_golden_numbers.py", "tests/plugins/analyses/test_demo_recomputed.py")
IMPORTED_ONCE = ("numpy", "pandas", "scipy.stats", "scipy.optimize", "click", "pint")
OTHERS = (
    *("tests/ledger", "tests/statistics", "tests/plugins", "tests/properties", "tests/examples"),
    *("tests/demo_season", "tests/analyse", "tests/sheets", "tests/render"),
)
MOST_S = 900
SWAPS: dict[type[ast.AST], type[ast.AST]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.Lt: ast.LtE,
    ast.LtE: ast.Lt,
    ast.Gt: ast.GtE,
    ast.GtE: ast.Gt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.And: ast.Or,
    ast.Or: ast.And,
}


def sites(tree: ast.AST) -> Iterator[ast.AST]:
    """Every node that can be changed."""
    for node in ast.walk(tree):
        is_number = isinstance(node, ast.Constant) and type(node.value) in (int, float)
        if is_number or (isinstance(node, ast.BinOp | ast.BoolOp | ast.Compare) and _swap(node) is not None):
            yield node


def _swap(node: ast.BinOp | ast.BoolOp | ast.Compare) -> type[ast.AST] | None:
    operator = node.ops[0] if isinstance(node, ast.Compare) else node.op
    return SWAPS.get(type(operator))


def mutate(node: ast.AST) -> None:
    """Change one node: the opposite operator, or a number one larger."""
    if isinstance(node, ast.Constant):
        node.value = node.value + 1  # type: ignore[operator]
    elif isinstance(node, ast.Compare):
        node.ops[0] = _swap(node)()  # type: ignore[misc,assignment]
    elif isinstance(node, ast.BinOp | ast.BoolOp):
        node.op = _swap(node)()  # type: ignore[misc,assignment]


class Fault(NamedTuple):
    """One change: the file below the top, the lines of the statement, what it says and the source with it."""

    file: Path
    lines: range
    told: str
    text: str


def faults(places: Sequence[Path], count: int, seed: int) -> Iterator[Fault]:
    """Faults drawn at random from files and folders below the top."""
    files = [file for place in places for file in sorted((ROOT / place).rglob("*.py")) or [ROOT / place]]
    found = [(file, at) for file in files for at, _ in enumerate(sites(ast.parse(file.read_text("utf-8"))))]
    for path, at in random.Random(seed).sample(found, count):
        tree = ast.parse(path.read_text("utf-8"))
        node: Any = list(sites(tree))[at]
        holding = [
            range(each.lineno, (each.end_lineno or each.lineno) + 1)
            for each in ast.walk(tree)
            if isinstance(each, ast.stmt) and each.lineno <= node.lineno <= (each.end_lineno or each.lineno)
        ]
        file, before = path.relative_to(ROOT), ast.unparse(node)
        mutate(node)
        told = f"{file}, line {node.lineno}: `{before}` became `{ast.unparse(node)}`"
        yield Fault(file, min(holding, key=len), told, ast.unparse(ast.fix_missing_locations(tree)))


def nearest_tests(file: Path) -> list[str]:
    """The tests that mirror a source file's place, those of its own name first."""
    parts = file.parts
    folder = f"tests/plugins/analyses/{parts[2]}" if parts[0] == "plugins" else f"tests/{parts[2]}"
    found = sorted((ROOT / folder).rglob("test_*.py"))
    found.sort(key=lambda path: path.stem != f"test_{file.stem}")
    return [str(path.relative_to(ROOT)) for path in found]


def other_tests(fault: Fault, reach: Path | None) -> Sequence[str]:
    """The files of tests that run a fault's lines, or any line of its file if those run at import alone."""
    if reach is None:
        return OTHERS
    by_line = json.loads(reach.read_text("utf-8"))["files"][str(fault.file)]["contexts"]
    here = {test for line in fault.lines for test in by_line.get(str(line), ()) if test}
    if not here and any(str(line) in by_line for line in fault.lines):
        here = {test for tests in by_line.values() for test in tests if test}
    return sorted({test.partition("::")[0] for test in here if test.startswith(OTHERS)})


def seen_by(folder: Path, fault: Fault, reach: Path | None) -> str:
    """Which quick tests fail: those of the file's place, those of the demo's numbers, or any others."""
    near = nearest_tests(fault.file)
    others = [test for test in other_tests(fault, reach) if test not in {*near, *DEMO}]
    left_out = [argument for each in (*near, *DEMO) for argument in ("--deselect", each)]
    if fails(folder, near):
        return "near"
    if fails(folder, DEMO):
        return "demo"
    return "others" if others and fails(folder, (*others, *left_out)) else "NO TEST"


def fails(folder: Path, tests: Sequence[str]) -> bool:
    """Whether pytest fails or takes too long, in a fork of this process that has the libraries in memory."""
    child = os.fork()
    if child == 0:
        os.setsid()
        nothing = os.open(os.devnull, os.O_RDWR)
        for stream in (0, 1, 2):
            os.dup2(nothing, stream)
        os.chdir(folder)
        sys.path.insert(0, str(folder / "src"))
        os.environ |= _environment(folder)
        sys.dont_write_bytecode = True
        os._exit(pytest.main(["-q", "-x", "-m", "not slow", "-p", "no:cacheprovider", *tests]))
    deadline = time.monotonic() + MOST_S
    while True:
        ended, status = os.waitpid(child, os.WNOHANG)
        if ended:
            return os.waitstatus_to_exitcode(status) not in (0, 5)  # 5: no test is there
        if time.monotonic() > deadline:
            os.killpg(child, signal.SIGKILL)
            os.waitpid(child, 0)
            return True
        time.sleep(0.05)


def _environment(folder: Path) -> dict[str, str]:
    return {**os.environ, "PYTHONPATH": str(folder / "src"), "PYTHONDONTWRITEBYTECODE": "1"}


def run_part(wanted: argparse.Namespace, part: int) -> Counter[str]:
    """Try every `jobs`-th fault, in a copy of the tree of its own; return how many which tests saw."""
    seen: Counter[str] = Counter()
    with TemporaryDirectory() as name:
        folder = Path(name)
        for each in COPIED:
            source = ROOT / each
            copy = shutil.copytree if source.is_dir() else shutil.copy
            copy(source, folder / each)
        subprocess.run([sys.executable, GOLDEN], cwd=folder, env=_environment(folder), check=True)
        if fails(folder, DEMO):
            raise SystemExit("the demo's numbers are not the golden ones even without a fault")
        for fault in [*faults(wanted.part, wanted.count, wanted.seed)][part :: wanted.jobs]:
            (folder / fault.file).write_text(fault.text, encoding="utf-8")
            by = seen_by(folder, fault, wanted.reach)
            shutil.copy2(ROOT / fault.file, folder / fault.file)
            seen[by] += 1
            print(f"{by:<8} {fault.told}", flush=True)
    return seen


def main() -> int:
    """Print by which tests each fault is seen, and the share that quick tests see."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("count", type=int, nargs="?", default=20)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--part", type=Path, nargs="+", default=PLACES, help="files and folders to change")
    parser.add_argument("--reach", type=Path, help="the coverage of the quick tests as JSON, with contexts")
    wanted = parser.parse_args()
    for module in IMPORTED_ONCE:
        import_module(module)
    with ProcessPoolExecutor(wanted.jobs, mp_context=get_context("fork")) as pool:
        seen = sum(pool.map(partial(run_part, wanted), range(wanted.jobs)), Counter[str]())
    missed = seen["NO TEST"]
    print(f"{wanted.count - missed} of {wanted.count} faults were seen (seed {wanted.seed}): {dict(seen)}")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
