"""An infrared gun on metal: the worked examples, and which readings give it away."""

from typing import Any

import numpy as np
import pytest

from defect_rate.infrared import (
    BARE_ALUMINIUM,
    MATT_BLACK,
    OXIDISED_ALUMINIUM,
    far_below,
    infrared_reading,
)
from reference_cases import TRADE, read_table, worked_examples

Example = dict[str, Any]


@pytest.mark.parametrize(("name", "inputs", "expected", "tol"), worked_examples("ir_reading"))
def test_readings_match_the_worked_examples(
    name: str, inputs: Example, expected: Example, tol: float
) -> None:
    gun = {"setting": inputs["eps_set"], "background": inputs["T_bg_C"]}
    total = infrared_reading(inputs["T_C"], inputs["eps"], band=None, **gun)
    assert total == pytest.approx(expected["total_radiation_C"], rel=tol)
    assert infrared_reading(inputs["T_C"], inputs["eps"], **gun) == pytest.approx(
        expected["band_8_14_C"], rel=tol
    )


def test_a_gun_set_to_the_surface_reads_its_temperature_and_so_does_one_on_a_cold_mold() -> None:
    assert infrared_reading(150.0, 0.3, setting=0.3) == pytest.approx(150)
    assert infrared_reading(20.0, 0.05) == pytest.approx(20)


def test_emissivities_are_those_of_the_trade_table() -> None:
    table = {row["quantity"]: row for row in read_table(TRADE / "physics.csv")}
    for value, name in (
        (BARE_ALUMINIUM, "emissivity aluminium polished"),
        (OXIDISED_ALUMINIUM, "emissivity aluminium oxidised"),
        (MATT_BLACK, "emissivity oil paint any colour / soot"),
    ):
        assert value == float(table[name]["value"])


def test_readings_of_a_bare_mold_lie_far_below_the_balance_and_honest_ones_do_not() -> None:
    expected = np.array([20.0, 60.0, 90.0, 110.0, 125.0, 135.0])
    bare = np.array([infrared_reading(float(value), BARE_ALUMINIUM) for value in expected])
    assert far_below(bare, expected, 20.0)
    assert not far_below(20 + (expected - 20) / 2, expected, 20.0), "the book may be off by a factor of 2"
    assert not far_below(np.where(np.arange(6) < 3, bare, np.nan), expected, 20.0), "too few to say"


def test_what_cannot_radiate_is_refused() -> None:
    with pytest.raises(ValueError, match="emissivity"):
        infrared_reading(150.0, 0.0)
    with pytest.raises(ValueError, match="absolute zero"):
        infrared_reading(-300.0, 0.5)
