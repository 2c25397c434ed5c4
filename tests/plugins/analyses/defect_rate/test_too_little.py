"""Too little of this or that: rates still stand, and no advice is given."""

import pytest

from benchwater.plugin import Section
from benchwater.testing import finding, records
from poured_seasons import fill_rows, section_of, separated


def thin(section: Section) -> str:
    assert section.status == "thin"
    assert section.actions == ()
    return section.why


def test_no_thermometer_is_thin_but_rates_cavities_and_sessions_stand() -> None:
    rows = [row.replace(f",{row.split(',')[6]},", ",,", 1) for row in separated()]
    section = section_of(rows)
    assert "no mold temperatures" in thin(section)
    assert finding(section, "reject_rate", "ball").value == pytest.approx(0.5)
    ids = {found.id for found in section.tables}
    assert ids == {"by_cavity", "by_estimated", "sessions", "mold_heat"}
    warm = finding(section, "warm_up_fills", "ball")
    assert "customary" in warm.text
    assert "book values" in warm.text
    estimated = [float(str(row["estimated_c"])) for row in records(section, "mold_heat")[:8]]
    assert estimated[0] == 20.0
    assert estimated == sorted(estimated)
    unread = finding(section, "reject_rate_unread", "ball")
    assert (unread.n, unread.value) == (120, pytest.approx(0.5))
    assert "book values, a fill a minute, begun cold" in unread.text
    assert "at an estimated 68 to" in unread.text
    assert unread.more["coolest_c"] == estimated[0]
    assert sum(int(str(row["castings"])) for row in records(section, "by_estimated")) == 120


def test_an_estimate_never_stands_in_for_a_reading() -> None:
    """A fourth day without thermometer: shown apart, and neither bins, window nor advice know of it."""
    unread = [row.replace(f",{row.split(',')[6]},", ",,", 1) for row in separated(4) if "05-04" in row]
    section, read_only = section_of([*separated(), *unread]), section_of(separated())
    told = finding(section, "reject_rate_unread", "ball")
    assert told.n == 40
    assert "(heat balance, fitted to 21 measured fills)" in told.text
    for name in ("target_temp", "trend_p"):
        assert finding(section, name, "ball") == finding(read_only, name, "ball")
    assert records(section, "by_temperature") == records(read_only, "by_temperature")
    warm, before = ({a.id: a for a in s.actions}["warm:ball"] for s in (section, read_only))
    assert warm.worth == before.worth
    heat = [row for row in records(section, "mold_heat") if str(row["session"]).startswith("2026-05-04")]
    assert [row["measured_c"] for row in heat] == [None] * 8


def test_no_thermometer_and_no_mold_mass_leave_the_warm_up_unsaid() -> None:
    rows = [row.replace(f",{row.split(',')[6]},", ",,", 1) for row in separated()]
    section = section_of(rows, mass=False)
    assert not [entry for entry in section.findings if entry.id == "warm_up_fills"]


def test_one_temperature_only_is_thin() -> None:
    rows = [row for fill in range(1, 11) for row in fill_rows("2026-05-01", fill, 120, {"short fill": 2})]
    assert "at 1 temperature" in thin(section_of(rows))


def test_four_cold_flaws_are_too_few() -> None:
    rows = [
        row
        for fill in range(1, 11)
        for row in fill_rows("2026-05-01", fill, 100 + 5 * fill, {"short fill": int(fill < 5)})
    ]
    assert "4 cold" in thin(section_of(rows))


def test_no_rejects_at_all() -> None:
    rows = [row for fill in range(1, 11) for row in fill_rows("2026-05-01", fill, 100 + 5 * fill, {})]
    section = section_of(rows)
    thin(section)
    rate = finding(section, "reject_rate", "ball")
    assert rate.value == 0
    assert rate.high is not None
    assert 0.05 < rate.high < 0.1
    assert not [entry for entry in section.findings if entry.id == "trend_p"]


def test_all_rejects_meet_the_target_nowhere() -> None:
    rows = [
        row
        for fill in range(1, 11)
        for row in fill_rows("2026-05-01", fill, 100 + 5 * fill, {"cold shut": 5})
    ]
    section = section_of(rows)
    target = finding(section, "target_temp", "ball")
    assert target.value is None
    assert "no temperature logged" in target.text
    assert section.actions == ()


def test_a_target_used_up_by_other_flaws_is_said() -> None:
    rows = [
        row
        for fill in range(1, 13)
        for row in fill_rows("2026-05-01", fill, 100 + 5 * fill, {"short fill": int(fill < 7), "other": 1})
    ]
    assert "temperature does not explain" in finding(section_of(rows), "target_temp", "ball").text


def test_a_mold_never_warm_enough_is_to_be_poured_hotter() -> None:
    bad = (5, 5, 5, 4, 4, 4, 3, 3, 2, 2, 2, 1)
    rows = [
        row
        for day in (1, 2, 3)
        for fill, n in enumerate(bad, start=1)
        for row in fill_rows(f"2026-05-{day:02}", fill, 80 + 5 * fill, {"short fill": n})
    ]
    section = section_of(rows)
    assert finding(section, "target_temp", "ball").value is None
    assert [action.id for action in section.actions if action.id == "hotter:ball"]


def test_only_blank_fills_are_empty() -> None:
    section = section_of(["2026-05-01,ball,large,blank,3,1,60,,,"])
    assert section.status == "empty"


def test_missing_fill_numbers_and_a_single_session_are_survived() -> None:
    rows = fill_rows("2026-05-01", "", "", {"short fill": 3}, made=40)
    section = section_of(rows)
    thin(section)
    assert finding(section, "reject_rate", "ball").more["design_effect"] == 1.0
    warm = [
        row for n in range(8) for row in fill_rows("2026-05-01", "", 90 + 10 * n, {"short fill": 5 * (n < 4)})
    ]
    assert finding(section_of(warm), "target_temp", "ball").value is not None
