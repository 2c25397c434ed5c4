"""Run tasks by name, such as `python tests/tasks.py lint types`, until one fails."""

import shlex
import subprocess
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path

ROOT = Path(__file__).parents[1]
OF_TESTS = "--allow-untyped-defs --allow-incomplete-defs --allow-untyped-calls --no-strict-equality"
TASKS: Mapping[str, Sequence[str]] = {
    "lint": ("-m ruff check .", "-m ruff format --check ."),
    "types": ("-m mypy src plugins", f"-m mypy {OF_TESTS} tests"),
    "quick": ("-m pytest -n 2 -m 'not slow'",),
    "tests": ("-m pytest -n 2",),
    "reference": ("tests/docs/write_reference.py",),
    "demo": ("tests/demo_season/write_demo_season.py",),
    "golden": ("tests/golden/golden_pages.py", "tests/golden/golden_numbers.py"),
    "mutants": ("tests/mutants.py",),
    "fuzz": ("tests/fuzz.py --minutes 60",),
    "benchmarks": ("tests/benchmarks/run_benchmarks.py",),
}


def main(names: Sequence[str]) -> int:
    """Run each task; return the exit status of the first command that fails, else 0."""
    unknown = [name for name in names if name not in TASKS]
    if unknown or not names:
        print(f"{__doc__}\nTasks: {', '.join(TASKS)}")
        return 2
    for name in names:
        for command in TASKS[name]:
            print(f"== {name}: python {command}", flush=True)
            done = subprocess.run([sys.executable, *shlex.split(command)], cwd=ROOT, check=False)
            if done.returncode:
                return done.returncode
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
