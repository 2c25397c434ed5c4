"""Draw every season of every study: `drawn.csv`, a mark a season, and `summary.md`. Takes half an hour."""

import os
import sys
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE.parent))

from simulations.studies import SEED, STUDIES  # noqa: E402
from simulations.summary import drawn_text, outcomes, summary_text  # noqa: E402


def main() -> None:
    """Draw, longest first, and write."""
    with ProcessPoolExecutor(os.cpu_count()) as workers:
        slowest_first = sorted(STUDIES, key=lambda study: study.again)
        futures = {study.name: workers.submit(_marks, study.name) for study in slowest_first}
        marks = {study.name: futures[study.name].result() for study in STUDIES}
    (HERE / "drawn.csv").write_text(drawn_text(marks), encoding="utf-8")
    (HERE / "summary.md").write_text(summary_text(outcomes()), encoding="utf-8")


def _marks(name: str) -> str:
    (study,) = [each for each in STUDIES if each.name == name]
    return study.marks(SEED, study.seasons)


if __name__ == "__main__":
    main()
