"""What stands in for a number that could not be read."""

import pytest

from benchwater.ledger.log_rows import rows_left_open
from benchwater.testing import make_season

BENCH = """
[bench]
name = "Test bench"
units = "metric"
season = { start = "03-01" }
[items.alloy]
kind = "metal"
[molds.ball]
material = "alloy"
[[molds.ball.cavities]]
name = "1/4"
mass = "7 g"
"""


@pytest.mark.parametrize(("counts", "stand_in"), [((), 1), ((3, 4, 20), 4), ((3, 4), 4)])
def test_a_count_that_could_not_be_read_is_the_middle_one_of_its_log_or_one(
    counts: tuple[int, ...], stand_in: int
) -> None:
    rows = "".join(f"2026-03-05,ball,1/4,good,{count}\n" for count in (*counts, "lots"))
    logs = {"pour.csv": f"date,mold,cavity,outcome,count\n{rows}"}
    made = make_season(BENCH, logs, "2026-03", rows_may_be_set_aside=True)
    assert rows_left_open(made.season, "pour", made.whole)["count"].tolist() == [stand_in]
