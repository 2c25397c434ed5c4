"""A sampled mutation run: how many small faults in the numbers do the quick tests see?

    .venv/bin/python tests/tasks.py mutants                     20 faults, in copies of the tree
    .venv/bin/python tests/mutants.py 200 --seed 3 --jobs 2     as many as named

Each fault changes one operator, comparison, number or condition of a plugin, the ledger or the statistics.
Printed is which tests see it first: the quick ones of its place (`near`), the other quick ones (`quick`), or
those of the demo's golden numbers (`golden`), which are slow and do not count.
"""

import argparse
import ast
import os
import random
import shutil
import signal
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from functools import partial
from importlib import import_module
from multiprocessing import get_context
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest

ROOT = Path(__file__).parents[1]
PLACES = ("plugins/analyses", "src/benchwater/ledger", "src/benchwater/statistics")
COPIED = ("src", "plugins", "tests", "sample_logs", "pyproject.toml", "README.md", "DEVELOPERS.md")
GOLDEN, OF_GOLDEN = "tests/golden/golden_numbers.py", "tests/render/test_golden_numbers.py"
IMPORTED_ONCE = ("numpy", "pandas", "scipy.stats", "scipy.optimize", "click", "pint")
QUICK = ("-m", "not slow")
NUMBERS = (
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


def faults(count: int, seed: int) -> Iterator[tuple[Path, str, str]]:
    """File, what is changed, and the changed source of faults drawn at random."""
    files = [path for place in PLACES for path in sorted((ROOT / place).rglob("*.py"))]
    places = [(file, at) for file in files for at, _ in enumerate(sites(ast.parse(file.read_text("utf-8"))))]
    for file, at in random.Random(seed).sample(places, count):
        tree = ast.parse(file.read_text("utf-8"))
        node = list(sites(tree))[at]
        before = ast.unparse(node)
        mutate(node)
        told = f"{file.relative_to(ROOT)}, line {node.lineno}: `{before}` became `{ast.unparse(node)}`"  # type: ignore[attr-defined]
        yield file.relative_to(ROOT), told, ast.unparse(ast.fix_missing_locations(tree))


def nearest_tests(file: Path) -> list[str]:
    """The tests that mirror a source file's place, those of its own name first."""
    parts = file.parts
    folder = f"tests/plugins/analyses/{parts[2]}" if parts[0] == "plugins" else f"tests/{parts[2]}"
    found = sorted((ROOT / folder).rglob("test_*.py"))
    found.sort(key=lambda path: path.stem != f"test_{file.stem}")
    return [str(path.relative_to(ROOT)) for path in found]


def seen_by(folder: Path, file: Path) -> str:
    """Which tests fail first: those of the file's place, the other quick ones, or the golden numbers."""
    near = nearest_tests(file)
    others = [argument for each in near for argument in ("--deselect", each)]
    for name, arguments in (
        ("near", [*QUICK, *near]),
        ("quick", [*QUICK, *NUMBERS, *others]),
        ("golden", [OF_GOLDEN]),
    ):
        if fails(folder, arguments):
            return name
    return "NO TEST"


def fails(folder: Path, arguments: Sequence[str]) -> bool:
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
        os._exit(pytest.main(["-q", "-x", "-p", "no:cacheprovider", *arguments]))
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


def run_part(count: int, seed: int, jobs: int, part: int) -> Counter[str]:
    """Every `jobs`-th fault, in a copy of the tree of its own; how many were seen by which tests."""
    seen: Counter[str] = Counter()
    with TemporaryDirectory() as name:
        folder = Path(name)
        for each in COPIED:
            source = ROOT / each
            copy = shutil.copytree if source.is_dir() else shutil.copy
            copy(source, folder / each)
        subprocess.run([sys.executable, GOLDEN], cwd=folder, env=_environment(folder), check=True)
        for at, (file, told, text) in enumerate(faults(count, seed)):
            if at % jobs == part:
                (folder / file).write_text(text, encoding="utf-8")
                by = seen_by(folder, file)
                shutil.copy2(ROOT / file, folder / file)
                seen[by] += 1
                print(f"{by:<8} {told}", flush=True)
    return seen


def main() -> int:
    """Print by which tests each fault is seen, and the share that quick tests see."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("count", type=int, nargs="?", default=20)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=1)
    wanted = parser.parse_args()
    for module in IMPORTED_ONCE:
        import_module(module)
    with get_context("fork").Pool(wanted.jobs) as pool:
        parts = pool.map(partial(run_part, wanted.count, wanted.seed, wanted.jobs), range(wanted.jobs), 1)
    seen = sum(parts, Counter())
    quick = seen["near"] + seen["quick"]
    print(f"quick tests saw {quick} of {wanted.count} faults (seed {wanted.seed}): {dict(seen)}")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
