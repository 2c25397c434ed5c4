"""The code that DEVELOPERS.md shows. tests/examples/weather/ tests the log kind, the table and the plot."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import benchwater
from developers import DEVELOPERS, ROOT, blocks

BLOCKS = blocks(DEVELOPERS)
ADD_UNIT = next(block for block in BLOCKS if block.what == "add")


@pytest.mark.parametrize(
    "block", [block for block in BLOCKS if block.what == "cut"], ids=lambda block: f"line {block.line}"
)
def test_code_shown_is_a_part_of_its_file(block):
    assert block.text in (ROOT / block.where).read_text(encoding="utf-8")


def test_unit_added_by_the_recipe_is_read(tmp_path):
    """Does the recipe on a copy of the program."""
    copy = tmp_path / "src" / "benchwater"
    shutil.copytree(Path(benchwater.__file__).parent, copy, ignore=shutil.ignore_patterns("__pycache__"))
    quantities = copy / "units" / "quantities.py"
    before = quantities.read_text(encoding="utf-8")
    after = before.replace(f'    "{ADD_UNIT.where}": {{\n', f'    "{ADD_UNIT.where}": {{\n{ADD_UNIT.text}', 1)
    assert after != before
    quantities.write_text(after, encoding="utf-8")
    writer = tmp_path / "tests" / "units" / "write_conversions.py"
    writer.parent.mkdir(parents=True)
    shutil.copy(ROOT / "tests" / "units" / "write_conversions.py", writer)
    use = "from benchwater.units import read_quantity; print(read_quantity('2 st', 'mass'))"
    for words in ([str(writer)], ["-c", use]):
        done = subprocess.run(
            [sys.executable, *words],
            env={**os.environ, "PYTHONPATH": str(tmp_path / "src"), "PYTHONDONTWRITEBYTECODE": "1"},
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == 0, done.stderr
    # NIST SP 811 (2008): 1 pound is 453.59237 g exactly, and 1 stone is 14 pounds.
    assert float(done.stdout) == pytest.approx(2 * 14 * 453.59237, rel=1e-12)
    assert '["stone", "g"' in (copy / "units" / "conversions.json").read_text(encoding="utf-8")
