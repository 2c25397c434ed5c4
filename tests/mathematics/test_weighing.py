import math

import pytest

from benchwater.mathematics.weighing import mean_piece_mass, reading_step

OUNCE = 28.349523125


@pytest.mark.parametrize(
    ("readings", "stated", "step"),
    [
        ([15.0, 240.0], 5.0, 5.0),
        ([15.0, 7.6], 5.0, 0.1),
        ([15.0, 12.0], None, 1.0),
        ([3.25, 4.0], None, 0.01),
        ([3.14159], None, 0.001),
        ([4 * OUNCE, 0.5 * OUNCE], None, 0.1 * OUNCE),
        ([0.0], None, OUNCE),
    ],
)
def test_step_is_the_coarsest_that_every_reading_shows(
    readings: list[float], stated: float | None, step: float
) -> None:
    assert reading_step(readings, stated, (1.0, OUNCE)) == pytest.approx(step)


def test_no_reading_shows_no_step() -> None:
    with pytest.raises(ValueError, match="at least one reading"):
        reading_step([])


def test_mean_weighs_every_piece_alike() -> None:
    # 10 g of 2, 16 g of 3: mean 26/5 = 5.2; s2 = 2 (5 - 5.2)^2 + 3 (16/3 - 5.2)^2 = 0.08 + 0.0533.
    found = mean_piece_mass([10.0, 16.0], [2, 3], 0.0)
    assert found.mean == pytest.approx(5.2)
    assert found.scatter == pytest.approx(math.sqrt(0.08 + 0.16 / 3))
    assert found.mean_uncertainty == pytest.approx(math.sqrt((0.08 + 0.16 / 3) / 5))
    assert (found.pieces, found.weighings) == (5, 2)


def test_rounding_does_not_average_out() -> None:
    # Four weighings of two pieces, all 8 g on a 1 g scale: 1/sqrt(12) for two pieces.
    found = mean_piece_mass([8.0] * 4, [2] * 4, 1.0)
    assert found.scatter == 0.0
    assert found.mean_uncertainty == pytest.approx(1 / math.sqrt(12) / 2)


def test_one_weighing_knows_its_rounding_and_no_scatter() -> None:
    found = mean_piece_mass([24.0], [3], 1.0)
    assert found.scatter is None
    assert found.mean_uncertainty == pytest.approx(1 / math.sqrt(12) / 3)


@pytest.mark.parametrize(("totals", "counts"), [([], []), ([1.0], [1, 1]), ([1.0], [0])])
def test_what_cannot_be_weighings_is_refused(totals: list[float], counts: list[int]) -> None:
    with pytest.raises(ValueError, match=r"weighing|one length"):
        mean_piece_mass(totals, counts, 0.1)


def test_few_weighings_take_no_less_than_the_scatter_known_beforehand() -> None:
    found = mean_piece_mass([10.0, 16.0], [2, 3], 0.0, least_scatter=0.5)
    assert found.scatter == 0.5
    assert found.mean_uncertainty == pytest.approx(0.5 / math.sqrt(5))
    alone = mean_piece_mass([24.0], [3], 0.0, least_scatter=0.6)
    assert (alone.scatter, alone.mean_uncertainty) == (0.6, pytest.approx(0.6 / math.sqrt(3)))


def test_from_four_weighings_on_the_scatter_is_theirs_and_its_own_doubt_allowed_for() -> None:
    # Standard deviation of Student's t on 3 degrees of freedom: sqrt(3).
    found = mean_piece_mass([1.0, 2.0, 3.0, 4.0], [1] * 4, 0.0, least_scatter=9.0)
    assert found.scatter == pytest.approx(math.sqrt(5 / 3))
    assert found.mean_uncertainty == pytest.approx(math.sqrt(3) * math.sqrt(5 / 3) / 2)


def test_a_negative_scatter_is_refused() -> None:
    with pytest.raises(ValueError, match="scatter"):
        mean_piece_mass([1.0], [1], 0.1, least_scatter=-1.0)
