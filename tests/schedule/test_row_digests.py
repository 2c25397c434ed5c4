import os
import subprocess
import sys

import pytest

from small_bench import SMALL_BENCH

CODE = """
import sys
from pathlib import Path
from benchwater.schedule.inputs import take_inputs
from benchwater.schedule.look import look_at
from benchwater.schedule.manifest import Manifest
folder = Path(sys.argv[1])
print([(p.label, p.rows) for p in look_at(folder, Manifest(), inputs=take_inputs(folder)).look.periods])
"""


@pytest.mark.slow
def test_digests_do_not_depend_on_hash_order_locale_or_time_zone(tmp_path):
    (tmp_path / "bench.toml").write_text(SMALL_BENCH)
    (tmp_path / "pour.csv").write_text(
        "date,mold,cavity,outcome,mold_temp,flaw,mood,sky\n"
        "2026-05-02 09:30,round-jig,1/8,reject,350,flash,good,blue\n"
        "2026-05-03,round-jig,1/8,good,hot,,bad,grey\n"
    )
    printed = {
        subprocess.run(
            [sys.executable, "-c", CODE, tmp_path],
            check=True,
            capture_output=True,
            text=True,
            env={**os.environ, "PYTHONHASHSEED": seed, "TZ": zone, "LC_ALL": locale},
        ).stdout
        for seed, zone, locale in (("1", "Pacific/Auckland", "C"), ("2", "America/Anchorage", "C.UTF-8"))
    }
    assert len(printed) == 1
    assert "2026-05" in printed.pop()
