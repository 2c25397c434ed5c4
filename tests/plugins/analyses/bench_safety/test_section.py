"""Bench safety: small seasons whose answer is known by hand, then the demo season against its truth."""

from datetime import date
from pathlib import Path

import pytest

from benchwater.plugin import Analysis, Season, Section
from benchwater.testing import MadeSeason, finding, make_season, plugin_file, records, table
from reference_cases import worked_examples

ROOT = Path(__file__).parents[4]
ANALYSIS: Analysis = next(iter(plugin_file(ROOT / "plugins/analyses/bench_safety").analyses()))
BENCH = """
[bench]
name = "Test bench"
units = "metric"
season = { start = "03-01" }
[items.alloy]
kind = "metal"
[items.soft]
kind = "metal"
melts = "138 degC"
[items.clear]
kind = "plastic"
[items.pearl]
kind = "coat"
unit = "g"
cure = { min_temp = "175 degC", max_temp = "210 degC", min_time = "15 min", max_time = "30 min" }
[molds.ball]
material = "alloy"
[[molds.ball.cavities]]
name = "1/8"
mass = "3.5 g"
[molds.pea]
material = "soft"
[[molds.pea.cavities]]
name = "1/16"
mass = "1.3 g"
[molds.grub]
material = "clear"
[[molds.grub.cavities]]
name = "grub"
mass = "1.2 g"
"""
BRIGHT = """
[builds.bright]
head = { mold = "pea", cavity = "1/16" }
coat = { item = "pearl", mass = "0.10 g" }
"""
STANDING = ["exceedances", "cautions", "published_limits", "tackle_rules"]


def made(pour: str = "", coating: str = "", bench: str = BENCH) -> MadeSeason:
    logs = {}
    if pour:
        logs["pour.csv"] = "date,mold,cavity,outcome,fill,melt_temp,material,session\n" + pour
    if coating:
        logs["coating.csv"] = "date,mold,cavity,coat,count,cure_temp,cure_time\n" + coating
    return make_season(bench, logs, month="2026-05")


def season_part(season: MadeSeason) -> Section:
    return ANALYSIS.analyse(season.season, season.whole)


def melt(temp: str, day: str = "2026-05-02", mold: str = "ball,1/8", fill: int = 1, session: str = "") -> str:
    return f"{day},{mold},good,{fill},{temp},,{session}\n"


def test_it_is_printed_even_when_nothing_was_logged():
    season = made()
    section = season_part(season)
    assert section.status == "ok"
    assert [each.id for each in section.tables] == STANDING
    assert finding(section, "over_limit").value is None
    assert finding(section, "hottest_melt").value is None
    assert ANALYSIS.needs == ()


def test_it_is_printed_even_when_no_plugin_reads_the_logs():
    whole = made().whole
    section = ANALYSIS.analyse(Season(made().season.bench, {}, whole.start, whole.end), whole)
    assert section.status == "ok"


def test_the_standing_tables_are_printed_once_a_report():
    season = made(melt("400 C"))
    period = ANALYSIS.analyse(season.season, season.period)
    assert [each.id for each in period.tables] == ["exceedances"]
    assert "lead_vapour_bound" not in [each.id for each in period.findings]


@pytest.mark.parametrize(
    ("temp", "limit"),
    [
        ("450 C", None),
        ("842 F", None),
        ("451 C", 450.0),
        ("482 C", 450.0),
        ("900 F", 450.0),
        ("901 F", 482.222),
    ],
)
def test_a_melt_is_held_against_the_highest_limit_it_passed(temp, limit):
    section = season_part(made(melt(temp)))
    limits = [row["limit"] for row in records(section, "exceedances")]
    assert limits == ([] if limit is None else [pytest.approx(limit, abs=0.001)])
    assert [each.id for each in section.actions if each.urgent] == (["melt-too-hot"] if limit else [])


def test_a_session_counts_once_with_its_hottest_reading():
    rows = melt("455 C") + melt("470 C", fill=2) + melt("460 C", session="evening")
    section = season_part(made(rows))
    assert [(row["what"], row["value"]) for row in records(section, "exceedances")] == [
        ("melt of alloy", pytest.approx(470)),
        ("melt of alloy, evening", pytest.approx(460)),
    ]
    assert finding(section, "over_limit").value == 2
    assert finding(section, "over_limit").n == 2


def test_the_columns_are_those_of_the_contract():
    names = [column.name for column in table(season_part(made()), "exceedances").columns]
    assert names == ["date", "what", "value", "limit", "held_at", "source"]


def test_what_was_really_poured_decides_which_limit_holds():
    row = "2026-05-02,ball,1/8,good,1,200 C,clear,\n"
    section = season_part(made(row))
    (over,) = records(section, "exceedances")
    assert (over["limit"], over["source"]) == (190.0, "common practice, no published source")
    assert finding(section, "hottest_melt").value is None
    assert finding(section, "hottest_plastic").value == pytest.approx(200)
    assert [(each.id, each.urgent) for each in section.actions] == [("plastic-too-hot", False)]


def test_plastic_at_its_ceiling_is_not_over_it():
    assert records(season_part(made(melt("190 C", mold="grub,grub"))), "exceedances") == []


def test_ovens_are_held_against_the_coat_and_against_the_head():
    rows = "2026-05-02,ball,1/8,pearl,4,230 C,20 min\n2026-05-03,pea,1/16,pearl,4,180 C,20 min\n"
    over = records(season_part(made(coating=rows)), "exceedances")
    assert [(row["date"], row["value"], row["limit"]) for row in over] == [
        (date(2026, 5, 2), pytest.approx(230), pytest.approx(210)),
        (date(2026, 5, 3), pytest.approx(180), pytest.approx(128)),
    ]
    assert all("bench.toml" in str(row["source"]) for row in over)


def test_a_planned_cure_that_melts_heads_is_warned_of_where_no_finishing_section_can():
    urgent = [each.id for each in season_part(made(bench=BENCH + BRIGHT)).actions if each.urgent]
    assert urgent == ["cure-melts-heads"]
    coated = made(coating="2026-05-02,ball,1/8,pearl,4,180 C,20 min\n", bench=BENCH + BRIGHT)
    assert season_part(coated).actions == ()


def test_the_hottest_melt_has_its_date_and_says_how_many_sessions_have_none():
    rows = melt("400 C") + melt("420 C", day="2026-05-03") + melt("", day="2026-05-04")
    hottest = finding(season_part(made(rows)), "hottest_melt")
    assert (hottest.value, hottest.n) == (pytest.approx(420), 2)
    assert hottest.more["date"] == date(2026, 5, 3)
    assert "In 1 of 3 sessions none was written down" in hottest.text


@pytest.mark.parametrize(("name", "inputs", "expected", "tolerance"), worked_examples("lead_vapour"))
def test_the_vapour_bound_is_that_of_the_worked_examples_and_never_calls_anything_safe(
    name, inputs, expected, tolerance
):
    bound = finding(season_part(made(melt(f"{inputs['T_C']} C"))), "lead_vapour_bound")
    assert bound.value == pytest.approx(expected["ug_m3"], rel=tolerance), name
    assert "Nobody measured what was breathed" in bound.text
    assert "Whether alloy holds lead is not said" in bound.text
    assert "safe below" not in bound.text
    assert bound.quiet, "beside a published limit it would read as a pass"


def test_a_melt_too_cool_for_molten_lead_gives_no_vapour_bound():
    section = season_part(made(melt("210 C", mold="pea,1/16")))
    assert "lead_vapour_bound" not in [each.id for each in section.findings]


def test_time_at_the_pot_is_known_only_from_clock_times():
    unknown = finding(season_part(made(melt("400 C") + melt("400 C", fill=2))), "time_at_pot")
    assert unknown.value is None
    assert unknown.more == {"metal_sessions": 1, "metal_fills": 2, "plastic_sessions": 0, "plastic_fills": 0}
    rows = melt("400 C", day="2026-05-02 09:00") + melt("400 C", day="2026-05-02 11:30", fill=2)
    known = finding(season_part(made(rows)), "time_at_pot")
    assert known.value == pytest.approx(2.5)


def test_local_rules_are_examples_and_no_verdict():
    rules = table(season_part(made()), "tackle_rules")
    assert "check your own" in rules.title
    assert "this report never does" in rules.note
    assert all(row[-2] for row in rules.rows)


def test_who_is_to_be_asked_is_said():
    (row,) = [row for row in records(season_part(made()), "cautions") if row["about"] == "Who decides"]
    assert "doctor" in str(row["what"])
    assert "local authority" in str(row["what"])


@pytest.fixture(scope="module")
def section(demo) -> Section:
    return ANALYSIS.analyse(demo().season, demo().whole)


def test_the_demo_finds_the_melts_over_their_limits_and_no_other(truth, section):
    melts = [row for row in records(section, "exceedances") if str(row["what"]).startswith("melt")]
    assert [str(row["date"]) for row in melts] == truth["melt_over_842_f"]
    assert [str(row["date"]) for row in melts if float(str(row["limit"])) > 460] == truth["melt_over_900_f"]
    assert str(finding(section, "hottest_melt").more["date"]) == truth["melt_over_900_f"][0]
    (advice,) = section.actions
    assert advice.id == "melt-too-hot"
    assert "840 °F" in advice.text
    assert "project choice" not in f"{advice.text} {advice.because}", "that belongs to the appendix"


def test_the_demo_finds_the_ovens_that_were_too_hot(truth, section):
    ovens = [row for row in records(section, "exceedances") if str(row["what"]).startswith("oven")]
    told = truth["finishing"]
    assert {str(row["date"]) for row in ovens} == {told["over_hot"]["date"], told["softened"]["date"]}
    assert [(each.group, each.value) for each in section.findings if each.id == "over_limit"] == [
        ("melt", 3),
        ("plastic", 0),
        ("oven", 2),
    ]


def test_a_month_of_the_demo_tells_that_month_alone(demo):
    made = demo("2026-07")
    period, whole = (ANALYSIS.analyse(made.season, span) for span in (made.period, made.whole))
    assert {str(row["date"])[:7] for row in records(period, "exceedances")} == {"2026-07"}
    assert len(records(whole, "exceedances")) == 3


def test_sessions_and_batches_are_each_counted_among_their_own() -> None:
    pour = melt("455 C") + melt("400 C", fill=2) + melt("400 C", day="2026-05-03")
    coating = "2026-05-02,pea,1/16,pearl,4,230 C,20 min\n"
    section = season_part(made(pour, coating))
    counts = {each.group: (each.value, each.n) for each in section.findings if each.id == "over_limit"}
    assert counts == {"melt": (1, 2), "oven": (1, 1)}, "a batch over two limits is one batch"
    assert [each.group for each in section.findings if each.headline] == ["oven"]


def test_advice_holds_once_recent_months_were_cooler() -> None:
    late, early = melt("400 C"), melt("460 C", day="2026-03-03")
    (advice,) = season_part(made(early + late)).actions
    assert (advice.id, advice.holds, advice.urgent) == ("melt-too-hot", True, False)
    assert "Not since, in April and May" in advice.because
    (advice,) = season_part(made(early + melt("460 C"))).actions
    assert (advice.holds, advice.urgent) == (False, True)
    assert "once" in advice.because, "it counts recent months"


def test_the_cautions_are_on_a_card_whatever_the_logs_hold() -> None:
    (card,) = season_part(made()).cards
    assert (card.id, card.order, card.warning, card.wide) == ("warnings", 10, True, True)
    labels = [line.label for line in card.lines]
    assert {"Water", "Eyes and skin", "Children", "Coated heads", "Hot plastic"} <= set(labels)
    assert max(len(line.text) for line in card.lines) < 92, "one line each"
    assert "source" not in " ".join(line.text for line in card.lines if line.label != "More")


@pytest.mark.parametrize(
    ("item", "said"),
    [
        ('[items.lead]\nkind = "metal"', "yes: wash hands"),
        ('[items.soft-lead]\nkind = "metal"', "yes: wash hands"),
        ('[items.metal]\nkind = "metal"\nlead = true', "yes: wash hands"),
        ('[items."lead-free"]\nkind = "metal"', "none in lead-free"),
        ('[items.tin]\nkind = "metal"\nlead = false', "none in tin"),
        ('[items.leaded]\nkind = "metal"', "not said: treat the metal as lead"),
    ],
)
def test_the_card_of_a_mold_says_whether_its_metal_is_lead(item, said) -> None:
    name = item.partition("]")[0].removeprefix("[items.").strip('"')
    bench = BENCH.replace('[molds.ball]\nmaterial = "alloy"', f'{item}\n[molds.ball]\nmaterial = "{name}"')
    cards = season_part(made(melt("470 C"), bench=bench)).cards
    (line,) = next(card for card in cards if card.id == "mold:ball").lines
    assert said in line.text
    vapour = [each.text for each in season_part(made(melt("470 C"), bench=bench)).findings if each.quiet]
    assert len(vapour) == ("none" not in said)
    assert not any("If" in text for text in vapour if "is lead" in said)


def test_same_input_same_section(demo, section):
    assert ANALYSIS.analyse(demo().season, demo().whole) == section
