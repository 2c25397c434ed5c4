import math

import numpy as np
import pytest
import statsmodels.api as sm
from scipy.stats import t

from benchwater.statistics.uncertainty import (
    PieceScatter,
    combined_uncertainty,
    coverage_factor,
    mean_piece_mass,
    pooled_scatter,
    reading_step,
    rectangular_uncertainty,
    resolution_uncertainty,
)
from reference_cases import ReferenceCase, reference_case


def check(case: ReferenceCase, key: str, value: float) -> None:
    expected, tol = case.answer(key)
    assert value == pytest.approx(expected, abs=tol), key
    if key in case.published:
        printed = case.published[key]
        assert value == pytest.approx(printed["value"], abs=printed["tol"]), key


def test_end_gauge_calibration_matches_gum_h1() -> None:
    # JCGM 100:2008, H.1.
    case = reference_case("gum_h1")
    combined = combined_uncertainty(case.numbers("contribution_nm"))
    factor = coverage_factor(case.answer("nu_eff")[0], level=0.99)
    check(case, "u_combined_nm", combined)
    check(case, "k99", factor)
    check(case, "U99_nm", factor * combined)


def test_a_scale_step_is_a_rectangle_of_half_its_width() -> None:
    # JCGM 100:2008, F.2.2.1: 0.29 of the step.
    assert resolution_uncertainty(0.1) == pytest.approx(0.1 / np.sqrt(12))
    assert resolution_uncertainty(1) == pytest.approx(0.29, abs=0.005)
    assert rectangular_uncertainty(0.05) == pytest.approx(resolution_uncertainty(0.1))
    with pytest.raises(ValueError, match="negative"):
        resolution_uncertainty(-0.1)


def test_degrees_of_freedom_at_the_ends() -> None:
    assert coverage_factor() == pytest.approx(1.959964, abs=1e-6)
    assert coverage_factor(1.9) == pytest.approx(12.7062, abs=1e-4)
    with pytest.raises(ValueError, match="at least 1"):
        coverage_factor(0.5)


OUNCE = 28.349523125


@pytest.mark.parametrize(
    ("readings", "stated", "step"),
    [
        ([15.0, 240.0], 5.0, 5.0),
        ([15.0, 7.6], 5.0, 0.1),
        ([15.0, 12.0], None, 1.0),
        ([4000.0, 110.0], None, 10.0),
        ([4000.0, 4300.0], 5.0, 5.0),
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


def test_readings_ten_times_as_large_show_a_step_ten_times_as_large() -> None:
    for readings in ([3.25, 4.0], [15.0, 12.0], [700.0, 1300.0, 2500.0]):
        steps = [reading_step([10.0**place * each for each in readings]) for place in (-1, 0, 1, 2)]
        assert steps[1:] == pytest.approx([10 * step for step in steps[:-1]])


def test_pooled_scatter_is_that_of_all_kinds_about_their_own_means() -> None:
    # JCGM 100:2008, 4.2.4. Kinds of 10 and of 20: (1 + 1) and (4 + 4) parts in 10,000, each on one degree.
    kinds = [([9.9, 10.1], [1, 1]), ([19.6, 20.4], [1, 1]), ([7.0], [3])]
    found = pooled_scatter(kinds)
    assert found.degrees == 2
    assert found.share == pytest.approx(math.sqrt((2e-4 + 8e-4) / 2))
    assert pooled_scatter([([7.0], [3])]) == PieceScatter(share=0.0, degrees=0)


def test_pooled_scatter_is_the_residual_error_of_weighted_regression() -> None:
    """statsmodels: totals on counts by kind through the origin, weights 1 / counts, in units of the mean."""
    rng = np.random.default_rng(3)
    counts = rng.integers(1, 9, 12)
    kind = np.repeat([0, 1, 2], 4)
    totals = counts * np.array([5.0, 9.0, 30.0])[kind] * (1 + 0.02 * rng.normal(size=12))
    means = np.array([totals[kind == k].sum() / counts[kind == k].sum() for k in range(3)])
    design = np.where(kind[:, None] == np.arange(3), counts[:, None], 0.0)
    fit = sm.WLS(totals / means[kind], design, weights=1 / counts).fit()
    found = pooled_scatter([(totals[kind == k], counts[kind == k]) for k in range(3)])
    assert found.degrees == fit.df_resid
    assert found.share == pytest.approx(math.sqrt(fit.scale))


def test_mean_weighs_every_piece_alike() -> None:
    found = mean_piece_mass([10.0, 16.0], [2, 3], 0.0, PieceScatter(share=0.1, degrees=2), at_most=0.3)
    assert found.mean == pytest.approx(5.2)
    assert found.mean_uncertainty == pytest.approx(0.52 / math.sqrt(5))
    assert found.pieces == 5


def test_rounding_does_not_average_out() -> None:
    # Four weighings of two pieces, all 8 g on a 1 g scale: 1/sqrt(12) for two pieces.
    found = mean_piece_mass([8.0] * 4, [2] * 4, 1.0, PieceScatter(share=0.0, degrees=3), at_most=9.0)
    assert found.scatter == 0.0
    assert found.mean_uncertainty == pytest.approx(1 / math.sqrt(12) / 2)


@pytest.mark.parametrize(("totals", "counts"), [([], []), ([1.0], [1, 1]), ([1.0], [0])])
def test_what_cannot_be_weighings_is_refused(totals: list[float], counts: list[int]) -> None:
    with pytest.raises(ValueError, match=r"weighing|one length"):
        mean_piece_mass(totals, counts, 0.1, PieceScatter(share=0.0, degrees=0), at_most=0.0)
    with pytest.raises(ValueError, match=r"weighing|one length"):
        pooled_scatter([(totals, counts)])


def test_a_scatter_on_few_degrees_of_freedom_is_no_less_than_what_was_known_beforehand() -> None:
    for degrees, share, scatter in ((0, 0.0, 0.5), (2, 0.01, 0.5), (2, 0.2, 1.04)):
        known = PieceScatter(share=share, degrees=degrees)
        found = mean_piece_mass([10.0, 16.0], [2, 3], 0.0, known, at_most=0.5)
        assert found.scatter == pytest.approx(scatter)
        assert found.mean_uncertainty == pytest.approx(scatter / math.sqrt(5))


@pytest.mark.parametrize("degrees", [3, 4, 6, 12])
def test_twice_the_scatter_covers_95_to_96_percent_of_students_t(degrees: int) -> None:
    # JCGM 101:2008, 6.4.9: the standard deviation of t is sqrt(v / (v - 2)).
    found = mean_piece_mass([100.0], [10], 0.0, PieceScatter(share=0.1, degrees=degrees), at_most=0.0)
    assert found.scatter == pytest.approx(t(degrees).std())
    assert 0.95 <= 2 * t.cdf(2 * found.scatter, degrees) - 1 <= 0.96


def test_a_negative_scatter_is_refused() -> None:
    with pytest.raises(ValueError, match="scatter"):
        mean_piece_mass([1.0], [1], 0.1, PieceScatter(share=0.0, degrees=0), at_most=-1.0)
