"""Which count was mistyped, and how: decimal places, packs, units, whole packs bought."""

import pytest

from benchwater.testing import finding
from stocked_seasons import ANALYSIS, balance, chain, made


@pytest.mark.parametrize(
    ("counts", "said"),
    [
        ([1000, 900, 8000, 700], "the count of 30 April looks 10 times too large (8 kg for 800 g)"),
        ([1000, 900, 80, 700, 600], "the count of 30 April looks 10 times too small (80 g for 800 g)"),
        # The last count could as well be a loss or a purchase: a slip that fits is the likelier.
        ([1000, 900, 800, 7000], "the count of 31 May looks 10 times too large (7 kg for 700 g)"),
        ([10000, 900, 800, 700], "the count of 1 March looks 10 times too large (10 kg for 1 kg)"),
        # 32 oz are 907 g.
        ([1000, 32, 800, 700], "the count of 31 March looks like 32 oz written as g (32 g for 900 g)"),
    ],
)
def test_a_slip_of_the_pen_in_a_count_is_said_in_words(counts: list[float], said: str) -> None:
    section = chain(counts)
    text = finding(section, "imbalance_chi2").text
    assert text.endswith(f"Most likely {said}.")
    (action,) = section.actions
    assert action.id.startswith("recount-alloy-")
    assert action.because == f"It {said[said.index('looks') :]}; with that put right the rest agrees."


def test_two_counts_suffice_to_see_a_slip() -> None:
    season = made(
        "2026-03-01,alloy,counted,1000 g,,,\n2026-03-20,alloy,used,100 g,,,\n"
        "2026-03-31,alloy,counted,9000 g,,,\n"
    )
    section = ANALYSIS.analyse(season.season, season.whole)
    assert balance(section, "alloy")["verdict"] == "surplus"
    assert finding(section, "unaccounted").text.endswith(
        "Most likely the count of 31 March looks 10 times too large (9 kg for 900 g)."
    )
    assert [action.id for action in section.actions] == ["recount-alloy-2026-03-31"]


def test_packs_counted_for_pieces_are_seen() -> None:
    section = chain([1000, 900, 16, 700, 600], "hook", "")
    assert "30 April looks counted in packs of 50 (16 for 800)." in finding(section, "imbalance_chi2").text


def test_a_loss_that_no_slip_explains_stays_a_loss() -> None:
    assert "times too" not in finding(chain([1000, 900, 800, 400]), "imbalance_chi2").text


def test_a_purchase_of_whole_packs_is_recognised() -> None:
    section = chain([1000, 900, 850, 750], "hook", "")
    (action,) = section.actions
    assert action.because.endswith("That is just 1 pack: a purchase without its row?")
