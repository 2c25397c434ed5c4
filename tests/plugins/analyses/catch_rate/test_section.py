"""Catch rate: small seasons whose answer is known by hand, then the demo season against its truth."""

from pathlib import Path
from typing import Any

import pytest

from benchwater.plugin import Analysis, Section
from benchwater.statistics.rates import RatioOfTotals
from benchwater.testing import MadeSeason, finding, make_season, plugin_file, records, table
from catch_rate.catch_rates import RateContrast
from catch_rate.compute import printable_limits
from catch_rate.findings import contrast_text, rate_text
from reference_cases import worked_examples

ROOT = Path(__file__).parents[4]
ANALYSIS: Analysis = next(iter(plugin_file(ROOT / "plugins/analyses/catch_rate").analyses()))
BENCH = """
[bench]
name = "Test bench"
season = { start = "03-01" }
[defaults]
fished = "h"
[items.alloy]
kind = "metal"
[items.pearl]
kind = "coat"
[molds.ball]
material = "alloy"
[[molds.ball.cavities]]
name = "1/8"
mass = "1/8 oz"
[builds.plain]
head = { mold = "ball", cavity = "1/8" }
[builds.coated]
head = { mold = "ball", cavity = "1/8" }
coat = { item = "pearl", mass = "0.1 g" }
"""
BAITS = "date,build,fished,fate,count,trip,water,habitat\n"
FISH = "date,species,build,count,trip,water,habitat\n"


def season(baits: list[str], fish: list[str], month: str | None = None) -> MadeSeason:
    logs = {"baits.csv": BAITS + "\n".join(baits) + "\n"}
    if fish:
        logs["fish.csv"] = FISH + "\n".join(fish) + "\n"
    return make_season(BENCH, logs, month)


def whole(baits: list[str], fish: list[str]) -> Section:
    made = season(baits, fish)
    return ANALYSIS.analyse(made.season, made.whole)


def rates(section: Section, factor: str, species: str = "all") -> dict[object, tuple[object, object]]:
    """Effort and fish by group."""
    return {
        row["group"]: (row["effort_h"], row["fish"])
        for row in records(section, "cpue")
        if row["factor"] == factor and row["species"] == species
    }


@pytest.mark.parametrize(("inputs", "expected", "tol"), [case[1:] for case in worked_examples("cpue")])
def test_the_worked_examples(inputs: dict[str, Any], expected: dict[str, Any], tol: float) -> None:
    baits, fish = [], []
    for day, (hours, caught) in enumerate(inputs["trips_hours_catch"], start=1):
        baits.append(f"2026-05-{day:02d},plain,{hours} h,kept,,,Pond,")
        if caught:
            fish.append(f"2026-05-{day:02d},yellow perch,plain,{caught},,Pond,")
    found = finding(whole(baits, fish), "cpue", "all")
    assert found.value == pytest.approx(expected["ratio_of_means"], rel=tol)
    assert found.unit == "fish/h"
    assert found.n == len(inputs["trips_hours_catch"])
    assert found.low is not None
    assert found.value is not None
    assert found.low < found.value


def test_the_docstring_s_example() -> None:
    section = whole(
        ["2026-05-09,coated,1:30,kept,2,1,,", "2026-05-09,plain,2 h,kept,,1,,"],
        ["2026-05-09,yellow perch,coated,3,1,,"],
    )
    assert finding(section, "cpue", "all").value == pytest.approx(0.6)
    assert rates(section, "build") == {"coated": (3.0, 3), "plain": (2.0, 0)}
    assert rates(section, "coat") == {"pearl": (3.0, 3), "no coat": (2.0, 0)}
    assert rates(section, "all", "yellow perch") == {"all": (5.0, 3)}


def test_without_a_fish_log_there_is_no_rate_and_no_trip_without_a_fish() -> None:
    baits = [f"2026-05-{day:02d},plain,2 h,kept,,,Pond," for day in range(1, 7)]
    section = whole(baits, [])
    assert section.status == "empty"
    assert section.why.startswith("No fish log is kept.")
    made = season(baits, [])
    assert [vital.value for vital in ANALYSIS.vitals(made.season, made.whole)] == [None]  # type: ignore[misc]


def test_months_without_a_fish_are_no_fish_over_all_the_hours() -> None:
    baits = [f"2026-05-{day:02d},plain,2 h,kept,,,Pond," for day in range(1, 7)]
    section = whole(baits, ["2026-01-01,yellow perch,plain,2,,Pond,"])
    found = finding(section, "cpue", "all")
    assert section.status == "ok"
    assert (found.value, found.low) == (0.0, 0.0)
    assert found.high == pytest.approx(3.689 / 12, abs=1e-3)
    assert "6 of them without a fish" in found.text
    assert section.actions == ()


def test_a_month_s_fish_an_hour_are_those_of_its_own_days_the_first_and_last_too() -> None:
    days = ("04-30", "05-01", "05-31", "06-01")
    baits = [f"2026-{day},plain,2 h,kept,,,Pond," for day in days]
    made = season(baits, [f"2026-{day},yellow perch,plain,1,,Pond," for day in days], "2026-05")
    assert ANALYSIS.vitals is not None
    assert [(each.value, each.n) for each in ANALYSIS.vitals(made.season, made.period)] == [(0.5, 2)]


def test_a_trip_without_a_fish_lowers_the_rate_and_is_told() -> None:
    section = whole(
        ["2026-05-01,plain,2 h,kept,,,Pond,", "2026-05-02,plain,3 h,kept,,,Pond,"],
        ["2026-05-01,yellow perch,plain,5,,Pond,"],
    )
    found = finding(section, "cpue", "all")
    assert found.value == 1.0
    assert "2 trips, 1 of them without a fish" in found.text


def test_trips_of_one_day_are_told_apart_by_trip_or_by_water() -> None:
    by_trip = whole(
        ["2026-05-01,plain,2 h,kept,,dawn,Pond,", "2026-05-01,plain,2 h,kept,,dusk,Pond,"],
        ["2026-05-01,yellow perch,plain,3,Dawn,Pond,"],
    )
    by_water = whole(
        ["2026-05-01,plain,2 h,kept,,,Pond,", "2026-05-01,plain,2 h,kept,,,Reach,"],
        ["2026-05-01,yellow perch,plain,3,,pond,"],
    )
    for section in (by_trip, by_water):
        assert finding(section, "cpue", "all").n == 2
        assert "1 of them without a fish" in finding(section, "cpue", "all").text
    assert rates(by_water, "water") == {"Pond": (2.0, 3), "Reach": (2.0, 0)}


def test_a_fish_without_trip_goes_where_its_build_was_fished() -> None:
    section = whole(
        ["2026-05-01,plain,2 h,kept,,1,Pond,", "2026-05-01,coated,2 h,kept,,2,Pond,"],
        ["2026-05-01,yellow perch,coated,3,,,"],
    )
    assert rates(section, "build") == {"coated": (2.0, 3), "plain": (2.0, 0)}


@pytest.mark.parametrize(
    "fish",
    [
        "2026-05-01,yellow perch,coated,4,1,Pond,",
        "2026-05-02,yellow perch,plain,4,1,Pond,",
        "2026-05-01,yellow perch,plain,4,2,Pond,",
        "2026-05-01,yellow perch,plain,4,1,Reach,",
    ],
    ids=["build", "day", "trip", "water"],
)
def test_fish_without_hours_are_counted_in_words_and_in_no_rate(fish: str) -> None:
    section = whole(["2026-05-01,plain,2 h,kept,,1,Pond,"], [fish, "2026-05-01,yellow perch,plain,1,1,Pond,"])
    assert finding(section, "fish_without_hours").value == 4
    assert finding(section, "cpue", "all").value == 0.5


def test_habitat_tags_each_take_the_hours() -> None:
    section = whole(
        ["2026-05-01,plain,2 h,kept,,,Pond,weeds; shallow", "2026-05-01,plain,1 h,kept,,,Pond,Shallow"],
        ["2026-05-01,yellow perch,plain,2,,Pond,weeds; shallow"],
    )
    assert rates(section, "habitat") == {"weeds": (2.0, 2), "shallow": (3.0, 2)}


def test_every_group_has_its_rate_and_the_page_keeps_to_the_builds() -> None:
    section = whole(
        ["2026-05-01,plain,2 h,kept,,,Pond,weeds", "2026-05-01,coated,2 h,kept,,,Pond,weeds"],
        ["2026-05-01,yellow perch,plain,2,,Pond,weeds"],
    )
    found = {entry.group: entry.quiet for entry in section.findings if entry.id == "cpue"}
    loud, quiet = ("all", "plain", "coated"), ("Pond", "weeds", "pearl", "no coat")
    assert found == dict.fromkeys(loud, False) | dict.fromkeys(quiet, True)


def test_names_of_one_fish_are_one_species() -> None:
    section = whole(
        ["2026-05-01,plain,2 h,kept,,,Pond,"],
        ["2026-05-01,Yellow Perch,plain,2,,Pond,", "2026-05-01,perca flavescens,plain,1,,Pond,"],
    )
    assert rates(section, "all", "Yellow Perch") == {"all": (2.0, 3)}


def side_by_side(trips: int, first: int, second: int) -> tuple[list[str], list[str]]:
    """Each trip 2 h of either build, catching so many."""
    baits, fish = [], []
    for day in range(1, trips + 1):
        for build, caught in (("plain", first), ("coated", second)):
            baits.append(f"2026-05-{day:02d},{build},2 h,kept,,,Pond,")
            if caught:
                fish.append(f"2026-05-{day:02d},yellow perch,{build},{caught + day % 2},,Pond,")
    return baits, fish


def test_a_supported_difference_is_said_and_acted_on() -> None:
    section = whole(*side_by_side(9, 5, 1))
    (row,) = records(section, "contrasts")
    assert (row["factor"], row["group"], row["against"]) == ("build", "plain", "coated")
    assert row["p"] == row["p_adjusted"] == 2 / 512
    assert isinstance(row["low"], float)
    assert row["low"] > 1
    said = finding(section, "difference")
    assert said.text.startswith(
        "On the trips that used both, plain caught about 3.6 times as many fish per hour"
    )
    assert "are clear" not in said.text
    assert (said.low, said.level) == (row["adjusted_low"], row["level"])
    assert said.more["p_adjusted"] == row["p_adjusted"]
    (action,) = section.actions
    assert (action.id, action.worth, action.holds) == ("fish-more-plain", None, False)
    assert action.text == (
        "Fish more of plain: in April and May it caught 50 fish in 18 hours, all other baits 14 in 18 hours."
    )


def test_a_month_alone_gives_no_advice() -> None:
    made = season(*side_by_side(9, 5, 1), "2026-05")
    assert not ANALYSIS.analyse(made.season, made.period).actions
    assert ANALYSIS.analyse(made.season, made.whole).actions


def test_a_bait_that_one_angler_alone_fished_is_not_advised() -> None:
    baits, fish = side_by_side(9, 5, 1)
    by = {"plain": "Orrin", "coated": "Tamsin"}
    logs = {
        "baits.csv": "date,build,fished,fate,count,trip,water,habitat,angler\n"
        + "".join(f"{row},{by[row.split(',')[1]]}\n" for row in baits),
        "fish.csv": "date,species,build,count,trip,water,habitat,angler\n"
        + "".join(f"{row},{by[row.split(',')[2]]}\n" for row in fish),
    }
    made = make_season(BENCH, logs)
    section = ANALYSIS.analyse(made.season, made.whole)
    assert finding(section, "difference").more["confounded_by"] == "angler"
    assert "so it may be the angler" in finding(section, "difference").text
    assert section.actions == ()


def test_a_row_of_fifty_thousand_fish_is_asked_about_and_in_no_rate() -> None:
    baits, fish = side_by_side(9, 5, 1)
    section = whole(baits, [*fish, "2026-05-03,yellow perch,coated,50000,,Pond,"])
    odd = finding(section, "odd_count")
    assert odd.value == 50_000
    assert "it says 50000 fish in one row. Until it is put right, they are in no rate" in odd.text
    assert finding(section, "cpue", "all").value == finding(whole(baits, fish), "cpue", "all").value


def test_the_card_has_the_best_day_and_the_bait_of_the_season() -> None:
    (card,) = whole(*side_by_side(9, 5, 1)).cards
    assert (card.id, card.order) == ("best", 60)
    assert [(line.label, line.text) for line in card.lines] == [
        ("Best day", "1 May: 8 fish in 4 hours"),
        ("Bait of the season", "plain: 50 fish in 18 hours"),
    ]


def test_an_unsupported_difference_gives_no_advice() -> None:
    section = whole(*side_by_side(9, 1, 1))
    assert "No build and no water clearly caught more" in finding(section, "difference").text
    assert section.actions == ()


def test_five_trips_are_enough_to_tell_but_not_to_compare() -> None:
    section = whole(*side_by_side(5, 9, 0))
    assert section.status == "ok"
    assert records(section, "contrasts") == []
    assert "enough trips" in finding(section, "difference").text
    assert section.actions == ()


def test_few_trips_are_thin_and_give_no_advice() -> None:
    section = whole(*side_by_side(4, 9, 0))
    assert section.status == "thin"
    assert section.actions == ()
    assert not [entry for entry in section.findings if entry.id == "difference"]
    assert finding(section, "cpue", "plain").value == pytest.approx(38 / 8)


def test_days_without_hours_are_empty_and_fish_there_are_told() -> None:
    baits = ["2026-04-01,plain,2 h,kept,,,Pond,"]
    idle = season(baits, ["2026-04-01,yellow perch,plain,1,,Pond,"], "2026-05")
    section = ANALYSIS.analyse(idle.season, idle.period)
    assert (section.status, section.why) == ("empty", "No hours of fishing were logged in these days.")
    lone = season(baits, ["2026-05-01,yellow perch,plain,3,,Pond,"])
    assert "3 fish were" in ANALYSIS.analyse(lone.season, lone.period).why


def test_the_contract_s_columns() -> None:
    section = whole(*side_by_side(6, 2, 1))
    names = [column.name for column in table(section, "cpue").columns]
    assert names == ["factor", "group", "species", "effort_h", "fish", "rate", "low", "high"]
    names = [column.name for column in table(section, "contrasts").columns]
    assert names[:8] == ["factor", "group", "against", "ratio", "low", "high", "p", "p_adjusted"]


# --- the demo season -------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def sections(demo) -> tuple[Section, Section]:
    made = demo()
    return ANALYSIS.analyse(made.season, made.period), ANALYSIS.analyse(made.season, made.whole)


def test_the_demo_s_best_build_is_found(truth, sections) -> None:
    _, section = sections
    best = truth["catch"]["best_build"]
    said = finding(section, "difference")
    assert said.group == best
    assert said.text.startswith(f"On the trips that used both, {best} caught about 3")
    assert said.more["confounded_by"] is None
    assert [action.id for action in section.actions] == [f"fish-more-{best}"]


def test_the_demo_s_trips_hours_and_fish_are_those_drawn(truth, sections) -> None:
    _, section = sections
    found = finding(section, "cpue", "all")
    assert found.n == truth["trips"]
    assert f"{len(truth['zero_trips'])} of them without a fish" in found.text
    drawn = truth["catch"]["drawn"]
    for build, (hours, fish) in rates(section, "build").items():
        assert fish == drawn[build]["fish"]
        assert hours == pytest.approx(drawn[build]["hours"], abs=0.01)


def test_the_demo_s_true_rates_lie_within_the_limits(truth, sections) -> None:
    _, section = sections
    for build, rate in truth["catch"]["fish_per_hour"].items():
        found = finding(section, "cpue", build)
        assert found.low is not None
        assert found.low <= rate
        assert found.high is None or rate <= found.high


@pytest.mark.parametrize("part", [0, 1])
def test_the_demo_s_fish_add_up_to_the_log(part: int, demo, sections) -> None:
    made = demo()
    span = (made.period, made.whole)[part]
    logged = int(made.season.rows("catch", span)["count"].sum())
    for factor in ("all", "build"):
        rows = [row for row in records(sections[part], "cpue") if row["factor"] == factor]
        for wanted in (
            [row for row in rows if row["species"] == "all"],
            [r for r in rows if r["species"] != "all"],
        ):
            assert sum(int(str(row["fish"])) for row in wanted) == logged


def test_the_demo_says_the_same_twice(demo, sections) -> None:
    made = demo()
    again = (ANALYSIS.analyse(made.season, made.period), ANALYSIS.analyse(made.season, made.whole))
    assert again == sections


def test_rows_set_aside_that_could_decide_the_rate_bound_it_and_advise_nothing() -> None:
    baits = [f"2026-05-{day:02},plain,2,kept,2,,," for day in range(1, 11)]
    fish = [f"2026-05-{day:02},walleye,plain,4,,," for day in range(1, 11)]
    lost = [f"2026-05-{day:02},plain,4,glorped,5,,," for day in range(1, 11)]
    logs = {"baits.csv": BAITS + "\n".join([*baits, *lost]), "fish.csv": FISH + "\n".join(fish)}
    made = make_season(BENCH, logs, rows_may_be_set_aside=True)
    section = ANALYSIS.analyse(made.season, made.whole)
    rate = finding(section, "cpue", "all")
    assert rate.more["bound_low"] == pytest.approx(40 / 240)
    assert rate.more["bound_high"] == rate.value == pytest.approx(1.0)
    assert section.status == "thin"
    assert "could put the rate anywhere from 0.17 to 1 fish an hour" in section.why
    assert "10 rows count" in section.why
    assert section.actions == ()
    assert ANALYSIS.vitals is not None
    assert ANALYSIS.vitals(made.season, made.whole)[0].value is None
    clean = whole(baits, fish)
    assert (clean.status, "bound_low" in finding(clean, "cpue", "all").more) == ("ok", False)


@pytest.mark.parametrize(
    ("ratio", "low", "high", "said"),
    [
        (4.0, 1.3, 13.0, "about 4 times as many fish per hour as b (somewhere between 1.3 and 13)."),
        (4.0, 1.2, 12.1, "at least 1.2 times as many fish per hour as b."),
        (4.0, 1.19, 12.1, "more fish per hour than b."),
        (4.0, 0.0, 12.1, "more fish per hour than b."),
    ],
)
def test_a_ratio_is_said_as_far_as_its_limits_go(ratio: float, low: float, high: float, said: str) -> None:
    row = RateContrast("build", "a", "b", ratio, low, high, 0.01, 0.01, 9, 0.05, low, high)
    assert contrast_text(row) == f"On the trips that used both, a caught {said}"
    assert contrast_text(row._replace(factor="water")) == f"a caught {said}"


def test_a_rate_is_said_to_the_figures_that_its_limits_leave() -> None:
    assert rate_text(1.94, 0.5, 5.0) == ", 1.9 an hour (0.5 to 5.0)"
    assert rate_text(0.416, 0.26, 0.699) == ", 0.42 an hour (0.26 to 0.70)"
    assert rate_text(12.3, 11.8, 12.9) == ", 12 an hour (12 to 13)"
    assert rate_text(12.3, 12.26, 12.34) == ", 12.30 an hour (12.26 to 12.34)"
    assert rate_text(1.0, 0.4, 4.1) == rate_text(1.0, 0.0, 2.0) == rate_text(1.0, 0.4, None) == ""
    assert rate_text(0.0, 0.0, 0.312) == ", at most 0.31 an hour"


def test_limits_a_hundred_times_off_are_not_printed_and_closer_ones_are() -> None:
    def limits(low: float, high: float) -> tuple[float, float | None]:
        return printable_limits(RatioOfTotals(ratio=2.0, low=low, high=high, units=3, total_y=4, total_x=2))

    assert limits(0.021, 199.0) == (0.021, 199.0)
    assert limits(0.02, 200.0) == (0.0, None)
