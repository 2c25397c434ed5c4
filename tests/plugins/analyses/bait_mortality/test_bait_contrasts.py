"""Baits compared by sums over alike rows, beside the rows one by one."""

from pathlib import Path

import pytest

from bait_mortality.bait_contrasts import compare_baits
from benchwater.ledger.bait_lives import factors_of, rows_in_use, summed_alike
from benchwater.pipeline import Request, choose_spans, gather, read_workspace

DEMO = Path(__file__).parents[4] / "sample_logs"


@pytest.mark.parametrize("month", ["2026-05", "2026-10"])
def test_alike_rows_added_up_say_what_the_rows_say(month):
    workspace = read_workspace(DEMO, workspace_plugins=False)
    spans = choose_spans(workspace, Request(month=month))
    season = gather(workspace.reading, workspace.bench, spans)
    rows = rows_in_use(season.log("fishing"), spans.season)
    factors = factors_of(rows, season.bench)
    alike, sorting = summed_alike(rows, factors)
    assert len(alike) < len(rows)
    for name in ("count", "ended", "hours"):
        assert alike[name].sum() == pytest.approx(rows[name].sum(), rel=1e-12)
    (one, skipped), (other, left_out) = compare_baits(rows, factors), compare_baits(alike, sorting)
    assert skipped == left_out
    assert len(one) > 10
    for by_row, by_group in zip(one, other, strict=True):
        names = [(c.factor, c.group, c.against, c.cause, c.confounder) for c in (by_row, by_group)]
        assert names[0] == names[1]
        crude, within = by_row.rates.crude, by_row.rates.within
        assert (by_group.p_adjusted, by_group.rates.crude.ratio, by_group.rates.crude.low) == pytest.approx(
            (by_row.p_adjusted, crude.ratio, crude.low), rel=1e-12
        )
        assert (by_group.rates.within.ratio, by_group.rates.within.high) == pytest.approx(
            (within.ratio, within.high), rel=1e-12
        )


@pytest.mark.parametrize("month", ["2026-05", "2026-06"])
def test_a_tags_hours_before_the_span_count_though_its_other_rows_are_not_looked_at(month):
    workspace = read_workspace(DEMO, workspace_plugins=False)
    spans = choose_spans(workspace, Request(month=month))
    log = gather(workspace.reading, workspace.bench, spans).log("fishing")
    month_rows, whole = rows_in_use(log, spans.period), rows_in_use(log, spans.season)
    of_month = whole[whole["date"] >= month_rows["date"].min()].reset_index(drop=True)
    assert (month_rows["entry"] > 0).any()
    for name in ("entry", "time", "life", "ended", "hours"):
        assert month_rows[name].tolist() == of_month[name].tolist()
