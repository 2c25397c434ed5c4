"""The target temperature and the window: small seasons whose answer is known."""

import numpy as np
import pytest
from scipy.special import expit

from benchwater.testing import finding, records, table
from poured_seasons import fill_rows, section_of, separated


def test_perfect_separation_is_survived_and_answered() -> None:
    section = section_of(separated())
    assert section.status == "ok"
    target = finding(section, "target_temp", "ball")
    assert target.value is not None
    assert 123 < target.value < 151
    assert target.unit == "degC"
    assert target.n == 120
    assert finding(section, "trend_p", "ball").value == pytest.approx(0, abs=1e-6)
    assert finding(section, "window_high", "ball").value is None
    advice = {action.id: action for action in section.actions}["warm:ball"]
    assert advice.worth == pytest.approx(60 * 0.20)
    assert advice.worth_unit == "money"
    assert "before it reads 304 °F" in advice.text, "the coolest logged at which castings were good"
    assert "60 of the 60" in advice.because
    assert "nothing was poured between 253 °F and 304 °F" in target.text


@pytest.mark.parametrize("turn", [1, -1])
def test_two_temperatures_all_bad_and_all_good_give_limits_that_are_finite_or_open(turn: int) -> None:
    rows = [
        row
        for fill in range(1, 13)
        for row in fill_rows(
            "2026-05-01",
            fill,
            120 if fill < 7 else 160,
            {"short fill" if turn > 0 else "flash": 5 * ((fill < 7) == (turn > 0))},
        )
    ]
    section = section_of(rows)
    edge = finding(section, "target_temp" if turn > 0 else "window_high", "ball")
    for limit in (edge.low, edge.value, edge.high):
        assert limit is None or 100 <= limit <= 180, "finite and near the logs, or open"
    for action in section.actions:
        assert action.id != "hotter:ball"
    for row in records(section, "curve"):
        assert 0 <= float(str(row["rate"])) <= 1


def test_without_a_price_the_worth_is_in_baits() -> None:
    advice = {action.id: action for action in section_of(separated(), price=False).actions}["warm:ball"]
    assert (advice.worth, advice.worth_unit) == (60.0, "baits")


def test_flash_closes_the_window_from_above() -> None:
    rng = np.random.default_rng(3)
    rows = []
    for number, temp in enumerate(np.linspace(100, 230, 60)):
        short = int(rng.binomial(5, expit(-0.12 * (temp - 125))))
        flash = int(rng.binomial(5 - short, expit(0.12 * (temp - 215))))
        flaws = {"short fill": short, "flash": flash}
        rows += fill_rows(f"2026-05-{1 + number // 10:02}", number % 10 + 1, round(float(temp), 1), flaws)
    section = section_of(rows, units="metric")
    low, high = finding(section, "window_low", "ball"), finding(section, "window_high", "ball")
    truth = 125 + np.log(9) / 0.12, 215 - np.log(9) / 0.12
    for entry, true in zip((low, high), truth, strict=True):
        assert entry.low is not None
        assert entry.high is not None
        assert entry.low <= true <= entry.high
    assert {action.id for action in section.actions} >= {"warm:ball", "rest:ball"}
    assert {row["flaw"] for row in records(section, "curve")} == {"cold", "hot", "all"}
    assert table(section, "curve").print_rows == 0
    bins = records(section, "by_temperature")
    assert [row["low_c"] for row in bins] == [float(low) for low in range(100, 231, 10)]
    assert sum(int(str(row["castings"])) for row in bins) == 300


def test_bins_are_round_in_fahrenheit_on_a_us_bench() -> None:
    for row in records(section_of(separated()), "by_temperature"):
        low, high = (float(str(row[name])) * 1.8 + 32 for name in ("low_c", "high_c"))
        assert low % 25 == pytest.approx(0, abs=1e-6) or low % 25 == pytest.approx(25, abs=1e-6)
        assert high - low == pytest.approx(25)


def test_a_temperature_written_once_holds_for_the_whole_fill() -> None:
    first_only: list[str] = []
    seen: set[tuple[str, str]] = set()
    for row in separated():
        cells = row.split(",")
        if (cells[0], cells[5]) in seen:
            cells[6] = ""
        seen.add((cells[0], cells[5]))
        first_only.append(",".join(cells))
    assert finding(section_of(first_only), "target_temp").n == 120


def test_unnamed_flaws_are_taken_as_cold_ones_where_most_are_unnamed() -> None:
    section = section_of([row.replace("short fill", "") for row in separated()])
    assert finding(section, "target_temp", "ball").value is not None
