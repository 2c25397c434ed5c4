"""Warm-up fills, the heat balance and infrared guns."""

from collections.abc import Iterable

from benchwater.plugin import Section
from benchwater.testing import finding, make_season, records
from poured_seasons import ANALYSIS, BENCH, HEADER, check, fill_rows, section_of, separated


def test_warm_up_without_a_mold_mass_is_as_logged() -> None:
    section = section_of(separated(), mass=False)
    warm = finding(section, "warm_up_fills", "ball")
    assert warm.value == 4
    assert warm.n == 3
    assert "as logged" in str(warm.more["method"])


def test_warm_up_by_heat_balance_from_measured_fills() -> None:
    section = section_of(separated())
    warm = finding(section, "warm_up_fills", "ball")
    assert "fitted" in str(warm.more["method"])
    assert warm.value is not None
    assert warm.value > 4
    assert warm.more["from_usual_start"] in {4, 5, 6}


def at_pace(
    seconds: float, temps: Iterable[float | str], day: str = "2026-05-01", note: str = ""
) -> list[str]:
    """Fills of one day with their time, no fill number, all good but the first three."""
    rows = []
    for at, temp in enumerate(temps):
        clock = f"{day} {9 + int(at * seconds) // 3600:02}:{int(at * seconds) // 60 % 60:02}"
        bad = {"short fill": 3} if at < 3 else {}
        rows += [f"{row},{note}" for row in fill_rows(clock, "", temp, bad)]
    return rows


def timed_section(rows: Iterable[str]) -> Section:
    bench = BENCH.replace("UNITS", "metric").replace("PRICE", "").replace("MASS", 'metal_mass = "0.25 kg"')
    made = make_season(bench, {"pour.csv": "\n".join([f"{HEADER},note", *rows, ""])})
    section = ANALYSIS.analyse(made.season, made.whole)
    check(section)
    return section


def test_times_on_the_rows_give_order_and_pace_of_the_fills() -> None:
    section = timed_section(at_pace(120, [""] * 8))
    warm, unread = (finding(section, name, "ball") for name in ("warm_up_fills", "reject_rate_unread"))
    assert "120 s a fill by the log's times" in warm.text
    assert unread.n == 40
    assert [row["fill"] for row in records(section, "mold_heat")] == list(range(1, 9))
    quicker = timed_section(at_pace(60, [""] * 8))
    warmest = [
        float(str(unread.more["warmest_c"])),
        float(str(finding(quicker, unread.id).more["warmest_c"])),
    ]
    assert warmest[0] < warmest[1] - 2


def test_a_target_out_of_reach_at_this_pace_is_said() -> None:
    warm = finding(timed_section(at_pace(600, [""] * 8)), "warm_up_fills", "ball")
    assert (warm.value, warm.low, warm.high) == (None, None, None)
    assert (
        "no number of fills at this pace warms a cold mold to 150 °C: pour faster, or preheat it" in warm.text
    )


def test_an_infrared_gun_named_in_a_note_is_explained_and_left_out_of_the_balance() -> None:
    temps = [24.0, 27, 30, 33, 35, 37, 39, 41]
    rows = at_pace(60, temps, note="read with the IR gun")
    section = timed_section(rows)
    gun = finding(section, "infrared_likely", "ball")
    assert gun.more["said"] is True
    assert "the remarks of 1 session, 1 May first, name an infrared gun" in gun.text
    # worked_examples.csv: ir-bare, ir-oxidised, ir-black-spot, of a gun set to 0.95, 8 to 14 um.
    assert "at 150 °C a gun reads 31 to 73 °C on it, and 149 °C on a matt black spot" in gun.text
    read = [float(str(row["measured_c"])) for row in records(section, "mold_heat")]
    assert read == temps, "readings stay what they are"
    black = timed_section([row.replace("IR gun", "IR gun on the black spot") for row in rows])
    assert not [entry for entry in black.findings if entry.more.get("said")]


def test_readings_far_below_the_heat_balance_are_suspected_and_honest_ones_are_not(demo) -> None:
    bare = [22 + 0.7 * fill for fill in range(20)]
    gun = finding(timed_section(at_pace(60, bare)), "infrared_likely", "ball")
    assert gun.more["said"] is False
    assert "far below what the metal poured must have warmed the mold to" in gun.text
    for honest in (section_of(separated()), ANALYSIS.analyse(demo().season, demo().whole)):
        assert not [entry for entry in honest.findings if entry.id == "infrared_likely"]
