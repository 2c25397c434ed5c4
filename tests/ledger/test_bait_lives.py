"""Hours in use by bait."""

from pathlib import Path

import pytest

from benchwater.ledger.bait_lives import rows_in_use
from benchwater.pipeline import Request, choose_spans, gather, read_workspace

DEMO = Path(__file__).parents[2] / "sample_logs"


@pytest.mark.parametrize("month", ["2026-05", "2026-06"])
def test_hours_of_a_tagged_bait_before_the_span_count(month):
    workspace = read_workspace(DEMO, workspace_plugins=False)
    spans = choose_spans(workspace, Request(month=month))
    season = gather(workspace.reading, workspace.bench, spans)
    month_rows, whole = rows_in_use(season, spans.period), rows_in_use(season, spans.season)
    of_month = whole[whole["date"] >= month_rows["date"].min()].reset_index(drop=True)
    assert (month_rows["entry"] > 0).any()
    for name in ("entry", "time", "life", "ended", "hours"):
        assert month_rows[name].tolist() == of_month[name].tolist()
