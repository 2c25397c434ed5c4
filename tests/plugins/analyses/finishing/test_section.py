"""Finishing: small seasons whose answer is known by hand, then the demo season against its truth."""

from datetime import date
from pathlib import Path

import pytest

from benchwater.plugin import Action, Analysis, Section
from benchwater.statistics.proportions import wilson_interval
from benchwater.testing import MadeSeason, finding, make_season, plugin_file, records, table
from benchwater.words import day_words

ROOT = Path(__file__).parents[4]
ANALYSIS: Analysis = next(iter(plugin_file(ROOT / "plugins/analyses/finishing").analyses()))
BENCH = """
[bench]
name = "Test bench"
units = "us"
season = { start = "03-01" }
[items.alloy]
kind = "metal"
melts = "252 degC"
[items.soft]
kind = "metal"
melts = "138 degC"
[items.unknown]
kind = "metal"
[items.pearl]
kind = "coat"
unit = "g"
scale = { resolution = "1 g" }
cure = { min_temp = "350 degF", max_temp = "410 degF", min_time = "15 min", max_time = "30 min" }
[items.plain]
kind = "coat"
unit = "g"
[molds.ball]
material = "alloy"
[[molds.ball.cavities]]
name = "1/8"
mass = "1/8 oz"
[molds.pea]
material = "soft"
[[molds.pea.cavities]]
name = "1/16"
mass = "1.3 g"
[molds.odd]
material = "unknown"
[[molds.odd.cavities]]
name = "1/8"
mass = "1/8 oz"
[builds.grub]
head = { mold = "ball", cavity = "1/8" }
coat = { item = "pearl", mass = "0.15 g" }
"""
BRIGHT = """
[builds.bright]
head = { mold = "pea", cavity = "1/16" }
coat = { item = "pearl", mass = "0.10 g" }
"""
HEADER = "date,mold,cavity,coat,count,part_temp,cure_temp,cure_time,rejects,flaw\n"
GOOD = "2026-05-{day:02d},ball,1/8,pearl,10,320 F,375 F,20 min,{rejects},{flaw}\n"


def made(rows: str, inventory: str = "", bench: str = BENCH) -> MadeSeason:
    logs = {"coating.csv": HEADER + rows}
    if inventory:
        logs["stock.csv"] = "date,item,move,amount\n" + inventory
    return make_season(bench, logs, month="2026-05")


def season_part(season: MadeSeason) -> Section:
    return ANALYSIS.analyse(season.season, season.whole)


def good(days: int, rejects: int = 0, flaw: str = "") -> str:
    return "".join(GOOD.format(day=day, rejects=rejects, flaw=flaw) for day in range(1, days + 1))


def ids(section: Section) -> list[str]:
    return [each.id for each in section.findings]


def actions(section: Section) -> dict[str, Action]:
    return {each.id: each for each in section.actions}


@pytest.mark.parametrize(
    ("temp", "time", "verdict"),
    [
        ("375 F", "20 min", "in the window"),
        ("350 F", "15 min", "in the window"),
        ("410 F", "30 min", "in the window"),
        ("340 F", "20 min", "too cool"),
        ("420 F", "20 min", "too hot"),
        ("375 F", "10 min", "too short"),
        ("375 F", "40 min", "too long"),
        ("", "20 min", "not recorded"),
        ("375 F", "", "not recorded"),
    ],
)
def test_each_batch_is_judged_in_words(temp, time, verdict):
    section = season_part(made(f"2026-05-02,ball,1/8,pearl,10,,{temp},{time},,\n"))
    (row,) = records(section, "batches")
    assert row["verdict"] == verdict
    assert row["cure_min"] == (pytest.approx(float(time.split()[0])) if time else None)


def test_batches_have_the_columns_of_the_contract():
    section = season_part(made(good(1)))
    names = [column.name for column in table(section, "batches").columns]
    assert names == ["date", "coat", "count", "cure_temp_c", "cure_min", "verdict"]


def test_the_share_counts_batches_and_says_which_were_outside():
    rows = good(5) + "2026-05-09,ball,1/8,pearl,3,,375 F,8 min,,\n"
    share = finding(season_part(made(rows)), "cure_in_window")
    expected = wilson_interval(5, 6)
    assert (share.value, share.low, share.high, share.n) == (
        expected.estimate,
        expected.low,
        expected.high,
        6,
    )
    assert share.more == {"pieces": 53, "pieces_in_window": 50}
    assert "9 May: 3 pearl on ball 1/8, too short (375 °F, 8 min)" in share.text


def test_a_coat_without_a_window_is_not_judged_and_said_so():
    section = season_part(made("2026-05-02,ball,1/8,plain,10,,375 F,20 min,,\n"))
    assert section.status == "thin"
    assert finding(section, "cure_in_window").value is None
    assert finding(section, "no_window").group == "plain"
    assert records(section, "batches")[0]["verdict"] == "no window stated"


def test_few_batches_are_thin_and_give_no_advice():
    section = season_part(made(good(3, 2, "blocked guard hole")))
    assert section.status == "thin"
    assert "3 of 3 batches" in section.why
    assert section.actions == ()
    assert finding(section, "blocked_guard_holes").value == 6


def test_no_batch_in_the_span_is_empty():
    season = make_season(BENCH, {"coating.csv": HEADER + good(2)}, month="2026-06")
    assert ANALYSIS.analyse(season.season, season.period).status == "empty"


def test_a_cure_that_melts_the_head_is_urgent_even_once_and_even_in_the_coats_window():
    section = season_part(made("2026-05-02,pea,1/16,pearl,6,,350 F,20 min,6,other\n"))
    assert section.status == "ok"
    assert records(section, "batches")[0]["verdict"] == "in the window"
    softened = finding(section, "heads_softened")
    assert (softened.value, softened.n) == (6, 1)
    (action,) = section.actions
    assert action.urgent
    assert "pea" in action.because


def test_batches_are_named_the_latest_first():
    rows = "".join(f"2026-05-0{day},pea,1/16,pearl,6,,350 F,20 min,6,other\n" for day in (2, 3))
    (action,) = season_part(made(rows)).actions
    assert (
        "Cured so in April and May: 3 May: 6 pearl on pea 1/16 (350 °F, 20 min); 2 May: 6" in action.because
    )


@pytest.mark.parametrize(("temp", "warned"), [("241 C", False), ("243 C", True), ("253 C", True)])
def test_the_margin_below_melting_counts_as_too_hot(temp, warned):
    section = season_part(made(f"2026-05-02,ball,1/8,pearl,6,,{temp},20 min,,\n"))
    assert ("heads_softened" in ids(section)) == warned


def test_a_planned_build_that_cannot_take_its_cure_is_warned_of_once():
    season = made(good(1), bench=BENCH + BRIGHT)
    whole = season_part(season)
    assert "bright" in finding(whole, "planned_cure").text
    assert whole.actions[0].urgent
    assert "planned_cure" not in ids(ANALYSIS.analyse(season.season, season.period))


def test_an_alloy_whose_melting_the_bench_does_not_state_is_said_not_guessed():
    section = season_part(made("2026-05-02,odd,1/8,pearl,6,,400 F,20 min,,\n"))
    assert finding(section, "melting_not_known").group == "unknown"
    assert "heads_softened" not in ids(section)


def test_blocked_guard_holes_are_counted_and_advice_names_the_mold():
    none_bad = GOOD.format(day=9, rejects=0, flaw="blocked guard hole")
    section = season_part(made(good(5, 2, "blocked guard hole") + none_bad))
    found = finding(section, "blocked_guard_holes")
    assert (found.value, found.n) == (10, 5)
    assert "ball" in actions(section)["clear-guard-holes"].text
    assert "10 of the 60" in actions(section)["clear-guard-holes"].because
    assert "Never burn or drill" in actions(section)["clear-guard-holes"].because


def test_the_headline_is_the_worst_fact() -> None:
    def headline(rows: str) -> str:
        (found,) = [each for each in season_part(made(rows)).findings if each.headline]
        return found.id

    melted = "2026-05-09,pea,1/16,pearl,6,,350 F,20 min,6,other\n"
    assert headline(good(5)) == "cure_in_window"
    assert headline(good(5, 1, "sag")) == "cure_in_window", "as many as the bench aims at"
    assert headline(good(5, 2, "sag")) == "coat_rejects"
    assert headline(good(5, 2, "sag") + melted) == "heads_softened"


def test_advice_counts_recent_months_and_holds_once_they_follow_it() -> None:
    early = good(5, 2, "blocked guard hole").replace("2026-05", "2026-03")
    early += "2026-03-09,ball,1/8,pearl,3,,375 F,8 min,,\n"
    found = actions(season_part(made(early + good(6))))
    assert {id: each.holds for id, each in found.items()} == {"cure-window": True, "clear-guard-holes": True}
    assert "All of 6 batches in April and May were inside" in found["cure-window"].because
    assert found["clear-guard-holes"].worth is None
    found = actions(season_part(made(early + good(6, 3, "blocked guard hole"))))
    assert not found["clear-guard-holes"].holds
    assert (found["clear-guard-holes"].worth, found["clear-guard-holes"].worth_unit) == (18, "baits")
    assert "18 of the 60 that were coated in April and May" in found["clear-guard-holes"].because


def test_coat_per_piece_comes_from_the_counts_and_is_held_against_the_plan():
    stock = "2026-05-01,pearl,counted,100 g\n2026-05-10,pearl,received,20 g\n"
    stock += "2026-05-12,pearl,discarded,5 g\n2026-05-31,pearl,counted,105 g\n"
    season = made(good(5), stock)
    used = finding(ANALYSIS.analyse(season.season, season.period), "coat_per_piece")
    assert used.value == pytest.approx((100 + 20 - 5 - 105) / 50)
    spread = 2 * (3 / 12) ** 0.5 / 50  # two counts and what was discarded; a purchase is exact
    assert (used.low, used.high) == (pytest.approx(0.2 - spread), pytest.approx(0.2 + spread))
    assert used.more["planned"] == pytest.approx(0.15)
    assert (used.n, used.group) == (50, "pearl")
    assert "more than the planned 0.15 g/piece" in used.text


def test_a_jar_that_grew_is_told_and_no_plan_is_not_held_against():
    grew = "2026-05-01,pearl,counted,100 g\n2026-05-31,pearl,counted,104 g\n"
    assert "a count is off" in finding(season_part(made(good(5), grew)), "coat_per_piece").text
    same = grew.replace("104 g", "100 g")
    assert "a count is off" in finding(season_part(made(good(5), same)), "coat_per_piece").text
    rows = "2026-05-02,pea,1/16,pearl,10,,375 F,20 min,,\n"
    less = "2026-05-01,pearl,counted,100 g\n2026-05-31,pearl,counted,99 g\n"
    used = finding(season_part(made(rows, less)), "coat_per_piece")
    assert used.more["planned"] is None
    assert "does not plan" in used.text


def test_without_counts_coat_per_piece_is_not_said():
    assert "coat_per_piece" not in ids(season_part(made(good(5), "2026-05-02,pearl,received,20 g\n")))
    assert "coat_per_piece" not in ids(season_part(made(good(5))))


def test_flaws_of_dipping_are_told_by_the_temperature_of_the_piece():
    cold = "".join(f"2026-05-0{n},ball,1/8,pearl,10,290 F,375 F,20 min,4,bare spot\n" for n in range(1, 5))
    warm = "".join(f"2026-05-1{n},ball,1/8,pearl,10,330 F,375 F,20 min,0,\n" for n in range(1, 5))
    section = season_part(made(cold + warm))
    bare = [row for row in records(section, "by_part_temp") if row["flaw"] == "bare spot"]
    assert [(row["pieces"], row["rejects"]) for row in bare] == [(40, 16), (40, 0)]
    assert bare[0]["low_c"] == pytest.approx((280 - 32) / 1.8)
    expected = wilson_interval(16, 40)
    assert (bare[0]["low"], bare[0]["high"]) == (pytest.approx(expected.low), pytest.approx(expected.high))
    trend = finding(section, "flaw_trend", "bare spot")
    assert trend.value is not None
    assert trend.value < 0.001
    assert "cooler pieces" in trend.text


def test_too_few_part_temperatures_give_no_table():
    assert [each.id for each in season_part(made(good(5))).tables] == ["batches"]


@pytest.fixture(scope="module")
def section(demo) -> Section:
    return ANALYSIS.analyse(demo().season, demo().whole)


def test_the_demo_finds_the_under_cured_and_the_over_hot_batch(truth, section):
    told = truth["finishing"]
    off = {row["verdict"]: row for row in records(section, "batches") if row["verdict"] != "in the window"}
    assert set(off) == {"too short", "too hot"}
    assert str(off["too short"]["date"]) == told["undercured"]["date"]
    assert off["too short"]["cure_min"] == pytest.approx(told["undercured"]["cure_min"])
    assert str(off["too hot"]["date"]) == told["over_hot"]["date"]
    assert off["too hot"]["cure_temp_c"] == pytest.approx((told["over_hot"]["cure_f"] - 32) / 1.8)
    assert (finding(section, "cure_in_window").value, finding(section, "cure_in_window").n) == (32 / 34, 34)


def test_the_demo_warns_of_tin_bismuth_heads_cured_and_planned(demo, truth, section):
    softened = truth["finishing"]["softened"]
    text = finding(section, "heads_softened").text
    assert day_words(date.fromisoformat(softened["date"]), date(2026, 11, 1)) in text
    assert softened["mold"] in text
    assert "pea-bright" in finding(section, "planned_cure").text
    urgent = [each for each in section.actions if each.urgent]
    assert [each.id for each in urgent] == ["cure-melts-heads"]
    july = demo("2026-07")
    (headline,) = [each for each in ANALYSIS.analyse(july.season, july.period).findings if each.headline]
    assert "6 heads were cured so hot" in headline.text


def test_the_demo_used_what_it_planned_to(section):
    for coat in ("chartreuse", "pearl"):
        used = finding(section, "coat_per_piece", coat)
        assert used.low is not None
        assert used.high is not None
        assert used.low <= float(str(used.more["planned"])) <= used.high


def test_same_input_same_section(demo, section):
    assert ANALYSIS.analyse(demo().season, demo().whole) == section


def test_a_planned_build_that_stands_the_coolest_cure_of_its_coat_is_not_warned_of():
    between = (BENCH + BRIGHT).replace("138 degC", "200 degC")  # the window is from 177 to 210 degC
    assert "planned_cure" not in ids(season_part(made(good(1), bench=between)))
