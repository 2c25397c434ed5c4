import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import t

from benchwater.ledger.fish import CATEGORIES, fish_standard
from catch_size.compute import (
    length_category,
    mean_interval,
    median,
    relative_weight,
    size_distribution,
    standard_weight,
)
from reference_cases import worked_examples


def named(inputs: dict[str, Any]) -> str:
    return f"{inputs['species']} ({inputs['group']})" if inputs["group"] else str(inputs["species"])


@pytest.mark.parametrize(
    ("inputs", "expected", "tol"), [case[1:] for case in worked_examples("relative_weight")]
)
def test_relative_weight_matches_the_worked_examples(
    inputs: dict[str, Any], expected: dict[str, Any], tol: float
) -> None:
    equation = fish_standard(named(inputs)).weight
    assert equation is not None
    ws = float(standard_weight(equation, inputs["tl_mm"]))
    wr = float(relative_weight(equation, inputs["tl_mm"], inputs["w_g"]))
    if expected["ws_g"] is None:
        assert math.isnan(ws)
        assert math.isnan(wr)
    else:
        assert ws == pytest.approx(expected["ws_g"], rel=tol)
        assert wr == pytest.approx(expected["wr"], rel=tol)


@pytest.mark.parametrize(("inputs", "expected", "tol"), [case[1:] for case in worked_examples("psd")])
def test_size_distribution_matches_the_worked_examples(
    inputs: dict[str, Any], expected: dict[str, Any], tol: float
) -> None:
    categories = fish_standard(named(inputs)).categories
    assert categories is not None
    found = size_distribution(categories, inputs["tl_mm"], np.ones(len(inputs["tl_mm"])))
    assert found.at_least("stock") == expected["n_stock"]
    assert sum(found.fish) == len(inputs["tl_mm"])
    steps = {"psd": "quality", "psd_p": "preferred", "psd_m": "memorable", "psd_t": "trophy"}
    for key, step in steps.items():
        if expected[key] is None:
            assert math.isnan(found.proportion(step))
        else:
            assert 100 * found.proportion(step) == pytest.approx(expected[key], rel=tol)


def test_the_extension_exercise_gives_its_psd() -> None:
    (case,) = worked_examples("psd_counts")
    categories = fish_standard("Largemouth Bass").categories
    assert categories is not None
    below = case[1]["n_stock"] - case[1]["n_quality"]
    found = size_distribution(categories, [9 * 25.4, 13 * 25.4], [below, case[1]["n_quality"]], inches=True)
    assert 100 * found.proportion() == pytest.approx(case[2]["psd"], rel=case[3])


def test_a_length_on_a_limit_has_reached_it_in_the_unit_it_was_published_in() -> None:
    categories = fish_standard("black crappie").categories
    assert categories is not None
    five_inches = 5 * 25.4
    assert CATEGORIES[length_category(categories, [five_inches], inches=True)[0]] == "stock"
    assert CATEGORIES[length_category(categories, [five_inches])[0]] == "under stock"
    for limits, inches, factor in ((categories.limits_in, True, 25.4), (categories.limits_mm, False, 1.0)):
        lengths = np.array(limits) * factor
        assert list(length_category(categories, lengths, inches=inches)) == [1, 2, 3, 4, 5]
        assert list(length_category(categories, lengths - 0.01, inches=inches)) == [0, 1, 2, 3, 4]


def test_mean_interval_is_student_s_for_single_fish() -> None:
    values = np.array([91.0, 88.0, 97.0, 102.0, 93.5])
    found = mean_interval(values, np.ones(5))
    low, high = t.interval(0.95, 4, loc=values.mean(), scale=values.std(ddof=1) / math.sqrt(5))
    assert (found.estimate, found.low, found.high) == pytest.approx((values.mean(), low, high))


def test_several_fish_of_one_row_weigh_more_but_are_one_observation() -> None:
    found = mean_interval([90.0, 100.0], [3, 1])
    assert found.estimate == 92.5
    assert found.high - found.low > 2 * 12.7 * 2.4
    lone = mean_interval([90.0], [5])
    assert lone.estimate == 90.0
    assert math.isnan(lone.low)


@given(
    st.lists(
        st.tuples(st.integers(1, 40).map(float), st.integers(min_value=1, max_value=9)),
        min_size=1,
        max_size=12,
    )
)
def test_median_is_that_of_the_fish_written_out(rows: list[tuple[float, int]]) -> None:
    values, fish = [value for value, _ in rows], [count for _, count in rows]
    assert median(values, fish) == np.median(np.repeat(values, fish))
