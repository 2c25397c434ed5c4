"""Causes, rates and losses."""

import pytest

from benchwater.statistics.rates import ratio_of_totals
from benchwater.testing import finding, records, table
from fished_seasons import ANALYSIS, MIXED, fished, number, whole


def test_causes_and_the_share_still_in_use_make_up_the_whole() -> None:
    section = whole(*MIXED)
    for row in records(section, "survival"):
        at_time = [
            number(cause["incidence"])
            for cause in records(section, "causes")
            if (cause["group"], cause["time_h"]) == (row["group"], row["time_h"])
        ]
        assert sum(at_time) == pytest.approx(1 - number(row["survival"]))
    summary = records(section, "cause_summary")
    assert sum(number(row["incidence"]) for row in summary) == pytest.approx(1)
    assert [row["cause"] for row in summary] == ["bite off", "snag", "torn", "still in use"]


def test_the_lead_says_what_ends_them() -> None:
    lead = whole(*MIXED).findings[0]
    assert (lead.id, lead.group, lead.n) == ("main_cause", "bite off", 3)
    assert lead.text.startswith(
        "7 baits lost or worn out in 38 hours of fishing: 3 bitten off, 3 lost to snags"
    )
    assert lead.more["horizon_h"] == 3


def test_losses_add_up_to_the_baits_that_ended() -> None:
    section = whole(*MIXED)
    assert table(section, "losses").rows == (
        ("lost", "bite off", 3),
        ("lost", "snag", 3),
        ("worn", "torn", 1),
    )
    assert finding(section, "loss_rate").n == 7


def test_rates_stand_by_group_with_limits_no_narrower_than_the_exact_ones() -> None:
    section = whole(*MIXED)
    rows = {(row["factor"], row["group"]): row for row in records(section, "rates")}
    everything = rows["all", "all"]
    assert (everything["bait_hours"], everything["lost"]) == (38.0, 7)
    # Garwood 1936: 7 observed, limits 2.814 and 14.423.
    assert number(everything["low"]) <= 2.814 / 38 * 1.001
    assert number(everything["high"]) >= 14.423 / 38 * 0.999
    by_trip = ratio_of_totals([3, 3, 1, 0], [4, 18, 4, 12])
    assert (everything["low"], everything["high"]) == (by_trip.low, by_trip.high)
    hours = {key: (row["bait_hours"], row["lost"]) for key, row in rows.items()}
    assert hours["leader", "no leader"] == (6.0, 3)
    assert hours["leader", "leader"] == (26.0, 1)
    assert hours["guard", "guard"] == hours["coat", "pearl"] == hours["build", "guarded"] == (18.0, 3)
    assert hours["guard", "no guard"] == hours["coat", "no coat"] == (20.0, 4)
    assert hours["habitat", "timber"] == (10.0, 4)
    assert hours["habitat", "weeds"] == (4.0, 3)
    assert hours["habitat", "shallow"] == (8.0, 4)
    assert ("leader material", "wire") not in hours, "one group is not shown against nothing"


def test_tags_that_always_go_together_are_compared_once() -> None:
    section = whole(*(row.replace("timber;shallow", "timber") for row in MIXED))
    habitats = {row["group"] for row in records(section, "rates") if row["factor"] == "habitat"}
    assert habitats == {"open", "shallow + weeds", "timber"}


def test_each_tag_says_what_became_of_its_bait_from_its_first_day_on() -> None:
    made = fished(
        "2026-04-30,plain,2,kept,,K7P,,,,",
        "2026-05-01,plain,45 min,lost,,K7P,snag,,,",
        "2026-05-03,plain,1,kept,,K7P,,,,",
        "2026-05-03,guarded,3,kept,,A2C,,,,",
        "2026-05-03,guarded,3,lost,2,,snag,,,",
        month="2026-05",
    )
    assert table(ANALYSIS.analyse(made.season, made.period), "tagged").rows == (
        ("A2C", "guarded", "2026-05-03", "2026-05-03", 3.0, "kept", None),
        ("K7P", "plain", "2026-04-30", "2026-05-01", 2.75, "lost", "snag"),
        ("K7P", "plain", "2026-05-03", "2026-05-03", 1.0, "kept", None),
    )
    assert all(each.id != "tagged" for each in whole("2026-05-03,plain,1,kept,,,,,,").tables)
