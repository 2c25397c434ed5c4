"""A sampled mutation run: how many small faults in the numbers do the quick tests see?

    .venv/bin/python tests/tasks.py mutants            20 faults, in a copy of the tree
    .venv/bin/python tests/mutants.py 200 --seed 3     as many as named

Each fault changes one operator, comparison, number or condition of a plugin, the ledger or the statistics.
It is seen if a quick test of its place fails, or else the golden numbers of the demo differ. Faults that no
test saw are printed.
"""

import argparse
import ast
import os
import random
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory

ROOT = Path(__file__).parents[1]
PLACES = ("plugins/analyses", "src/benchwater/ledger", "src/benchwater/statistics")
COPIED = ("src", "plugins", "tests", "sample_logs", "pyproject.toml", "README.md", "DEVELOPERS.md")
GOLDEN, WHOLE = "tests/golden/golden_numbers.py", "tests/render/test_golden_numbers.py"
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
    """The tests that mirror a source file's place."""
    parts = file.parts
    if parts[0] == "plugins":
        return [f"tests/plugins/analyses/{parts[2]}"]
    return [f"tests/{parts[2]}"]


def is_seen(folder: Path, file: Path) -> bool:
    """Whether a test fails: first those of the file's place, then the golden numbers."""
    for tests in (["-m", "not slow", *nearest_tests(file)], [WHOLE]):
        if subprocess.run(
            [sys.executable, "-m", "pytest", "-q", "-x", "-p", "no:cacheprovider", *tests],
            cwd=folder,
            env=_environment(folder),
            capture_output=True,
            check=False,
        ).returncode not in (0, 4, 5):  # 4 and 5: no test is there
            return True
    return False


def _environment(folder: Path) -> dict[str, str]:
    return {**os.environ, "PYTHONPATH": str(folder / "src"), "PYTHONDONTWRITEBYTECODE": "1"}


def main() -> int:
    """Print each fault that no test sees, and the share that is seen."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("count", type=int, nargs="?", default=20)
    parser.add_argument("--seed", type=int, default=1)
    wanted = parser.parse_args()
    seen = 0
    with TemporaryDirectory() as name:
        folder = Path(name)
        for each in COPIED:
            source = ROOT / each
            copy = shutil.copytree if source.is_dir() else shutil.copy
            copy(source, folder / each)
        subprocess.run([sys.executable, GOLDEN], cwd=folder, env=_environment(folder), check=True)
        for file, told, text in faults(wanted.count, wanted.seed):
            before = (folder / file).read_text("utf-8")
            (folder / file).write_text(text, encoding="utf-8")
            found = is_seen(folder, file)
            (folder / file).write_text(before, encoding="utf-8")
            seen += found
            print(f"{'seen' if found else 'NOT SEEN'}  {told}", flush=True)
    print(f"{seen} of {wanted.count} faults were seen (seed {wanted.seed})")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
