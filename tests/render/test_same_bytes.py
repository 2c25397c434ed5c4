"""The JSON of a report is the same for each kernel of linear algebra and each version of Python."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from benchwater.render.json_twin import rounded

ROOT = Path(__file__).parents[2]
KERNELS = ("Haswell", "Prescott")
OTHERS = tuple(f"python3.{minor}" for minor in range(11, 16))


@pytest.mark.parametrize(
    ("number", "written"),
    [
        (118.61111111111117, 118.6111111),
        (0.1 + 0.2, 0.3),
        (1e300, 1e300),
        (-0.0, 0.0),
        (1234567890.3, 1234567890.0),
    ],
)
def test_numbers_are_written_to_10_digits(number, written):
    assert rounded(number) == written


@pytest.mark.slow
@pytest.mark.skipif("openblas" not in str(np.show_config(mode="dicts")).lower(), reason="needs OpenBLAS")
def test_the_demo_has_the_same_numbers_with_two_kernels(tmp_path):
    texts = [season_json(sys.executable, tmp_path / kernel, OPENBLAS_CORETYPE=kernel) for kernel in KERNELS]
    assert texts[0] == texts[1]


@pytest.mark.slow
def test_the_demo_has_the_same_numbers_in_two_versions_of_python(tmp_path):
    other = another_python()
    if other is None:
        pytest.skip("no other Python with the libraries is there: name one in OTHER_PYTHON")
    assert season_json(other, tmp_path / "other") == season_json(sys.executable, tmp_path / "this")


def season_json(python: str, out: Path, **environment: str) -> str:
    """The JSON of the demo's season, by a process of that Python."""
    done = subprocess.run(
        [python, "-m", "benchwater", "report", "sample_logs", "--season", "--out", str(out)],
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT / "src"), **environment},
        check=False,
        capture_output=True,
        text=True,
    )
    (twin,) = out.glob("*/season-report.json")
    assert done.returncode in (0, 1), done.stderr
    return twin.read_text(encoding="utf-8")


def another_python() -> str | None:
    """A Python of another version that has the libraries: OTHER_PYTHON, or one on the path."""
    named = os.environ.get("OTHER_PYTHON")
    code = f"import sys, benchwater.pipeline; sys.exit(sys.version_info[:2] == {sys.version_info[:2]})"
    environment = {**os.environ, "PYTHONPATH": str(ROOT / "src")}
    for python in [named] if named else OTHERS:
        found = shutil.which(python)
        if found and not subprocess.run([found, "-c", code], env=environment, capture_output=True).returncode:
            return found
    return None
