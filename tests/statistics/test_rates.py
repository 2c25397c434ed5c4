import math

import pytest
from scipy.stats import binom

from benchwater.statistics.rates import poisson_interval, poisson_rate, rate_ratio
from reference_cases import reference_case


def test_poisson_limits_match_garwood_1936() -> None:
    # Garwood 1936, Biometrika 28:437-442; includes a count of 0.
    case = reference_case("poisson_garwood")
    computed = [poisson_interval(count) for count in case.numbers("count")]
    assert [i.estimate for i in computed] == case.answer("count")[0]
    for limit, values in (("lower", [i.low for i in computed]), ("upper", [i.high for i in computed])):
        expected, tol = case.answer(limit)
        assert values == pytest.approx(expected, abs=tol)
        printed = case.published[limit]
        assert [values[i - 1] for i in printed["index"]] == pytest.approx(
            printed["value"], abs=printed["tol"]
        )


def test_a_rate_is_the_mean_over_its_exposure() -> None:
    mean, rate = poisson_interval(4, 0.8), poisson_rate(4, 2.5, 0.8)
    assert (rate.estimate, rate.low, rate.high) == pytest.approx(
        (mean.estimate / 2.5, mean.low / 2.5, mean.high / 2.5)
    )


def test_the_exact_rate_ratio_matches_the_fluoroscopy_example() -> None:
    # Boice & Monson 1977 in Rothman & Greenland; the Stata manual's incidence-rate ratio page.
    case = reference_case("rate_ratio_exact")
    (x1, x2), (t1, t2) = case.numbers("events"), case.numbers("person_years")
    result = rate_ratio(x1, t1, x2, t2)
    computed = {
        "ratio": result.ratio,
        "lower": result.low,
        "upper": result.high,
        "rate2": result.rate2,
        "p_central": result.p_central,
    }
    for key, value in computed.items():
        expected, tol = case.answer(key)
        assert value == pytest.approx(expected, abs=tol)
        if key in case.published:
            assert value == pytest.approx(case.published[key]["value"], abs=case.published[key]["tol"])


def test_rate_ratio_p_values_are_those_of_the_summed_binomial_probabilities() -> None:
    x1, x2, t1, t2 = 2, 9, 3.0, 4.0
    probability = [float(binom.pmf(k, x1 + x2, t1 / (t1 + t2))) for k in range(x1 + x2 + 1)]
    lower_tail = sum(probability[: x1 + 1])
    result = rate_ratio(x1, t1, x2, t2)
    assert result.p_central == pytest.approx(2 * lower_tail)


def test_a_group_without_events_leaves_one_finite_limit() -> None:
    first, second = rate_ratio(0, 10, 4, 20), rate_ratio(4, 20, 0, 10)
    assert (first.ratio, first.low) == (0.0, 0.0)
    assert (second.ratio, second.high) == (math.inf, math.inf)
    # With none of 4 events in the first group the upper share p solves (1 - p)^4 = 0.025.
    share = 1 - 0.025**0.25
    assert first.high == pytest.approx(share / (1 - share) * 2)
    assert second.low == pytest.approx(1 / first.high)
    assert first.p_central == pytest.approx(second.p_central)
    assert first.p_central == pytest.approx(2 * (2 / 3) ** 4)


def test_comparisons_without_events_or_exposure_are_refused() -> None:
    with pytest.raises(ValueError, match="at least one event"):
        rate_ratio(0, 1, 0, 1)
    with pytest.raises(ValueError, match="exposure2 must be a finite number above 0"):
        rate_ratio(1, 1, 1, 0)
    with pytest.raises(ValueError, match="events1 must be a whole number"):
        rate_ratio(1.5, 1, 1, 1)
