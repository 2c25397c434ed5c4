"""The notebook page runs from top to bottom, and shows what the report says."""

import json
import warnings
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PAGE = Path(__file__).with_name("season.ipynb")


@pytest.mark.slow
def test_the_notebook_runs_and_its_numbers_are_those_of_the_logs(monkeypatch):
    monkeypatch.chdir(ROOT)
    cells = json.loads(PAGE.read_text(encoding="utf-8"))["cells"]
    names: dict[str, object] = {}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        for cell in cells:
            if cell["cell_type"] == "code":
                exec("".join(cell["source"]), names)
    assert names["good"] == names["in_log"]
    assert set(names["findings"]["section"]) > {"cost", "defect_rate"}  # type: ignore[index]
