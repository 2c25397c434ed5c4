import csv
from importlib.resources import files

import pandas as pd
import pytest

from benchwater.ledger.fish import fish_standard, is_count_in_doubt, is_length_in_doubt
from reference_cases import TRADE, read_table


@pytest.mark.parametrize(
    ("name", "key"),
    [
        ("Yellow Perch", "yellow perch"),
        ("  yellow   PERCH ", "yellow perch"),
        ("Perca flavescens", "yellow perch"),
        ("micropterus salmoides", "largemouth bass"),
        ("Micropterus salmoides (sensu lato)", "largemouth bass"),
        ("Sander vitreus × S. canadensis", "saugeye"),
        ("Brown Trout (Lotic)", "brown trout (lotic)"),
        ("perch", "perch"),
    ],
)
def test_a_fish_is_known_by_its_names(name: str, key: str) -> None:
    assert fish_standard(name).key == key


def test_a_sub_group_is_never_guessed() -> None:
    trout = fish_standard("brown trout")
    assert (trout.weight, trout.categories) == (None, None)
    assert trout.weight_choices == trout.category_choices == ("lentic", "lotic")
    lotic = fish_standard("brown trout (lotic)")
    assert lotic.weight is not None
    assert lotic.weight.source.startswith("Milewski")
    assert lotic.categories is not None
    assert lotic.weight_choices == ()
    assert fish_standard("brown trout (albino)").weight is None
    striped = fish_standard("striped bass")
    assert striped.weight is not None
    assert striped.categories is None
    assert striped.category_choices == ("landlocked",)


def test_a_species_wide_figure_serves_where_one_is_published() -> None:
    walleye = fish_standard("walleye")
    assert walleye.weight is not None
    assert (walleye.weight.group, walleye.weight.min_mm) == ("overall", 150)
    young = fish_standard("walleye (30-149 mm)")
    assert young.weight is not None
    assert young.weight.max_mm == 149
    assert young.categories == walleye.categories


def test_a_fish_without_a_standard_has_none_and_no_choices() -> None:
    unknown = fish_standard("Mud minnow")
    assert (unknown.weight, unknown.categories, unknown.weight_choices) == (None, None, ())


@pytest.mark.parametrize(
    ("ours", "reference"),
    [
        ("fish_standard_weights.csv", "fisheries_standard_weight.csv"),
        ("fish_length_categories.csv", "fisheries_length_categories.csv"),
    ],
)
def test_our_figures_are_the_reference_table_with_its_sources(ours: str, reference: str) -> None:
    text = files("benchwater.ledger").joinpath("data", ours).read_text(encoding="utf-8")
    rows = list(csv.DictReader(text.splitlines()))
    for row, wanted in zip(rows, read_table(TRADE / reference), strict=True):
        assert row["source"]
        assert row == {name: wanted[name] for name in row}


@pytest.mark.parametrize(("others", "in_doubt"), [(3, False), (4, True)])
def test_a_fish_of_no_standard_is_too_long_beside_four_others_a_third_of_it(
    others: int, in_doubt: bool
) -> None:
    catch = pd.DataFrame({"species": "gudgeon", "length_mm": [301.0, *[100.0] * others]})
    assert is_length_in_doubt(catch).tolist() == [in_doubt, *[False] * others]
    at_most = catch.replace({"length_mm": {301.0: 300.0}})
    assert not is_length_in_doubt(at_most).any()


@pytest.mark.parametrize("counts", [[2, 2, 2, 100, 101], [10, 10, 10, 200, 201], [101]])
def test_more_than_a_hundred_fish_and_twenty_times_the_usual_row_are_in_doubt(counts) -> None:
    assert is_count_in_doubt(pd.DataFrame({"count": counts})).tolist() == [False] * (len(counts) - 1) + [True]
