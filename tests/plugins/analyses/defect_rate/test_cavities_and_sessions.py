"""Castings of one fill, cavities that fail more often, sessions out of control."""

import pytest

from benchwater.plugin import Finding
from benchwater.testing import finding, records
from poured_seasons import fill_rows, section_of


def test_castings_of_one_fill_are_not_counted_as_independent() -> None:
    alike = [
        row for f in range(1, 21) for row in fill_rows("2026-05-01", f, "", {"short fill": 5 * (f % 4 == 0)})
    ]
    mixed = [
        row for f in range(1, 21) for row in fill_rows("2026-05-01", f, "", {"short fill": 1 + (f % 4 == 0)})
    ]
    wide, narrow = (finding(section_of(rows), "reject_rate", "ball") for rows in (alike, mixed))
    assert wide.more["design_effect"] == pytest.approx(5, rel=0.06)
    assert narrow.more["design_effect"] == 1.0
    assert "they tell as much as 20 apart" in wide.text
    assert width(wide) > 1.8 * width(narrow)


def width(entry: Finding) -> float:
    assert entry.high is not None
    assert entry.low is not None
    return entry.high - entry.low


def cavity_rows(shares: dict[tuple[str, int], tuple[int, int]]) -> list[str]:
    """Cavities poured each in fills of their own: (cavity, temp) to (fills, short ones of 5)."""
    rows, fill = [], 0
    for (cavity, temp), (fills, bad) in shares.items():
        for _ in range(fills):
            fill += 1
            rows += fill_rows("2026-05-01", fill, temp, {"short fill": bad}, place=f"ball,{cavity}")
    return rows


def test_a_cavity_that_is_merely_poured_colder_is_not_blamed() -> None:
    cold, warm = 102, 162
    fills = {
        ("small", cold): (12, 3),
        ("large", cold): (4, 3),
        ("small", warm): (4, 0),
        ("large", warm): (12, 0),
    }
    section = section_of(cavity_rows(fills))
    rates = {row["cavity"]: float(str(row["rate"])) for row in records(section, "by_cavity")}
    assert rates["small"] > 2 * rates["large"]
    for row in records(section, "by_cavity"):
        assert row["p_adjusted"] is None or float(str(row["p_adjusted"])) > 0.5
    assert not [action for action in section.actions if action.id.startswith("cavity")]


def test_a_cavity_worse_in_the_same_fill_is_named() -> None:
    rows = []
    for fill in range(1, 25):
        temp = 100 + 4 * fill
        rows += fill_rows(
            "2026-05-01", fill, temp, {"short fill": 2 * (fill % 3 > 0)}, made=2, place="ball,small"
        )
        rows += fill_rows("2026-05-01", fill, temp, {"short fill": int(fill < 9)}, made=3)
    section = section_of(rows)
    worst = {row["cavity"]: row["p_adjusted"] for row in records(section, "by_cavity")}
    assert float(str(worst["small"])) < 0.001
    assert worst["small"] == worst["large"]
    assert [action.id for action in section.actions if action.id.startswith("cavity")] == [
        "cavity:ball small"
    ]
    worse = finding(section, "worse_cavity", "ball small")
    # Of 48 small ones 32 were short, of 72 large ones 8: within fills 32/48 against 8/72, that is 6 times.
    assert worse.value == pytest.approx(6)
    assert worse.low is not None
    assert 2 < worse.low < 6
    assert "cavity small fails 6 times (3.1 to 12) as often as its neighbours" in worse.text
    assert "in the same fill, whatever the heat" in worse.text


def test_cavities_poured_apart_without_a_thermometer_are_not_said_to_be_equally_warm() -> None:
    rows = [
        row.replace(",102,", ",,") for row in cavity_rows({("small", 102): (8, 3), ("large", 102): (8, 0)})
    ]
    worse = finding(section_of(rows), "worse_cavity", "ball small")
    assert "its neighbours never do" in worse.text
    assert "how warm it was, the log does not tell" in worse.text


def test_a_session_beyond_its_limits_is_flagged_and_named() -> None:
    rows = []
    for day in range(1, 11):
        for fill in range(1, 9):
            bad = {"misset insert": 3} if day == 7 else {"short fill": int(fill == 1 and day < 9)}
            rows += fill_rows(f"2026-05-{day:02}", fill, 140 + fill, bad)
    section = section_of(rows)
    flagged = [row for row in records(section, "sessions") if row["signal"]]
    assert [row["session"] for row in flagged] == ["2026-05-07 ball"]
    assert float(str(flagged[0]["rate"])) == pytest.approx(0.6)
    assert "session:2026-05-07 ball" in {action.id for action in section.actions}
    told = finding(section, "session_signals", "ball")
    assert (told.value, told.n, told.quiet) == (1, 10, False)
    assert told.text.endswith(
        "1 of 10 sessions is beyond what chance does around 7.8 %: 7 May (24 of 40 bad)."
    )
    alt = next(figure.alt for figure in section.figures if figure.id == "sessions:ball")
    assert "7 May" in alt


def test_sessions_of_one_day_are_told_apart_by_name() -> None:
    rows = [f"{row[:-1]},{name}" for name in ("am", "pm") for row in fill_rows("2026-05-01", 1, 150, {})]
    names = [row["session"] for row in records(section_of(rows), "sessions")]
    assert names == ["2026-05-01 am ball", "2026-05-01 pm ball"]
