"""Draw every season of the simulations and write tests/simulations/summary.md."""

import sys
from pathlib import Path

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE.parent))

from simulations.seasons import STUDIES, simulate, summary  # noqa: E402

if __name__ == "__main__":
    (HERE / "summary.md").write_text(summary([simulate(study) for study in STUDIES]), encoding="utf-8")
