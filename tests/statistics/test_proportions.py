from collections.abc import Callable

import pytest

from benchwater.statistics.interval import Interval
from benchwater.statistics.proportions import clopper_pearson_interval, wilson_interval
from reference_cases import reference_case, worked_examples


@pytest.mark.parametrize(
    ("interval", "prefix"), [(wilson_interval, "wilson"), (clopper_pearson_interval, "cp")]
)
def test_single_proportions_match_newcombe_1998(
    interval: Callable[[float, float], Interval], prefix: str
) -> None:
    # Newcombe 1998, Statistics in Medicine 17:857-872, methods 3 and 5; includes 0 of 20.
    case = reference_case("binom_newcombe")
    computed = [interval(x, n) for x, n in zip(case.numbers("x"), case.numbers("n"), strict=True)]
    for limit, values in (("lower", [i.low for i in computed]), ("upper", [i.high for i in computed])):
        expected, tol = case.answer(f"{prefix}_{limit}")
        assert values == pytest.approx(expected, abs=tol)
        printed = case.published[f"{prefix}_{limit}"]
        assert values == pytest.approx(printed["value"], abs=printed["tol"])


@pytest.mark.parametrize(("name", "inputs", "expected", "tol"), worked_examples("wilson95"))
def test_wilson_matches_the_worked_examples(
    name: str, inputs: dict[str, int], expected: dict[str, float], tol: float
) -> None:
    # Wilson 1927, J. Amer. Statist. Assoc. 22:209-212.
    interval = wilson_interval(inputs["k"], inputs["n"])
    assert (interval.estimate, interval.low, interval.high) == pytest.approx(
        (expected["p"], expected["lo"], expected["hi"]), rel=tol, abs=1e-12
    )


def test_limits_at_the_ends_are_exact_and_mirror_each_other() -> None:
    for interval in (wilson_interval, clopper_pearson_interval):
        none, all_of_them = interval(0, 7, 0.9), interval(7, 7, 0.9)
        assert none.low == 0.0
        assert all_of_them.high == 1.0
        assert all_of_them.low == pytest.approx(1.0 - none.high, abs=1e-12)
    assert clopper_pearson_interval(0, 7, 0.9).high == pytest.approx(1.0 - 0.05 ** (1 / 7), abs=1e-12)


def test_impossible_counts_are_refused() -> None:
    with pytest.raises(ValueError, match="total of 0"):
        wilson_interval(0, 0)
    with pytest.raises(ValueError, match="exceed"):
        clopper_pearson_interval(4, 3)
    with pytest.raises(ValueError, match="successes must be a whole number"):
        wilson_interval(0.5, 3)
