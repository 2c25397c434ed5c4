"""The pour plan: small benches planned by hand, plans that something stops, then the demo season."""

import math
import random
from functools import cache
from pathlib import Path

import pytest
from scipy.stats import betabinom, nbinom

from benchwater.plugin import Analysis, Item, Section
from benchwater.testing import MadeSeason, check_section, finding, make_season, plugin_file, records
from benchwater.words import counted
from pour_plan.compute import Part, too_few

ROOT = Path(__file__).parents[4]
ANALYSIS: Analysis = next(iter(plugin_file(ROOT / "plugins/analyses/pour_plan").analyses()))
BALANCE: Analysis = next(iter(plugin_file(ROOT / "plugins/analyses/material_balance").analyses()))
MONTHS = [f"2026-{month:02d}" for month in range(3, 11)]
BENCH = """
[bench]
name = "Test bench"
units = "metric"
season = { start = "03-01" }
[items.alloy]
kind = "metal"
unit = "g"
scale = { resolution = "1 g" }
pack = "500 g"
price = 6.00
lead_time = "7 d"
[items.hook]
kind = "insert"
pack = 50
lead_time = "10 d"
[items.pearl]
kind = "coat"
unit = "g"
scale = { resolution = "1 g" }
cure = { min_temp = "177 degC" }
[items.guard]
kind = "fitting"
pack = 25
price = 5.00
[molds.jig]
material = "alloy"
[[molds.jig.cavities]]
name = "1/8"
mass = "3.5 g"
insert = "hook"
[[molds.jig.cavities]]
name = "1/4"
mass = "7 g"
insert = "hook"
per_fill = 2
"""
POND = """
[builds.pond]
head = { mold = "jig", cavity = "1/8" }
coat = { item = "pearl", mass = "0.2 g" }
fittings = { guard = 1 }
planned_hours = 40
"""
HEADERS = {
    "pour": "date,mold,cavity,outcome,count\n",
    "coat": "date,mold,cavity,coat,count,rejects\n",
    "water": "date,build,fished,fate,count,cause\n",
    "stock": "date,item,move,amount,cost\n",
}
# 8 of 10 castings of the 1/8 are good; all are coated, and 17 of 28 baits ended in 66 hours.
POURED = "2026-03-02,jig,1/8,good,28\n2026-03-02,jig,1/8,reject,7\n"
COATED = "2026-03-03,jig,1/8,pearl,28,0\n"
FISHED = (
    "2026-03-08,pond,2 h,lost,6,snag\n2026-03-08,pond,2 h,kept,16,\n2026-03-14,pond,2 h,lost,6,snag\n"
    "2026-03-21,pond,2 h,lost,5,snag\n"
)
STOCK = (
    "2026-03-01,alloy,counted,1000 g,\n2026-03-01,hook,counted,100,\n2026-03-01,pearl,counted,50 g,\n"
    "2026-03-01,guard,counted,40,\n2026-03-04,guard,used,28,\n"
)


def made(bench: str = BENCH + POND, month: str | None = None, **logs: str) -> MadeSeason:
    texts = {"pour": POURED, "coat": COATED, "water": FISHED, "stock": STOCK} | logs
    return make_season(
        bench, {f"{log}.csv": HEADERS[log] + rows for log, rows in texts.items() if rows}, month
    )


def plan(season: MadeSeason) -> Section:
    section = ANALYSIS.analyse(season.season, season.whole)
    check_section(section)
    return section


def row(section: Section, table: str, first: str) -> dict[str, object]:
    return next(entry for entry in records(section, table) if next(iter(entry.values())) == first)


def actions(section: Section) -> list[str]:
    return [action.id for action in section.actions]


def test_the_worked_example_of_the_docstring() -> None:
    section = plan(made())
    demand = row(section, "demand", "pond")
    # A prior of one build is worth one loss: rate (17 + 1) / (66 + 66 / 17) an hour, 40 hours to come.
    assert demand["expected_losses"] == pytest.approx(40 * 18 / (66 * (1 + 1 / 17)))
    losses = nbinom(18, 1 / (1 + 40 / (66 * (1 + 1 / 17))))
    # Castings lack, so the losses alone hold with the square root of 90 %.
    target = int(losses.ppf(0.9**0.5))
    assert (demand["on_hand"], demand["target_stock"], demand["to_make"]) == (11, target, target - 11)
    # No casting is bare; 28 of 35 good, drawn by 10 castings to the bench's own 0.8 and a little above.
    usual = (28 + 0.9) / 36
    share = (28 + 10 * usual) / 45
    assert {entry["cavity"]: entry for entry in records(section, "fills")}["1/8"] == {
        "mold": "jig",
        "fills": 7,
        "cavity": "1/8",
        "yielded": pytest.approx(7 * share),
        "needed": 6,
        "surplus": pytest.approx(7 * share - 6),
    }
    # One session so far: castings of a session are taken to be alike to 0.02 and more.
    size, effect = 35, 1 + 0.02 * 34
    rests_on = 1 / (0.02 + 1 / (size / effect + 11)) - 1
    good = betabinom(7, share * rests_on, (1 - share) * rests_on)
    sure = sum(good.pmf(n) * losses.cdf(target - max(0, 6 - n)) for n in range(8))
    assert finding(section, "plan").more["sure"] == pytest.approx(sure, abs=1e-3)
    assert "No casting of 1/4 is logged: 80 % good are assumed." in finding(section, "fills", "jig").text
    assert section.findings[0].text == (
        f"Pour 7 fills of jig; finish 6 pond. Then it is {math.floor(100 * sure)} % sure that no build runs "
        "out in the month from 1 April."
    )


def test_the_parts_are_exploded_and_held_against_the_stock() -> None:
    section = plan(made())
    parts = {str(entry["item"]): entry for entry in records(section, "buy")}
    usual = (28 + 0.9) / 36
    metal = 7 * ((28 + 10 * usual) / 45 * 3.5 + 2 * usual * 7.0)
    assert parts["alloy"]["needed"] == pytest.approx(metal)
    assert parts["alloy"]["on_hand"] == pytest.approx(1000 - 28 * 3.5)
    assert (parts["hook"]["needed"], parts["hook"]["on_hand"]) == (21, 100 - 28 - 7)
    # All 28 dips held: 28.9 of 29 usual, so 6 baits take a little more than 6 dips.
    dips = 6 / ((28 + 10 * 28.9 / 29) / 38)
    assert parts["pearl"]["needed"] == pytest.approx(0.2 * dips)
    # 28 guards were used and 17 are gone with their baits: 11 sit on baits, and 17 are to.
    assert (parts["guard"]["needed"], parts["guard"]["packs"]) == (6, 0)
    assert finding(section, "spend").value == 0
    (pour,) = section.actions
    assert (pour.id, pour.text, pour.because) == (
        "make-jig",
        "Pour 7 fills of jig, after its warm-up fills; then coat and dress 6 pond (11 on hand).",
        "Good castings lack: 6 of 1/8 for pond.",
    )
    assert pour.worth
    assert pour.worth_unit == "baits"
    one_too_few = plan(made(stock=STOCK.replace("guard,counted,40", "guard,counted,33")))
    assert [action.text for action in one_too_few.actions] == [pour.text, "Buy 1 pack of guard ($5.00)."]


def test_the_promise_is_for_all_builds_together() -> None:
    others = "".join(POND.replace("pond", f"pond-{each}").replace("1/8", "1/4") for each in range(2))
    bench = BENCH + POND + others
    rows = "".join(FISHED.replace("pond", name) for name in ("pond", "pond-0", "pond-1"))
    found = plan(made(bench, water=rows))
    alone = plan(made())
    sure = finding(found, "plan").more["sure"]
    assert isinstance(sure, float)
    assert 0.90 <= sure < 0.95
    target = row(alone, "demand", "pond")["target_stock"]
    assert all(int(str(entry["target_stock"])) > int(str(target)) for entry in records(found, "demand"))


def test_a_mold_that_gives_next_to_nothing_must_work_before_anything_is_planned_of_it() -> None:
    section = plan(made(pour="2026-03-02,jig,1/8,reject,300\n", coat=""))
    assert section.findings[0].text == ("Get jig 1/8 to work. Nothing can be promised before the mold works.")
    first = finding(section, "mold_first", "jig 1/8")
    assert (first.value, first.n) == (17, 300)
    assert first.text == (
        "Get jig 1/8 to work first: of 300 castings fewer than 1 in 10 can be counted on to be good. "
        "17 pond wait for it."
    )
    assert actions(section) == ["mold-first-jig-1/8"]
    assert records(section, "fills") == []
    assert finding(section, "spend").value == 0


def test_one_bad_trip_foresees_nothing() -> None:
    section = plan(made(water="2026-03-08,pond,2 h,lost,7,snag\n"))
    assert (section.status, section.cards) == ("thin", ())
    assert section.why == "7 baits ended on 1 day so far: to foresee losses takes 5 on 3 days."


def test_castings_that_last_for_years_say_so_and_ask_for_nothing() -> None:
    section = plan(made(pour=POURED + "2026-03-05,jig,1/8,good,400\n"))
    enough = finding(section, "enough", "jig")
    assert enough.value == 411
    assert enough.more["months"] == pytest.approx(
        411 / float(str(row(section, "demand", "pond")["expected_losses"]))
    )
    assert enough.text == "jig: you have 411 of 1/8, enough for about 3 years at this pace. Pour none."
    assert section.findings[0].text.endswith("Pour none of jig: what is on hand lasts a year or more.")


def test_the_card_says_what_to_pour_finish_and_buy_beside_what_is_there() -> None:
    (card,) = plan(made(stock=STOCK.replace("hook,counted,100", "hook,counted,38"))).cards
    assert (card.id, card.order, card.wide) == ("pour", 20, True)
    assert [(line.label, line.text) for line in card.lines[:3]] == [
        ("Pour", "7 fills of jig, after warming up"),
        ("Finish", "6 pond"),
        ("Buy", "1 pack of hook (no price known)"),
    ]
    pour, buy = card.tables
    assert pour.rows == (("jig", "1/8", 0, 6, 7), ("jig", "1/4", 0, 0, 7))
    assert [line[:3] for line in buy.rows if line[0] == "hook"] == [("hook", 21.0, 3.0)]


def test_bare_castings_are_used_before_any_is_poured() -> None:
    section = plan(made(pour=POURED + "2026-03-05,jig,1/8,good,6\n"))
    assert records(section, "fills") == []
    assert actions(section) == ["make-jig"]
    assert finding(section, "fills", "jig").quiet


def test_what_is_poured_and_what_follows_is_one_action_worth_all_its_baits() -> None:
    baits = {"all bare": 6, "two bare": 2, "none bare": 0}
    found = {}
    for name, bare in baits.items():
        pour = POURED + (f"2026-03-05,jig,1/8,good,{bare}\n" if bare else "")
        (found[name],) = plan(made(pour=pour)).actions
    assert {action.id for action in found.values()} == {"make-jig"}
    assert found["all bare"].text == "Coat and dress 5 pond (11 on hand)."
    two = found["two bare"]
    assert two.text.endswith("; then coat and dress 6 pond (11 on hand).")
    assert two.because == "Good castings lack: 4 of 1/8 for pond."
    assert two.worth == pytest.approx(found["none bare"].worth)


def test_what_must_be_bought_first_is_named_where_it_is_taken() -> None:
    stock = STOCK.replace("hook,counted,100", "hook,counted,38").replace(
        "guard,counted,40", "guard,counted,29"
    )
    because = {action.id: action.because for action in plan(made(stock=stock)).actions}
    assert list(because) == ["make-jig", "buy-hook", "buy-guard"]
    assert because["make-jig"].endswith(" First buy hook and guard.")
    bare = {
        a.id: a.because for a in plan(made(pour=POURED + "2026-03-05,jig,1/8,good,6\n", stock=stock)).actions
    }
    assert bare["make-jig"].endswith(" First buy guard.")


def test_a_bare_build_is_poured_and_not_dressed() -> None:
    bench = (BENCH + POND).replace('coat = { item = "pearl", mass = "0.2 g" }\n', "")
    bare = plan(made(bench.replace("fittings = { guard = 1 }\n", ""), coat="", pour=POURED))
    assert [action.text for action in bare.actions if action.id != "buy-hook"] == [
        f"Pour {counted(int(float(str(row(bare, 'fills', 'jig')['fills']))), 'fill')} of jig, "
        "after its warm-up fills."
    ]


def test_what_stops_the_pour_is_named_with_what_lifts_it_and_bought() -> None:
    stock = STOCK.replace("hook,counted,100", "hook,counted,38")
    section = plan(made(stock=stock))
    stopped = finding(section, "stopped_by")
    assert (stopped.group, stopped.value) == ("hook", 21 - 3)
    assert stopped.text == "hook stops the pour: it takes 21, 3 on hand. 18 more lift it (1 pack)."
    assert finding(section, "fills", "jig").value == 7
    hooks = row(section, "buy", "hook")
    assert (hooks["packs"], hooks["cost"]) == (1, None)
    spend = finding(section, "spend")
    assert spend.value is None
    assert spend.text == "Not known is what to pay for hook: no receipt and no price on the bench."
    (buy,) = [action for action in section.actions if action.id == "buy-hook"]
    assert buy.text == "Buy 1 pack of hook (no price known)."
    assert buy.because == "21 needed, 3 on hand. It takes 10 days to come: order by 21 April."


def test_what_runs_out_before_it_can_come_is_to_be_ordered_now() -> None:
    stock = STOCK.replace("hook,counted,100", "hook,counted,38").replace("1000 g", "99 g")
    bench = (BENCH + POND).replace("planned_hours = 40", "planned_hours = 400")
    section = plan(made(bench, stock=stock))
    assert {entry.group for entry in section.findings if entry.id == "stopped_by"} == {"hook", "alloy"}
    because = {action.id: action.because for action in section.actions}
    assert because["buy-hook"].endswith("without: order now.")
    alloy = row(section, "buy", "alloy")
    assert alloy["packs"] == -(-(float(str(alloy["needed"])) - 1) // 500)
    assert alloy["cost"] == pytest.approx(6.00 * int(str(alloy["packs"])))
    assert "On top comes hook" in finding(section, "spend").text


def test_a_pack_is_priced_at_what_was_paid() -> None:
    stock = STOCK.replace("hook,counted,100", "hook,counted,38") + "2026-03-02,hook,received,10,4.00\n"
    section = plan(made(stock=stock))
    assert row(section, "buy", "hook")["cost"] == pytest.approx(50 * 0.40)
    assert finding(section, "spend").value == pytest.approx(20.0)
    assert "Buy 1 pack of hook ($20.00)." in [action.text for action in section.actions]


def test_stock_never_counted_is_no_limit_and_said_to_be_unknown() -> None:
    section = plan(made(stock="2026-03-01,alloy,counted,1000 g,\n"))
    assert not [entry for entry in section.findings if entry.id == "stopped_by"]
    assert row(section, "buy", "hook")["on_hand"] is None
    assert row(section, "buy", "hook")["packs"] is None
    assert finding(section, "not_known", "hook").text == (
        "hook was never counted: see whether the 21 that the plan takes are there."
    )


def test_a_coat_whose_grams_no_build_states_is_not_guessed() -> None:
    bench = (BENCH + POND).replace(', mass = "0.2 g"', "")
    section = plan(made(bench))
    assert row(section, "buy", "pearl")["needed"] is None
    assert finding(section, "not_known", "pearl").text.startswith(
        "How much pearl the plan takes is not known"
    )


def test_no_hours_to_come_need_nothing() -> None:
    section = plan(made((BENCH + POND).replace("planned_hours = 40", "planned_hours = 0")))
    assert section.status == "ok"
    assert section.actions == ()
    demand = row(section, "demand", "pond")
    assert (demand["expected_losses"], demand["target_stock"], demand["to_make"]) == (0, 0, 0)
    assert section.findings[0].text.startswith("Pour nothing, make nothing, buy nothing.")
    assert "No hours are planned for pond." in next(t.note for t in section.tables if t.id == "demand")


def test_without_planned_hours_the_seasons_own_are_taken() -> None:
    bench = (BENCH + POND).replace("planned_hours = 40", "")
    late = made(bench, water=FISHED + "2026-06-08,pond,1 h,kept,1,\n")
    months = (late.whole.end - late.whole.start).days / (365.25 / 12)
    expected = row(plan(late), "demand", "pond")["expected_losses"]
    assert expected == pytest.approx(67 / months * 18 / (67 * (1 + 1 / 17)))


def test_a_build_fished_little_is_drawn_to_the_rate_of_all() -> None:
    other = POND.replace("pond", "still")
    section = plan(made(BENCH + POND + other, water=FISHED + "2026-03-09,still,1 h,kept,1,\n"))
    # One loss of prior at 17 in 67 hours, and none in the hour seen.
    assert row(section, "demand", "still")["expected_losses"] == pytest.approx(40 * 1 / (67 / 17 + 1))


@pytest.mark.parametrize("water", ["", "2026-03-08,pond,1 h,lost,4,snag\n"])
def test_too_few_losses_foresee_nothing_but_show_what_is_there(water: str) -> None:
    section = plan(made(water=water))
    assert section.status == "thin"
    assert section.actions == ()
    demand = row(section, "demand", "pond")
    assert demand["on_hand"] == 28 - (4 if water else 0)
    assert demand["target_stock"] is None
    assert row(section, "pieces", "jig")["on_hand"] == 0


def test_a_bench_without_builds_has_nothing_to_plan_for() -> None:
    season = make_season(BENCH, {"pour.csv": HEADERS["pour"] + POURED})
    for span in (season.period, season.whole):
        assert ANALYSIS.analyse(season.season, span).status == "empty"


def test_a_head_that_its_own_cure_would_melt_is_left_out() -> None:
    bench = (BENCH + POND).replace('kind = "metal"', 'kind = "metal"\nmelts = "138 degC"')
    section = plan(made(bench))
    assert finding(section, "left_out", "pond").text == (
        "pond is left out: pearl cures at 177 °C or more, alloy melts at 138 °C."
    )
    assert section.actions == ()


def test_a_build_without_a_casting_is_left_out() -> None:
    section = plan(made(BENCH + POND + "[builds.spinner]\nfittings = { guard = 1 }\nplanned_hours = 40\n"))
    assert row(section, "demand", "spinner")["on_hand"] is None
    assert finding(section, "left_out", "spinner").text.endswith("neither head nor trailer.")


def test_certainty_would_take_an_endless_stock_and_is_held_below() -> None:
    section = plan(made(BENCH + POND + "[plan]\nservice_level = 1.0\n"))
    assert section.findings[0].more["service_level"] == 0.999
    assert "Then it is 99 % sure" in section.findings[0].text
    assert int(str(row(section, "demand", "pond")["target_stock"])) > 16


def test_the_month_part_holds_what_happened_against_what_was_foreseen() -> None:
    season = made(water=FISHED + "2026-04-08,pond,2 h,lost,1,snag\n2026-04-08,pond,2 h,kept,4,\n")
    section = ANALYSIS.analyse(season.season, season.period)
    check_section(section)
    (april,) = records(section, "losses")
    assert april["target_stock"] == 16
    assert (april["planned_hours"], april["fished_hours"], april["ended"]) == (40, 10, 1)
    assert [entry.id for entry in section.tables] == ["losses"]
    said = finding(section, "losses")
    assert said.value == 1
    assert said.more["expected_fished"] == pytest.approx(10 * 18 / (66 * (1 + 1 / 17)))
    assert "State fewer `planned_hours`" in said.text
    assert section.actions == ()


def test_a_month_that_took_more_than_the_stock_names_the_build() -> None:
    season = made(water=FISHED + "2026-04-08,pond,2 h,lost,17,snag\n")
    said = finding(ANALYSIS.analyse(season.season, season.period), "losses")
    assert said.text.endswith("A stock for 90 % would not have covered pond.")


def test_the_first_month_had_nothing_to_be_foreseen_by() -> None:
    section = ANALYSIS.analyse(made().season, made().period)
    assert section.status == "thin"
    assert row(section, "losses", "pond")["ended"] == 17


def big_bench(molds: int, builds: int) -> MadeSeason:
    draw = random.Random(20)
    toml, pour, water = [BENCH], [HEADERS["pour"]], [HEADERS["water"]]
    for mold in range(molds):
        toml.append(f'[molds.m{mold}]\nmaterial = "alloy"\n')
        for cavity in range(3):
            toml.append(f'[[molds.m{mold}.cavities]]\nname = "c{cavity}"\nmass = "{3 + cavity} g"\n')
            toml.append(f'insert = "hook"\nper_fill = {draw.randint(1, 3)}\n')
            pour.append(f"2026-03-02,m{mold},c{cavity},good,{draw.randint(3, 30)}\n")
            pour.append(f"2026-03-02,m{mold},c{cavity},reject,{draw.randint(1, 9)}\n")
    for build in range(builds):
        toml.append(f"[builds.b{build}]\nplanned_hours = {draw.randint(5, 60)}\n")
        toml.append(f'head = {{ mold = "m{build % molds}", cavity = "c{build // molds % 3}" }}\n')
        day = 8 + build % 4
        water.append(f"2026-03-{day:02d},b{build},{draw.randint(1, 9)} h,lost,{draw.randint(1, 6)},snag\n")
    stock = HEADERS["stock"] + "2026-03-01,alloy,counted,900 g,\n2026-03-01,hook,counted,2000,\n"
    logs = {"pour.csv": "".join(pour), "water.csv": "".join(water), "stock.csv": stock}
    return make_season("".join(toml), logs)


def test_twenty_molds_and_sixty_builds_are_planned_at_once_and_the_same_way_again() -> None:
    season = big_bench(20, 60)
    section = plan(season)
    assert len(records(section, "demand")) == 60
    short = {str(entry.group) for entry in section.findings if entry.id == "stopped_by"}
    assert "alloy" in short
    assert section == plan(season)


@pytest.fixture(scope="module")
def parts(demo):
    """Return a function that gives month and season of the plan, then of the balance."""

    @cache
    def of(month: str) -> tuple[Section, ...]:
        made = demo(month)
        found = [
            analysis.analyse(made.season, span)
            for analysis in (ANALYSIS, BALANCE)
            for span in (made.period, made.whole)
        ]
        for part in found:
            check_section(part)
        return tuple(found)

    return of


@pytest.mark.parametrize("month", MONTHS[1:])
def test_what_the_plan_has_on_hand_is_what_the_balance_closes_with(month: str, parts) -> None:
    _, planned, *balances = parts(month)
    bought = records(planned, "buy")
    assert len(bought) == 13
    for balance in balances:
        closing = {
            entry["item"]: entry["book_closing"]
            if entry["counted_closing"] is None
            else entry["counted_closing"]
            for entry in records(balance, "balance")
        }
        for entry in bought:
            assert entry["on_hand"] == pytest.approx(closing[entry["item"]])


@pytest.mark.parametrize("month", MONTHS)
def test_the_demo_is_planned_once_and_adds_up(month: str, parts) -> None:
    behind, ahead, *_ = parts(month)
    assert behind.status in ("ok", "thin")
    assert behind.actions == ()
    assert ahead.status == "ok"
    for entry in records(ahead, "demand"):
        lack = int(str(entry["target_stock"])) - int(str(entry["on_hand"]))
        assert entry["to_make"] == max(0, lack)
    assert finding(ahead, "left_out").group == "pea-bright"
    fills = {entry["mold"]: entry["fills"] for entry in records(ahead, "fills")}
    told = {entry.group: entry.value for entry in ahead.findings if entry.id == "fills" and entry.value}
    assert told == fills
    costs = [entry["cost"] for entry in records(ahead, "buy")]
    assert finding(ahead, "spend").value == pytest.approx(sum(float(str(cost)) for cost in costs))


def test_the_losses_of_the_demo_are_those_of_its_fishing_log(demo, parts) -> None:
    log = demo("2026-10").season.log("fishing")
    ended = log[log["fate"] != "kept"]
    told = {month: finding(parts(month)[0], "losses").value for month in MONTHS}
    assert told == {
        month: ended.loc[ended["date"].dt.strftime("%Y-%m") == month, "count"].sum() for month in MONTHS
    }
    assert parts("2026-10")[1].findings[0].n == ended["count"].sum()


def test_hours_of_an_earlier_season_tell_how_long_baits_last_but_not_how_much_is_fished() -> None:
    bench = (BENCH + POND).replace("planned_hours = 40", "")
    season = made(bench, water="2025-05-01,pond,20 h,kept,1,\n" + FISHED + "2026-06-08,pond,1 h,kept,1,\n")
    months = (season.whole.end - season.whole.start).days / (365.25 / 12)
    expected = row(plan(season), "demand", "pond")["expected_losses"]
    assert expected == pytest.approx(67 / months * 18 / (87 * (1 + 1 / 17)))


def test_stock_below_zero_is_bought_as_if_there_were_none() -> None:
    hook = Item(name="hook", kind="insert", unit="pieces", print_unit="pieces")
    assert [Part(item=hook, on_hand=there, price=None, needed=10).short for there in (-5, 4, 12)] == [
        10,
        6,
        0,
    ]


def test_five_baits_on_three_days_are_the_fewest_that_foresee_anything() -> None:
    assert [too_few(*each) for each in ((4, 3), (5, 2), (5, 3))] == [True, True, False]
