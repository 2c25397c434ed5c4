"""Draw the seasons of the studies named, or of all (half an hour): writes `drawn.csv` and `summary.md`."""

import os
import sys
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE.parent))

from simulations.studies import STUDIES  # noqa: E402
from simulations.summary import DRAWN, drawn_marks, drawn_text, outcomes, summary_text  # noqa: E402


def main() -> None:
    """Draw, longest first, and write."""
    with ProcessPoolExecutor(os.cpu_count()) as workers:
        wanted = [study for study in STUDIES if study.name in sys.argv[1:] or not sys.argv[1:]]
        slowest_first = sorted(wanted, key=lambda study: study.again)
        futures = {study.name: workers.submit(_marks, study.name) for study in slowest_first}
        drawn = {name: future.result() for name, future in futures.items()}
    marks = drawn_marks(DRAWN.read_text(encoding="utf-8")) | drawn
    DRAWN.write_text(drawn_text({study.name: marks[study.name] for study in STUDIES}), encoding="utf-8")
    (HERE / "summary.md").write_text(summary_text(outcomes()), encoding="utf-8")


def _marks(name: str) -> str:
    (study,) = [each for each in STUDIES if each.name == name]
    return study.marks(study.seasons)


if __name__ == "__main__":
    main()
