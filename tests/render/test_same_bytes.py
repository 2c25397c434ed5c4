"""The JSON of a report is the same whatever kernel the processor gets for linear algebra."""

import os
import subprocess
import sys

import numpy as np
import pytest

from benchwater.render.json_twin import rounded

ROOT = __file__.rpartition("/tests/")[0]


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
    texts = []
    for kernel in ("Haswell", "Prescott"):
        out = tmp_path / kernel
        subprocess.run(
            [sys.executable, "-m", "benchwater", "report", "sample_logs", "--season", "--out", str(out)],
            cwd=ROOT,
            env={**os.environ, "OPENBLAS_CORETYPE": kernel},
            check=False,
            capture_output=True,
        )
        texts.append(next(out.glob("*/season-report.json")).read_text(encoding="utf-8"))
    assert texts[0] == texts[1]
