"""The balance of an item: hand-worked ones, and what each kind of item takes."""

import math

import pytest

from benchwater.plugin import Section
from benchwater.testing import finding, make_season, table
from reference_cases import worked_examples
from stocked_seasons import ANALYSIS, STEP, balance, made


@pytest.mark.parametrize(("name", "given", "expected", "tol"), worked_examples("alloy_balance"))
def test_worked_example(name: str, given: dict[str, float], expected: dict[str, float], tol: float) -> None:
    n = given["n_good"]
    season = made(
        f"2026-03-01,alloy,counted,{given['opening_kg']} kg,,,\n"
        f"2026-03-04,alloy,received,{given['bought_kg']} kg,26.00,,\n"
        f"2026-03-20,alloy,discarded,{given['dross_kg']} kg,,,dross\n"
        f"2026-03-31,alloy,counted,{given['closing_kg']} kg,,,\n",
        f"2026-03-20,ball,1/4,good,{n},{n * given['gross_g']:.1f} g,,\n"
        "2026-03-20,ball,1/4,reject,7,,short fill,\n2026-03-20,ball,1/4,blank,3,,,\n",
    )
    section = ANALYSIS.analyse(season.season, season.whole)
    row = balance(section, "alloy")
    assert row["in_castings"] == pytest.approx(1000 * expected["good_alloy_kg"], rel=tol)
    assert row["unaccounted"] == pytest.approx(1000 * expected["unaccounted_kg"], rel=tol)
    assert row["verdict"] == "missing"
    # Two counts and the dross on the 5 g scale; 1896 g shows a scale with a step of 1 g for the castings.
    assert row["std_uncertainty"] == pytest.approx(math.sqrt(3 * STEP**2 + 1 / 12))
    found = finding(section, "unaccounted", "alloy")
    assert found.low == pytest.approx(153.96185 - 2 * math.sqrt(3 * STEP**2 + 1 / 12))
    assert (found.unit, found.n) == ("g", 5)


def test_what_is_missing_is_to_be_looked_for_and_priced_at_what_was_paid() -> None:
    season = made(
        "2026-03-01,alloy,counted,1000 g,,,\n2026-03-04,alloy,received,1000 g,14.00,,\n"
        "2026-03-31,alloy,counted,1500 g,,,\n",
        "2026-03-20,ball,1/4,reject,7,,short fill,\n",
    )
    (action,) = ANALYSIS.analyse(season.season, season.period).actions
    assert action.id == "look-for-alloy"
    assert action.text == (
        "Look for 500 g of alloy that left without a row between 1 March and 31 March. "
        "Count it once more first."
    )
    assert action.worth == pytest.approx(7.0)


def test_a_difference_inside_the_scale_closes_and_asks_for_nothing() -> None:
    season = made("2026-03-01,alloy,counted,1000 g,,,\n2026-03-31,alloy,counted,996 g,,,\n")
    section = ANALYSIS.analyse(season.season, season.period)
    assert balance(section, "alloy")["verdict"] == "closes"
    assert section.status == "ok"
    assert section.actions == ()
    assert finding(section, "items_closed").value == 1.0


def test_a_stated_uncertainty_wins_over_the_scale() -> None:
    season = made("2026-03-01,alloy,counted,1000 g,,3 g,\n2026-03-31,alloy,counted,996 g,,4 g,\n")
    assert balance(ANALYSIS.analyse(season.season, season.period), "alloy")[
        "std_uncertainty"
    ] == pytest.approx(5)


def hooks(counted: int, rows: str = "") -> Section:
    """Return the section of 100 hooks, then 40 in good castings and 5 in rejects, then `counted`."""
    stock = f"2026-03-01,hook,counted,100,,,\n{rows}2026-03-31,hook,counted,{counted},,,\n"
    pour = "2026-03-09,ball,1/4,good,40,,,\n2026-03-09,ball,1/4,reject,5,,flash,\n"
    pour += "2026-03-09,ball,1/4,blank,3,,,\n2026-03-09,ball,bare,good,9,,,\n"
    season = made(stock, pour)
    return ANALYSIS.analyse(season.season, season.period)


def test_hooks_leave_when_they_are_cast_in_good_or_bad_and_are_balanced_by_the_piece() -> None:
    row = balance(hooks(55), "hook")
    assert (row["in_castings"], row["book_closing"], row["unaccounted"]) == (45.0, 55.0, 0.0)
    assert (row["std_uncertainty"], row["verdict"]) == (0.0, "closes")
    section = hooks(50)
    found = finding(section, "unaccounted", "hook")
    assert (found.value, found.low, found.high) == (5.0, 5.0, 5.0)
    assert "rejects" not in found.text
    assert [action.worth for action in section.actions if action.id == "look-for-hook"] == [1.0]


def test_hooks_cut_out_of_rejects_and_recovered_are_back() -> None:
    stock = "2026-03-01,hook,counted,100,,,\n2026-03-10,hook,recovered,4,,,\n2026-03-31,hook,counted,90,,,\n"
    season = made(stock, "2026-03-09,ball,1/4,good,10,,,\n2026-03-09,ball,1/4,reject,4,,flash,\n")
    section = ANALYSIS.analyse(season.season, season.period)
    assert balance(section, "hook")["verdict"] == "closes"
    assert section.actions == ()


def test_hooks_of_rejects_kept_without_a_row_ask_for_one() -> None:
    text = finding(hooks(58), "unaccounted", "hook").text
    assert text.endswith("5 went into rejects: those cut out and kept need a `recovered` row.")
    assert "rejects" not in finding(hooks(70), "unaccounted", "hook").text


def test_a_surplus_as_large_as_what_was_discarded_points_at_hooks_of_rejects() -> None:
    section = hooks(55, "2026-03-20,hook,discarded,5,,,\n")
    found = finding(section, "unaccounted", "hook")
    assert (found.value, balance(section, "hook")["verdict"]) == (-5.0, "surplus")
    assert found.text.endswith(
        "5 were `discarded`: these may be the ones from rejects, which had left when they were cast in and "
        "need no row."
    )
    (action,) = section.actions
    assert (action.id, action.text) == (
        "discarded-hook",
        "Look at the `discarded` rows of hook between 1 March and 31 March: take out those of inserts cut "
        "out of rejects.",
    )
    # A quarter of 5 is 1.25: 6 are about as many, 7 are not.
    for closed, advice in ((56, "discarded-hook"), (57, "log-hook")):
        section = hooks(closed, "2026-03-20,hook,discarded,5,,,\n")
        assert [each.id for each in section.actions] == [advice]


def test_more_than_the_book_says_is_a_row_to_find() -> None:
    season = made("2026-03-01,hook,counted,100,,,\n2026-03-31,hook,counted,150,,,\n")
    section = ANALYSIS.analyse(season.season, season.period)
    assert balance(section, "hook")["verdict"] == "surplus"
    assert [(action.id, action.worth) for action in section.actions] == [("log-hook", None)]


def test_unweighed_castings_take_the_mean_of_the_weighed_ones() -> None:
    season = made(
        "2026-03-01,alloy,counted,1000 g,,,\n2026-03-31,alloy,counted,915 g,,,\n",
        "2026-03-09,ball,1/4,good,2,15.4 g,,\n2026-03-09,ball,1/4,good,1,7.9 g,,\n"
        "2026-03-09,ball,1/4,good,9,,,\n",
    )
    row = balance(ANALYSIS.analyse(season.season, season.period), "alloy")
    # Poured: 13.8 g of two, 7.1 g of one; mean 20.9 / 3.
    mean = 20.9 / 3
    assert row["in_castings"] == pytest.approx(20.9 + 9 * mean)
    # Two weighings scatter by 0.115 g: too few, so the tolerance of 5 % of 7 g stands in.
    assert 2 * (6.9 - mean) ** 2 + (7.1 - mean) ** 2 < 0.35**2 / 3
    scatter2 = 0.35**2 / 3
    rounding = 0.1 / math.sqrt(12)
    mean_u2 = scatter2 / 3 + (rounding * 2 / 3) ** 2
    variance = 2 * STEP**2 + 2 * rounding**2 + 9 * scatter2 + 81 * mean_u2
    assert row["std_uncertainty"] == pytest.approx(math.sqrt(variance))


def test_castings_never_weighed_take_the_nominal_mass_and_share_its_tolerance() -> None:
    season = made(
        "2026-03-01,alloy,counted,3000 g,,,\n2026-03-31,alloy,counted,2000 g,,,\n",
        "2026-03-09,ball,bare,good,60,,,\n2026-03-19,ball,bare,good,40,,,\n",
    )
    section = ANALYSIS.analyse(season.season, season.period)
    row = balance(section, "alloy")
    assert row["in_castings"] == 1000.0
    assert row["std_uncertainty"] == pytest.approx(math.sqrt(2 * STEP**2 + (100 * 0.6 / math.sqrt(3)) ** 2))
    (action,) = section.actions
    assert action.id == "weigh-castings-alloy"
    assert "ball bare" in action.text


def test_another_material_takes_its_own_book_and_says_that_its_mass_is_nominal() -> None:
    season = made(
        "2026-03-01,alloy,counted,1000 g,,,\n2026-03-31,alloy,counted,1000 g,,,\n"
        "2026-03-01,harder,counted,500 g,,,\n2026-03-31,harder,counted,400 g,,,\n",
        "2026-03-09,ball,bare,good,10,,,harder\n",
    )
    section = ANALYSIS.analyse(season.season, season.period)
    assert balance(section, "alloy")["in_castings"] == 0.0
    assert balance(section, "harder")["in_castings"] == 100.0
    assert "ball bare in harder: its nominal mass in alloy stood in" in table(section, "balance").note


def test_a_coat_is_its_recipe_on_every_piece_dipped() -> None:
    season = made(
        "2026-03-01,pearl,counted,100 g,,,\n2026-03-31,pearl,counted,88 g,,,\n",
        coat="2026-03-09,ball,1/4,pearl,40,5\n2026-03-19,ball,bare,pearl,10,0\n",
    )
    row = balance(ANALYSIS.analyse(season.season, season.period), "pearl")
    assert row["in_castings"] == pytest.approx(40 * 0.2 + 10 * 0.4)
    variance = 2 / 12 + (40 * 0.02 / math.sqrt(3)) ** 2 + (10 * 0.04 / math.sqrt(3)) ** 2
    assert row["std_uncertainty"] == pytest.approx(math.sqrt(variance))


def test_a_coat_of_no_recipe_is_not_known_and_not_guessed() -> None:
    season = made(
        "2026-03-01,plain-coat,counted,100 g,,,\n2026-03-31,plain-coat,counted,95 g,,,\n",
        coat="2026-03-09,ball,1/4,plain-coat,20,0\n",
    )
    section = ANALYSIS.analyse(season.season, season.period)
    row = balance(section, "plain-coat")
    assert (row["in_castings"], row["book_closing"], row["verdict"]) == (None, None, "not counted")
    assert row["counted_closing"] == 95.0
    assert "plain-coat on ball 1/4: no build says" in table(section, "balance").note
    assert section.status == "thin"


def test_opening_is_the_last_count_rolled_forward() -> None:
    season = made(
        "2026-03-01,alloy,counted,1000 g,,,\n2026-03-20,alloy,used,100 g,,,\n"
        "2026-04-10,alloy,used,50 g,,,\n2026-04-20,alloy,counted,850 g,,,\n2026-04-25,alloy,used,30 g,,,\n",
        month="2026-04",
    )
    row = balance(ANALYSIS.analyse(season.season, season.period), "alloy")
    assert [row[name] for name in ("opening", "used", "book_closing", "counted_closing")] == [
        900,
        80,
        820,
        820,
    ]
    # Both counts and the two uses between them; the use after the last count cancels.
    assert row["std_uncertainty"] == pytest.approx(2 * STEP)


def test_a_month_without_a_closing_count_is_thin_and_says_what_the_book_has() -> None:
    season = made(
        "2026-03-01,alloy,counted,1000 g,,,\n2026-03-31,alloy,counted,1000 g,,,\n"
        "2026-04-10,alloy,used,50 g,,,\n",
        month="2026-04",
    )
    section = ANALYSIS.analyse(season.season, season.period)
    assert section.status == "thin"
    assert section.actions == ()
    assert balance(section, "alloy")["verdict"] == "not counted"
    found = finding(section, "unaccounted", "alloy")
    assert found.value is None
    assert (
        found.text
        == "alloy was not counted again after 31 March; 950 g by the book. Count it to close the book."
    )
    assert finding(section, "book_closing", "alloy").value == 950.0
    assert ANALYSIS.analyse(season.season, season.whole).status == "ok"


def test_a_balance_begins_at_the_first_count() -> None:
    season = made(
        "2026-03-05,alloy,received,500 g,,,\n2026-03-10,alloy,counted,800 g,,,\n"
        "2026-03-10,alloy,used,100 g,,,\n2026-03-31,alloy,counted,700 g,,,\n"
    )
    row = balance(ANALYSIS.analyse(season.season, season.period), "alloy")
    assert [row[name] for name in ("opening", "received", "used", "unaccounted")] == [800, 0, 100, 0]


def test_an_item_never_counted_shows_its_flows_alone() -> None:
    season = made(
        "2026-03-05,alloy,received,500 g,,,\n2026-03-01,hook,counted,5,,,\n2026-03-31,hook,counted,5,,,\n"
    )
    row = balance(ANALYSIS.analyse(season.season, season.period), "alloy")
    assert [row[name] for name in ("opening", "received", "book_closing", "verdict")] == [
        *(None, 500.0, None, "not counted"),
    ]


def test_days_in_which_nothing_moved_are_empty() -> None:
    season = made("2026-03-01,alloy,counted,1000 g,,,\n", month="2026-05")
    assert ANALYSIS.analyse(season.season, season.period).status == "empty"


def test_what_lay_still_stands_last_and_is_told_in_a_sentence_on_paper() -> None:
    season = made(
        "2026-03-01,harder,counted,500 g,,,\n2026-03-31,harder,counted,500 g,,,\n"
        "2026-03-01,alloy,counted,1000 g,,,\n2026-03-10,alloy,discarded,100 g,,,dross\n"
        "2026-03-31,alloy,counted,900 g,,,\n"
        "2026-03-01,pearl,counted,90 g,,,\n2026-03-31,pearl,counted,50 g,,,\n",
        "2026-03-20,ball,bare,reject,7,,short fill,\n",
    )
    found = table(ANALYSIS.analyse(season.season, season.period), "balance")
    assert [row[0] for row in found.rows] == ["pearl", "alloy", "harder"]
    assert found.paper_rows == 2
    assert found.note.endswith("Nothing moved, and all is there: harder.")


def test_of_many_books_that_do_not_close_the_headline_names_six() -> None:
    names = [f"lot-{letter}" for letter in "abcdefgh"]
    bench = '[bench]\nname = "b"\n' + "".join(f'[items.{name}]\nkind = "fitting"\n' for name in names)
    rows = "".join(f"2026-03-01,{name},counted,9\n2026-03-31,{name},counted,5\n" for name in names)
    season = make_season(bench, {"stock.csv": f"date,item,move,amount\n{rows}"})
    section = ANALYSIS.analyse(season.season, season.period)
    text = finding(section, "items_closed").text
    assert text.startswith("In March 8 of 8 books do not close: lot-a (4 missing), lot-b")
    assert text.endswith("lot-f (4 missing) and 2 more.")
    assert text.count("missing") == 6
    assert sum(each.id == "unaccounted" and not each.quiet for each in section.findings) == 8
