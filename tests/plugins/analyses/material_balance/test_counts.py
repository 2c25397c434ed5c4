"""Months of counts that agree or not, and which of them is to blame."""

import math

import pytest

from benchwater.testing import finding, make_season, records, table
from stocked_seasons import ANALYSIS, BENCH, POUR, STOCK, balance, chain, made, number


def test_months_that_agree_are_left_in_peace() -> None:
    section = chain([1000, 900, 800, 705])
    found = finding(section, "imbalance_chi2", "alloy")
    assert found.text.startswith("alloy: its 4 counts and the rows between them agree")
    assert found.more["df"] == 3
    assert table(section, "reconciled").print_rows == 0


def test_a_month_in_which_alloy_left_is_named() -> None:
    section = chain([1000, 900, 500, 400])
    assert finding(section, "imbalance_chi2", "alloy").text == (
        "alloy: its counts and rows cannot all be right. Most likely 300 g left without a row "
        "between 31 March and 30 April."
    )
    assert [action.text for action in section.actions] == [
        "Look for 300 g of alloy that left without a row between 31 March and 30 April."
    ]
    rows = records(section, "reconciled")
    assert [row["quantity"] for row in rows] == ["count", "net flow"] * 3 + ["count"]
    worst = max(rows, key=lambda row: number(row["z"]))
    assert (worst["quantity"], str(worst["date"])) == ("net flow", "2026-04-30")
    assert table(section, "reconciled").print_rows == 7


def test_reconciled_counts_and_flows_fit_each_other() -> None:
    values = [number(row["reconciled"]) for row in records(chain([1000, 903, 796, 705]), "reconciled")]
    for before, flow, after in zip(values[:-2:2], values[1::2], values[2::2], strict=True):
        assert before + flow == pytest.approx(after)


def test_a_mistyped_count_is_looked_at_again_and_nothing_searched_for() -> None:
    section = chain([1000, 900, 30, 700, 600])
    assert "Most likely the count of 30 April looks mistyped." in finding(section, "imbalance_chi2").text
    assert [action.id for action in section.actions] == ["recount-alloy-2026-04-30"]


def test_last_month_leaves_open_whether_count_or_stock_is_wrong() -> None:
    section = chain([1000, 900, 800, 400])
    assert finding(section, "imbalance_chi2").text.endswith(
        "300 g left without a row between 30 April and 31 May, or the count of 31 May looks mistyped."
    )
    assert section.actions[0].text.endswith("Count it once more first.")


def test_first_month_leaves_open_whether_its_opening_count_was_off() -> None:
    assert chain([1000, 700, 600]).actions[0].text == (
        "Look for 200 g of alloy that left without a row between 1 March and 31 March. "
        "Or its count of 1 March was off."
    )


def test_a_scale_not_stated_is_read_off_its_readings() -> None:
    bench = BENCH.replace('scale = { resolution = "5 g" }', "", 1)
    stock = STOCK + "2026-03-01,alloy,counted,35 oz,,,\n2026-03-31,alloy,counted,33 oz,,,\n"
    season = make_season(bench, {"stock.csv": stock})
    section = ANALYSIS.analyse(season.season, season.period)
    assert balance(section, "alloy")["std_uncertainty"] == pytest.approx(28.349523125 / math.sqrt(6))
    assert "alloy states no scale" in table(section, "balance").note


def test_plastic_kept_by_volume_is_not_guessed_into_grams() -> None:
    bench = BENCH + '[items.soup]\nkind = "plastic"\nunit = "mL"\n'
    stock = STOCK + "2026-03-01,soup,counted,500 mL,,,\n2026-03-31,soup,counted,400 mL,,,\n"
    pour = POUR + "2026-03-09,ball,bare,good,9,,,soup\n"
    season = make_season(bench, {"stock.csv": stock, "pour.csv": pour})
    section = ANALYSIS.analyse(season.season, season.period)
    assert (balance(section, "soup")["book_closing"], section.actions) == (None, ())
    assert "soup is kept by volume without a density" in table(section, "balance").note


def test_pieces_that_came_in_are_named_too() -> None:
    section = chain([1000, 900, 850, 750], "hook", "")
    assert "50 came in without a row between 31 March and 30 April" in finding(section, "imbalance_chi2").text


def test_the_period_does_not_repeat_the_chain() -> None:
    season = made(
        "2026-03-01,hook,counted,9,,,\n2026-03-31,hook,counted,9,,,\n2026-04-30,hook,counted,9,,,\n"
    )
    told = {span.name: ANALYSIS.analyse(season.season, span) for span in (season.period, season.whole)}
    assert [entry.id for entry in told["period"].tables] == ["balance"]
    assert [entry.id for entry in told["season"].tables] == ["balance", "reconciled"]


def test_first_pass_yield_leaves_blanks_out() -> None:
    season = made(
        "2026-03-01,hook,counted,100,,,\n2026-03-31,hook,counted,91,,,\n",
        "2026-03-09,ball,1/4,good,9,,,\n2026-03-09,ball,1/4,reject,1,,flash,\n2026-03-09,ball,1/4,blank,6,,,\n",
    )
    found = finding(ANALYSIS.analyse(season.season, season.period), "first_pass_yield", "ball")
    # Newcombe 1998 form of Wilson's interval for 9 of 10.
    assert (found.value, found.n) == (0.9, 10)
    assert found.low == pytest.approx(0.5958, abs=5e-5)
    assert found.high == pytest.approx(0.9821, abs=5e-5)
    assert "too few to judge by" in found.text


def test_whole_numbers_that_tie_name_every_suspect_once() -> None:
    counts = ("03-01,hook,counted,200", "03-31,hook,counted,188", "04-30,hook,counted,178")
    used = ("03-10,hook,used,10", "04-10,hook,used,10", "05-10,hook,used,10", "05-31,hook,counted,166")
    season = made("".join(f"2026-{row},,,\n" for row in (*counts, *used)))
    section = ANALYSIS.analyse(season.season, season.whole)
    assert section.status == "ok"
    assert "cannot all be right" in finding(section, "imbalance_chi2", "hook").text


def test_what_left_in_one_stretch_is_told_apart_from_what_is_off_besides() -> None:
    # 50 came in without a row in April, and the count of March is off by 1.
    section = chain([1000, 901, 851, 751], "hook", "")
    (action,) = [each for each in section.actions if each.id == "log-hook"]
    assert action.text.startswith(
        "Find out where 50 hook came from between 31 March and 30 April, and log it."
    )
    assert "50 came in without a row" in finding(section, "imbalance_chi2").text
