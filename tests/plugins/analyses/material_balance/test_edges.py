"""Openings, days with two counts, items used before they came, logs that are not kept."""

import math

import pytest

from benchwater.testing import check_section, finding, make_season, table
from stocked_seasons import ANALYSIS, BENCH, STEP, STOCK, balance, made


def test_a_count_in_the_middle_of_the_month_closes_it_and_is_rolled_forward() -> None:
    season = made(
        "2026-03-01,alloy,counted,1000 g,,,\n2026-03-10,alloy,used,100 g,,,\n"
        "2026-03-15,alloy,counted,800 g,,,\n2026-03-20,alloy,used,50 g,,,\n"
    )
    section = ANALYSIS.analyse(season.season, season.period)
    row = balance(section, "alloy")
    assert [row[name] for name in ("book_closing", "counted_closing", "unaccounted")] == [850, 750, 100]
    assert row["std_uncertainty"] == pytest.approx(STEP * math.sqrt(3))
    assert "750 g from the count of 15 March" in finding(section, "unaccounted").text


def test_an_opening_not_known_is_the_first_count_and_says_what_it_leaves_out() -> None:
    season = made(
        "2026-03-05,alloy,received,500 g,,,\n2026-03-06,alloy,used,20 g,,,\n"
        "2026-03-10,alloy,counted,800 g,,,\n2026-03-31,alloy,counted,800 g,,,\n"
    )
    section = ANALYSIS.analyse(season.season, season.period)
    assert (balance(section, "alloy")["opening"], balance(section, "alloy")["received"]) == (800, 0)
    assert (
        "alloy was first counted on 10 March: its balance begins there, 2 earlier rows are not in it."
        in table(section, "balance").note
    )


def test_no_count_at_all_gives_flows_and_the_least_that_was_on_hand() -> None:
    season = made(
        "2026-03-02,alloy,used,70 g,,,\n2026-03-05,alloy,received,500 g,,,\n"
        "2026-03-06,alloy,used,400 g,,,\n2026-03-01,hook,counted,5,,,\n2026-03-31,hook,counted,5,,,\n"
    )
    section = ANALYSIS.analyse(season.season, season.period)
    row = balance(section, "alloy")
    assert [row[name] for name in ("opening", "received", "used", "book_closing", "verdict")] == [
        *(None, 500.0, 470.0, None, "not counted"),
    ]
    assert finding(section, "unaccounted", "alloy").text == "alloy was never counted."
    found = finding(section, "book_below_zero", "alloy")
    assert found.value == 70.0
    assert found.text == (
        "alloy was never counted; by 2 March its rows took out 70 g more than they brought: at least that "
        "much was on hand before."
    )
    check_section(section)


def test_two_counts_of_a_day_are_a_count_and_its_recount() -> None:
    season = made(
        "2026-03-01,alloy,counted,1000 g,,,\n2026-03-31,alloy,counted,100 g,,,\n"
        "2026-03-31,alloy,counted,1000 g,,,\n2026-04-30,alloy,counted,1000 g,,,\n"
    )
    section = ANALYSIS.analyse(season.season, season.whole)
    assert balance(section, "alloy")["verdict"] == "closes"
    assert finding(section, "imbalance_chi2").n == 3
    assert (
        "alloy was counted twice on 31 March, 100 g and 1 kg: the later row stands."
        in table(section, "balance").note
    )


def test_two_counts_at_two_hours_of_a_day_are_both_kept() -> None:
    season = made(
        "2026-03-01,alloy,counted,1000 g,,,\n2026-03-31 08:00,alloy,counted,1000 g,,,\n"
        "2026-03-31 12:00,alloy,used,100 g,,,\n2026-03-31 18:00,alloy,counted,900 g,,,\n"
    )
    section = ANALYSIS.analyse(season.season, season.whole)
    assert finding(section, "imbalance_chi2").n == 3
    assert balance(section, "alloy")["unaccounted"] == 0


def test_the_first_day_counted_twice_opens_and_closes_with_them() -> None:
    season = made(
        "2026-03-01,alloy,counted,1000 g,,,\n2026-03-01,alloy,used,100 g,,,\n"
        "2026-03-01,alloy,counted,900 g,,,\n"
    )
    row = balance(ANALYSIS.analyse(season.season, season.period), "alloy")
    assert [row[name] for name in ("opening", "used", "unaccounted")] == [1000, 100, 0]


def test_an_item_used_before_it_was_received_is_named_with_its_day() -> None:
    season = made(
        "2026-03-01,hook,counted,30,,,\n2026-03-20,hook,received,50,,,\n2026-03-31,hook,counted,40,,,\n",
        "2026-03-09,ball,1/4,good,40,,,\n",
    )
    section = ANALYSIS.analyse(season.season, season.period)
    assert balance(section, "hook")["verdict"] == "closes"
    found = finding(section, "book_below_zero", "hook")
    assert found.value == 10.0
    assert found.text == (
        "hook: by 9 March the rows took out 10 more than there was. Something came in earlier than its "
        "row says, or without one, or a count is off."
    )
    same_day = made(
        "2026-03-01,hook,counted,10,,,\n2026-03-09,hook,received,50,,,\n2026-03-31,hook,counted,20,,,\n",
        "2026-03-09,ball,1/4,good,40,,,\n",
    )
    section = ANALYSIS.analyse(same_day.season, same_day.period)
    assert ("book_below_zero", "hook") not in [(entry.id, entry.group) for entry in section.findings]


def test_a_coat_without_any_finishing_log_is_not_called_missing() -> None:
    season = made("2026-03-01,pearl,counted,100 g,,,\n2026-03-31,pearl,counted,60 g,,,\n")
    section = ANALYSIS.analyse(season.season, season.period)
    row, found = balance(section, "pearl"), finding(section, "unaccounted", "pearl")
    assert (row["verdict"], row["unaccounted"]) == ("work not logged", 40.0)
    assert found.text.startswith("pearl: 40 g gone, and no finishing log since the count of 1 March")
    assert found.text.endswith("There is no finishing log: what went into pieces is not in the book.")
    assert [(action.id, action.worth) for action in section.actions] == [("keep-finishing-log", None)]
    assert "Without it nobody can tell whether 40 g of pearl was used or lost." in section.actions[0].because
    check_section(section)


def test_a_coat_whose_log_is_silent_for_a_while_is_missing_and_says_so() -> None:
    season = made(
        "2026-03-01,pearl,counted,100 g,,,\n2026-03-31,pearl,counted,92 g,,,\n"
        "2026-04-30,pearl,counted,52 g,,,\n",
        coat="2026-03-09,ball,1/4,pearl,40,5\n",
        month="2026-04",
    )
    section = ANALYSIS.analyse(season.season, season.period)
    assert balance(section, "pearl")["verdict"] == "missing"
    assert finding(section, "unaccounted", "pearl").text.endswith(
        "The finishing log holds no row of it between these counts."
    )


def test_what_is_used_row_by_row_is_missing_without_any_log() -> None:
    season = made(
        "2026-03-01,pearl,counted,100 g,,,\n2026-03-09,pearl,used,10 g,,,\n2026-03-31,pearl,counted,60 g,,,\n"
    )
    assert balance(ANALYSIS.analyse(season.season, season.period), "pearl")["verdict"] == "missing"


@pytest.mark.parametrize(
    ("item", "kind", "opened", "closed", "used", "left"),
    [
        (
            'kind = "plastic"\nunit = "mL"\nscale = { resolution = "5 mL" }',
            "mL",
            "500 mL",
            "400 mL",
            "90 mL",
            10.0,
        ),
        (
            'kind = "coat"\nunit = "mL"\nscale = { resolution = "5 mL" }',
            "mL",
            "500 mL",
            "380 mL",
            "90 mL",
            30.0,
        ),
        (
            'kind = "plastic"\nunit = "g"\ndensity = "1.5 g/mL"\nscale = { resolution = "1 g" }',
            "g",
            "100 mL",
            "60 mL",
            "50 g",
            10.0,
        ),
        ('kind = "fitting"', "pieces", "25", "20", "3", 2.0),
        ('kind = "fitting"\nunit = "g"\nscale = { resolution = "1 g" }', "g", "30 g", "20 g", "5 g", 5.0),
    ],
)
def test_mass_volume_and_pieces_balance_alike(
    item: str, kind: str, opened: str, closed: str, used: str, left: float
) -> None:
    stock = f"2026-03-01,stuff,counted,{opened},,,\n2026-03-09,stuff,used,{used},,,\n"
    stock += f"2026-03-31,stuff,counted,{closed},,,\n"
    season = make_season(BENCH + f"[items.stuff]\n{item}\n", {"stock.csv": STOCK + stock})
    section = ANALYSIS.analyse(season.season, season.period)
    found = finding(section, "unaccounted", "stuff")
    assert (found.unit, found.value) == (kind, pytest.approx(left))
    check_section(section)


def test_castings_that_weigh_what_none_of_theirs_can_are_pointed_at_and_taken_as_written() -> None:
    """Two at 15.6 g are right. Two at 2 oz are 28.35 g less a hook of 0.8 g each; four at 4 g, 0.2 g each."""
    season = made(
        "2026-03-01,alloy,counted,3000 g,,,\n2026-04-30,alloy,counted,2800 g,,,\n",
        "2026-03-05,ball,1/4,good,2,15.6 g,,\n2026-03-06,ball,1/4,good,2,2 oz,,\n"
        "2026-03-07,ball,1/4,reject,2,2 oz,short fill,\n2026-04-02,ball,1/4,good,4,4 g,,\n",
    )
    both = ANALYSIS.analyse(season.season, season.whole)
    found = [each for each in both.findings if each.id == "odd_mass"]
    assert [each.n for each in found] == [2, 4]
    assert [each.value for each in found] == pytest.approx([28.349523125 - 0.8, 1.0 - 0.8])
    assert found[0].text == (
        "Look again at pour.csv line 3: castings of ball 1/4 would weigh 27.5 g each without their inserts, "
        "and bench.toml says 7 g. The books take it as written."
    )
    check_section(both)
    april = ANALYSIS.analyse(season.season, season.period)
    assert [each.n for each in april.findings if each.id == "odd_mass"] == [4]


@pytest.mark.parametrize(
    ("mass", "question"),
    [
        ("0.53", "Are they ounces?"),
        ("1.02", "Are they ounces?"),  # 14.5 g each, 13.7 g without the hook: not yet twice the 7 g
        ("0", "Look at their mass and its unit."),
    ],
)
def test_castings_that_weigh_no_more_than_their_inserts_are_not_left_out_in_silence(
    mass: str, question: str
) -> None:
    """Two castings of 7 g and a hook of 0.8 g weigh 15.6 g, or 0.55 oz."""
    season = made(
        "2026-03-01,alloy,counted,3000 g,,,\n2026-03-31,alloy,counted,2800 g,,,\n",
        f"2026-03-05,ball,1/4,good,2,,,\n2026-03-06,ball,1/4,good,2,{mass} g,,\n"
        f"2026-03-07,ball,1/4,good,2,{mass} g,,\n2026-03-08,ball,1/4,reject,1,0.1 g,flash,\n",
    )
    section = ANALYSIS.analyse(season.season, season.period)
    found = finding(section, "mass_left_out")
    assert found.text == (
        "The books leave out 2 weighed rows of castings, from pour.csv line 3 on: they weigh no more than "
        f"the inserts in them. {question}"
    )
    assert found.n == 2
    check_section(section)


def test_a_casting_without_an_insert_that_weighs_nothing_is_left_out_too() -> None:
    season = made("2026-03-01,alloy,counted,9 g,,,\n", "2026-03-05,ball,bare,good,2,0 g,,\n")
    section = ANALYSIS.analyse(season.season, season.period)
    assert finding(section, "mass_left_out").text.startswith("The books leave out 1 weighed row of castings")


def test_a_count_to_look_at_again_is_shown_as_it_was_written_too() -> None:
    bench = BENCH.replace('units = "metric"', 'units = "us"')
    rows = ("03-01,1000", "03-31,900", "04-30,80", "05-31,700", "06-30,600")
    stock = "".join(f"2026-{row.replace(',', ',alloy,counted,')} g,,,\n" for row in rows)
    stock += "".join(f"2026-{month:02d}-15,alloy,used,100 g,,,\n" for month in range(3, 7))
    season = make_season(bench, {"stock.csv": STOCK + stock})
    (action,) = ANALYSIS.analyse(season.season, season.whole).actions
    assert action.text == "Look again at the count of alloy of 30 April: the row says 2.82 oz (80 g)."
    assert (
        action.because == "It looks 10 times too small (80 g for 800 g); with that put right the rest agrees."
    )


REJECTS = "2026-03-20,ball,1/4,reject,7,,short fill,\n"
WINTER = (
    "2025-10-31,alloy,counted,2000 g,,,\n2026-03-05,alloy,counted,1700 g,,,\n"
    "2026-03-20,alloy,used,100 g,,,\n2026-03-31,alloy,counted,1600 g,,,\n"
)


def test_what_went_between_seasons_is_said_and_not_looked_for() -> None:
    season = made(WINTER)
    for span in (season.period, season.whole):
        section = ANALYSIS.analyse(season.season, span)
        row = balance(section, "alloy")
        assert (row["opening"], row["unaccounted"], row["verdict"]) == (1700, 0, "closes")
        assert section.actions == ()
        gap = finding(section, "between_seasons")
        assert gap.value == 300
        assert gap.text == (
            "alloy opens with the count of 5 March. It is 300 g less than the count of 31 October 2025 and "
            "the rows since say; what went between seasons is not looked for."
        )


def test_a_season_without_a_count_opens_with_the_last_one_before_it_and_asks_for_one() -> None:
    season = made(WINTER.split("\n")[0] + "\n2026-03-20,alloy,used,100 g,,,\n")
    section = ANALYSIS.analyse(season.season, season.whole)
    assert balance(section, "alloy")["opening"] == 2000
    assert finding(section, "unaccounted").text == (
        "alloy was not counted again after 31 October 2025; 1.9 kg by the book. Count it to close the book."
    )


def test_a_count_on_the_last_day_is_not_said_to_have_had_no_next() -> None:
    season = made("2026-03-20,alloy,used,100 g,,,\n2026-03-31,alloy,counted,1600 g,,,\n")
    section = ANALYSIS.analyse(season.season, season.period)
    assert finding(section, "unaccounted").text == (
        "alloy was counted on 31 March, 1.6 kg: its next count closes the book."
    )


def test_a_loss_of_long_ago_is_no_longer_looked_for() -> None:
    rows = "2026-03-01,alloy,counted,1000 g,,,\n2026-03-31,alloy,counted,700 g,,,\n"
    rows += "".join(f"2026-{day},alloy,counted,700 g,,,\n" for day in ("04-30", "05-31", "06-30"))
    found = {}
    for month in ("2026-04", "2026-06"):
        season = made(rows, REJECTS, month=month)
        (found[month],) = ANALYSIS.analyse(season.season, season.whole).actions
    assert [(action.id, action.holds) for action in found.values()] == [
        ("look-for-alloy", False),
        ("look-for-alloy", True),
    ]
    assert found["2026-06"].text == "Keep counting alloy: its counts since 31 March agree with the rows."


def test_a_difference_within_one_step_of_the_scale_is_exact_to_the_scale() -> None:
    season = made(
        "2026-03-01,alloy,counted,1000 g,,0.01 g,\n2026-03-31,alloy,counted,500 g,,0.01 g,\n", REJECTS
    )
    section = ANALYSIS.analyse(season.season, season.period)
    assert section.actions[0].because.endswith("; the rows are exact to the scale.")
    assert "(" not in finding(section, "unaccounted", "alloy").text


def test_a_count_in_grams_is_shown_in_grams_whatever_the_bench_keeps_it_in() -> None:
    bench = BENCH.replace('units = "metric"', 'units = "us"').replace('unit = "g"', 'unit = "lb"', 1)
    counts: tuple[str, ...] = ("2026-03-01,alloy,counted,5700 g", "2026-03-31,alloy,counted,5600 g")
    counts += (
        "2026-04-30,alloy,counted,560 g",
        "2026-05-31,alloy,counted,5600 g",
        "2026-06-30,alloy,counted,5600 g",
    )
    stock = "".join(f"{row},,,\n" for row in counts) + "2026-03-15,alloy,used,100 g,,,\n"
    season = make_season(bench, {"stock.csv": STOCK + stock})
    (action,) = ANALYSIS.analyse(season.season, season.whole).actions
    assert action.text.endswith("the row says 1.23 lb (560 g).")


def test_every_finding_of_a_span_says_which_days_it_is_of() -> None:
    season = made(WINTER)
    texts = [
        finding(ANALYSIS.analyse(season.season, span), "items_closed").text
        for span in (season.period, season.whole)
    ]
    assert texts == ["In March the book of alloy closes."] * 2


def test_masses_all_read_in_another_unit_are_one_question_and_no_other_advice() -> None:
    """Two castings of 7 g and a hook of 0.8 g weigh 15.6 g; written so, and read as ounces."""
    rows = "".join(f"2026-03-{day:02},ball,1/4,good,2,15.6 oz,,\n" for day in range(5, 15))
    stock = "2026-03-01,alloy,counted,3000 g,,,\n2026-03-31,alloy,counted,2860 g,,,\n"
    season = made(stock, rows)
    section = ANALYSIS.analyse(season.season, season.period)
    text = finding(section, "masses_in_another_unit").text
    assert text.startswith("All 20 weighed castings weigh 28 times their nominal mass: are they grams?")
    assert not {"odd_mass", "mass_left_out"} & {each.id for each in section.findings}
    assert not [each for each in section.actions if "alloy" in each.text], "nominal masses close the book"
    check_section(section)
